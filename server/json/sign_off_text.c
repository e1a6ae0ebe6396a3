/* sign_off_text.c - one line that asks, one that answers. */
#include "json/sign_off_text.h"

#include "json/body.h"
#include "json/writer.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ARENA_BYTES ((size_t)1 << 30) /* address space: the record is read */

bool sign_off_request_write(const struct sign_off_request *request, const char *before, char **line,
                            struct error *err)
{
    char audit[24], *text;
    size_t size;
    snprintf(audit, sizeof audit, "%lld", (long long)request->audit);
    if (!store_signer_check(request->by, request->role, request->note, err))
        return false;
    json_t *tree = json_pack("{s:s, s:s, s:s*, s:s*}", "audit", audit, "by", request->by, "role",
                             request->role, "note", request->note);
    if (!tree)
        return error_set(err, ERROR_MACHINE, "memory is short; try again later");
    bool ok = writer_dump(tree, WRITER_COMPACT, &text, &size, err);
    json_decref(tree);
    if (!ok)
        return false;
    ok = asprintf(line, "%s%s", before, text) >= 0
         || error_set(err, ERROR_MACHINE, "memory is short; try again later");
    free(text);
    return ok;
}

static bool make_and_tell(struct store *store, const struct sign_off_request *request, struct arena *arena,
                          char *answer, size_t size, struct error *err)
{
    struct sign_offs offs;
    int64_t id;
    if (!sign_off_make(store, request, arena, &id, err)
        || !sign_offs_get(store, request->audit, arena, &offs, err))
        return false;
    snprintf(answer, size, "sign-off %lld of audit %lld: %s", (long long)id, (long long)request->audit,
             sign_off_state_word(offs.state));
    return true;
}

bool sign_off_tell(struct store *store, const struct sign_off_request *request, char *answer, size_t size,
                   struct error *err)
{
    struct arena arena;
    if (!arena_open(&arena, ARENA_BYTES, err))
        return false;
    bool ok = make_and_tell(store, request, &arena, answer, size, err);
    arena_close(&arena);
    return ok;
}

bool sign_off_tell_line(struct store *store, const char *line, char *answer, size_t size, struct error *err)
{
    struct sign_off_request request = {0};
    struct body body;
    if (!body_parse(line, strlen(line), &body, err))
        return false;
    bool ok = body_id(&body, "audit", true, &request.audit, err)
              && body_text(&body, "by", true, &request.by, err)
              && body_text(&body, "role", false, &request.role, err)
              && body_text(&body, "note", false, &request.note, err)
              && sign_off_tell(store, &request, answer, size, err);
    body_close(&body);
    return ok;
}
