/* handoff_table.h - the check of a handoff as lines of text. */
#ifndef CLI_HANDOFF_TABLE_H
#define CLI_HANDOFF_TABLE_H

#include "json/handoff_result.h"

#include <stdio.h>

void handoff_table_print(const struct handoff_result *result, FILE *out);

#endif
