/* junit.c - test suite, test cases. */
#include "report/junit.h"

#include "report/text.h"

#include <stdlib.h>

enum verdict { VERDICT_PASSED, VERDICT_FAILED, VERDICT_ERROR, VERDICT_SKIPPED, VERDICT_TOLD };

static enum verdict verdict_of(const struct audit_rule *judged)
{
    if (judged->outcome == OUTCOME_CONFORMS)
        return VERDICT_PASSED;
    if (!judged->rule->required)
        return VERDICT_TOLD;
    if (judged->waiver)
        return VERDICT_SKIPPED;
    return judged->outcome == OUTCOME_UNDECIDED ? VERDICT_ERROR : VERDICT_FAILED;
}

static size_t count(const struct audited *audited, enum verdict verdict)
{
    size_t found = 0;
    for (size_t i = 0; i < audited->audit.rule_count; i++)
        found += verdict_of(&audited->rules[i]) == verdict;
    return found;
}

static void add_attribute(struct text *text, const char *name, const char *value)
{
    text_add_format(text, " %s=\"", name);
    text_add_escaped(text, value);
    text_add(text, "\"");
}

static void add_body(struct text *text, const struct audit_rule *judged)
{
    char value[160], limit[96], advice[200];
    audit_value_text(judged, value, sizeof value);
    audit_limit_text(judged->rule, limit, sizeof limit);
    audit_advice(judged, advice, sizeof advice);
    text_add(text, "value: ");
    text_add_escaped(text, value);
    text_add(text, "; limit: ");
    text_add_escaped(text, limit);
    text_add(text, "; ");
    text_add_escaped(text, outcome_word(judged->outcome));
    if (*advice) {
        text_add(text, ": ");
        text_add_escaped(text, advice);
    }
}

static void add_case(struct text *text, const struct spec *spec, const struct audit_rule *judged)
{
    static const char *const elements[] = {[VERDICT_FAILED] = "failure", [VERDICT_ERROR] = "error"};
    enum verdict verdict = verdict_of(judged);

    text_add(text, "    <testcase");
    add_attribute(text, "name", judged->rule->id);
    add_attribute(text, "classname", spec->name);
    add_attribute(text, "time", "0");
    text_add(text, ">\n");
    if (verdict == VERDICT_FAILED || verdict == VERDICT_ERROR) {
        text_add_format(text, "      <%s", elements[verdict]);
        add_attribute(text, "message", judged->rule->reason);
        add_attribute(text, "type", outcome_word(judged->outcome));
        text_add(text, ">");
        add_body(text, judged);
        text_add_format(text, "</%s>\n", elements[verdict]);
    } else if (verdict == VERDICT_SKIPPED) {
        text_add(text, "      <skipped>waived until ");
        text_add_escaped(text, judged->waiver->expires);
        text_add(text, " by ");
        text_add_escaped(text, judged->waiver->author);
        text_add(text, ": ");
        text_add_escaped(text, judged->waiver->reason);
        text_add(text, "</skipped>\n");
    }
    text_add(text, "      <system-out>");
    add_body(text, judged);
    text_add(text, "</system-out>\n    </testcase>\n");
}

bool junit_write(const struct audited *audited, const struct audit_request *request, char **text,
                 size_t *size, struct error *err)
{
    const struct spec *spec = request->spec;
    struct text out = {0};

    text_add(&out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites>\n  <testsuite");
    add_attribute(&out, "name", audited->subject_name ? audited->subject_name : "");
    text_add_format(&out, " tests=\"%zu\" failures=\"%zu\" errors=\"%zu\" skipped=\"%zu\" time=\"0\">\n",
                    audited->audit.rule_count, count(audited, VERDICT_FAILED), count(audited, VERDICT_ERROR),
                    count(audited, VERDICT_SKIPPED));
    for (size_t i = 0; i < audited->audit.rule_count; i++)
        add_case(&out, spec, &audited->rules[i]);
    text_add(&out, "  </testsuite>\n</testsuites>\n");
    if (out.failed) {
        free(out.bytes);
        return error_set(err, ERROR_MACHINE, "memory is out while writing JUnit XML");
    }
    *text = out.bytes;
    *size = out.size;
    return true;
}
