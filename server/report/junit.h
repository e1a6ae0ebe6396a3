/* junit.h - an audit as JUnit XML: one test case a rule, as build servers read it.
 *
 * There is no standard of it; this keeps to the elements and attributes that the schema of the Jenkins xUnit
 * plugin (junit-4.xsd, which the tests hold it against) has: a rule that does not conform is a failure, an
 * undecided one an error (nobody can say), a waived one is skipped; an advisory rule is only told in the
 * output of its case. */
#ifndef REPORT_JUNIT_H
#define REPORT_JUNIT_H

#include "json/audit_json.h"

/* The caller frees *text. ERROR_MACHINE when memory is out. */
bool junit_write(const struct audited *audited, const struct audit_request *request, char **text,
                 size_t *size, struct error *err);

#endif
