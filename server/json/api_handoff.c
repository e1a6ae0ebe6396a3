/* api_handoff.c - handoffs, and what became of checks. */
#include "json/api_handoff.h"

#include <jansson.h>

static json_t *handoff_tree(const struct store_handoff *h)
{
    return json_pack("{s:o, s:o, s:o, s:s, s:s, s:s, s:s, s:{s:s, s:I}}", "id", api_id(h->id), "audit",
                     api_id(h->audit), "specimen", api_id(h->specimen), "name", h->name, "by", h->by,
                     "created", h->created, "seal", h->seal, "file", "sha256", h->sha256, "bytes",
                     (json_int_t)h->bytes);
}

bool api_handoff_write(const struct store_handoff *handoff, struct api_text *text, struct error *err)
{
    return api_text_write(handoff_tree(handoff), text, err);
}

bool api_handoffs_write(const struct store_handoff_list *list, struct api_text *text, struct error *err)
{
    json_t *items = json_array();
    for (size_t i = 0; items && i < list->count; i++)
        if (json_array_append_new(items, handoff_tree(&list->items[i]))) {
            json_decref(items);
            items = NULL;
        }
    return api_text_write(json_pack("{s:o, s:I}", "items", items, "total", (json_int_t)list->count), text,
                          err);
}

static json_t *fault_tree(const struct api_handoff_check *check)
{
    if (check->running || check->result)
        return json_null();
    return json_pack("{s:s, s:s}", "code", error_word(check->fault->code), "text", check->fault->text);
}

bool api_handoff_check_write(const struct api_handoff_check *check, struct api_text *text, struct error *err)
{
    json_t *result = check->result
                         ? json_loadb(check->result, check->result_size, JSON_REJECT_DUPLICATES, NULL)
                         : json_null();
    if (!result || (check->result && !json_is_object(result))) {
        json_decref(result);
        const struct error broken = {.code = ERROR_MACHINE,
                                     .text = "the check said nothing that makes sense"};
        struct api_handoff_check failed = *check;
        failed.result = NULL;
        failed.fault = &broken;
        return api_handoff_check_write(&failed, text, err);
    }
    return api_text_write(json_pack("{s:o, s:s, s:s, s:o, s:o}", "id", api_id(check->id), "name", check->name,
                                    "state",
                                    check->running  ? "running"
                                    : check->result ? "done"
                                                    : "failed",
                                    "result", result, "reason", fault_tree(check)),
                          text, err);
}
