/* measure_table.h - a run as a short table for people. */
#ifndef CLI_MEASURE_TABLE_H
#define CLI_MEASURE_TABLE_H

#include "run/run.h"

#include <stdio.h>

/* The files, the measures that schema/measures.json marks "stored", by group and under their names, the first
 * findings and the remarks on the files. A column for the reference where there is one. Whether out took it
 * all is for the caller to ask of out. Errors: ERROR_MACHINE when memory is out. */
bool measure_table_print(const struct run *run, FILE *out, struct error *err);

#endif
