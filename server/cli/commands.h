/* commands.h - the subcommands: one file each in this folder, one line each in the table of main.c.
 *
 * A subcommand gets the arguments from its own name on (argv[0] is "measure") and returns the exit status.
 * What it says of a fault goes to standard error and begins with "fettle: ". */
#ifndef CLI_COMMANDS_H
#define CLI_COMMANDS_H

/* Exit statuses, the same for every subcommand. */
enum cli_status {
    CLI_DONE = 0,     /* done; of measure: measured */
    CLI_SPEC_NOT_MET, /* measured, and the spec is not met */
    CLI_USAGE,        /* wrong usage */
    CLI_UNREADABLE,   /* an input could not be read: missing, damaged, not a supported format */
    CLI_LIMIT,        /* a limit was exceeded */
    CLI_MACHINE,      /* a fault of the program or the machine: disk full, out of memory */
};

int cli_measure(int argc, char **argv);
int cli_audit(int argc, char **argv);
int cli_report(int argc, char **argv);
int cli_serve(int argc, char **argv);
int cli_verify(int argc, char **argv);
int cli_backup(int argc, char **argv);
int cli_remeasure(int argc, char **argv);
int cli_sign_off(int argc, char **argv);
int cli_work(int argc, char **argv);

#endif
