/* audit_table.c - lines of an audit. */
#include "cli/audit_table.h"

#include "cli/commands.h"

static const char *word_of(const struct audit_rule *judged)
{
    return judged->outcome != OUTCOME_CONFORMS && judged->waiver ? "waived" : outcome_word(judged->outcome);
}

static void print_rule(const struct audit_rule *judged, FILE *out)
{
    char value[160], limit[96], advice[200];
    audit_value_text(judged, value, sizeof value);
    audit_limit_text(judged->rule, limit, sizeof limit);
    audit_advice(judged, advice, sizeof advice);
    fprintf(out, "  %-16s %-20s %s: %s; %s%s\n", word_of(judged), judged->rule->id, judged->rule->name, value,
            limit, judged->rule->required ? "" : " (advisory)");
    if (*advice)
        fprintf(out, "  %-16s %-20s %s\n", "", "", advice);
    if (judged->waiver && judged->outcome != OUTCOME_CONFORMS)
        fprintf(out, "  %-16s %-20s waived until %s by %s: %s\n", "", "", judged->waiver->expires,
                judged->waiver->author, judged->waiver->reason);
    else if (judged->waiver_ran_out && judged->outcome != OUTCOME_CONFORMS)
        fprintf(out, "  %-16s %-20s its waiver has run out\n", "", "");
}

static void print_part(size_t count, const char *text, const char **separator, FILE *out)
{
    if (!count)
        return;
    fprintf(out, "%s%zu %s", *separator, count, text);
    *separator = ", ";
}

void audit_table_print(const struct audited *audited, const struct spec *spec, FILE *out)
{
    const struct audit *audit = &audited->audit;
    const char *separator = " (";

    fprintf(out, "Spec: %s, version %d (%.12s)\n", spec->name, spec->version, spec->sha256);
    for (size_t i = 0; i < audit->rule_count; i++)
        print_rule(&audit->rules[i], out);
    fprintf(out, "\n%s: %s", audited->subject_name ? audited->subject_name : "the run",
            outcome_word(audit->outcome));
    print_part(audit->counts.does_not_conform, "required rules do not conform", &separator, out);
    print_part(audit->counts.undecided, "undecided", &separator, out);
    print_part(audit->counts.waived, "waived", &separator, out);
    print_part(audit->counts.advisory_missed, "advisory not met", &separator, out);
    fputs(*separator == ',' ? ")\n" : "\n", out);
    fputs("Measures describe the files, not the object. Nothing here clears a part for clinical,\n"
          "load-bearing or safety use.\n",
          out);
}

int audit_status(const struct audited *audited)
{
    return audited->audit.outcome == OUTCOME_CONFORMS ? CLI_DONE : CLI_SPEC_NOT_MET;
}
