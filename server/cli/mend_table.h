/* mend_table.h - what a mend changed, for people: its regions, one a line. */
#ifndef CLI_MEND_TABLE_H
#define CLI_MEND_TABLE_H

#include "run/run.h"

#include <stdio.h>

/* The largest ten, and how many more there are; or one line where there is nothing to list. */
void mend_table_print(const struct mend *mend, enum run_units units, FILE *out);

#endif
