/* audit_table.h - an audit for people: rule by rule, then what it comes to. */
#ifndef CLI_AUDIT_TABLE_H
#define CLI_AUDIT_TABLE_H

#include "json/audit_json.h"

#include <stdio.h>

void audit_table_print(const struct audited *audited, const struct spec *spec, FILE *out);

/* CLI_DONE where it conforms, CLI_SPEC_NOT_MET where it does not or nobody can say. */
int audit_status(const struct audited *audited);

#endif
