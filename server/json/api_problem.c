/* api_problem.c - {type,title,status,detail,code,format?,line?,byte?,request_id}. */
#include "json/api_problem.h"

#include <jansson.h>

bool api_problem_write(const struct api_problem *problem, struct api_text *text, struct error *err)
{
    const struct error *fault = problem->err;
    json_t *tree = json_pack("{s:o, s:s, s:i, s:s, s:s}", "type",
                             json_sprintf("urn:fettle:problem:%s", problem->code), "title", problem->title,
                             "status", (int)problem->status, "detail", fault->text, "code", problem->code);
    bool ok = tree != NULL;
    if (ok && fault->format[0])
        ok = !json_object_set_new(tree, "format", json_string(fault->format));
    if (ok && fault->line)
        ok = !json_object_set_new(tree, "line", json_integer((json_int_t)fault->line));
    if (ok && fault->has_byte)
        ok = !json_object_set_new(tree, "byte", json_integer((json_int_t)fault->byte));
    if (ok)
        ok = !json_object_set_new(tree, "request_id", json_string(problem->request_id));
    if (!ok) {
        json_decref(tree);
        tree = NULL;
    }
    return api_text_write(tree, text, err);
}
