/* handle_hooks.c - hooks: add, list, withdraw, test, and what became of their deliveries. */
#include "http/handlers.h"
#include "http/request.h"

#include "notify/url.h"
#include "json/api_hook.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/random.h>

enum { SECRET_BYTES = 32 };

static const char *const events[] = {"audit", "sign-off", "handoff"};
enum { EVENT_COUNT = sizeof events / sizeof *events };

/* " audit sign-off ", each once; all of them where none is named. */
static bool read_events(const struct body *body, char *out, size_t size, struct error *err)
{
    const char *named[16];
    size_t count;
    if (!body_texts(body, "events", sizeof named / sizeof *named, named, &count, err))
        return false;
    snprintf(out, size, " ");
    for (size_t e = 0; e < EVENT_COUNT; e++)
        for (size_t i = 0; i < count || (i == 0 && !body_has(body, "events")); i++)
            if (i >= count || strcmp(named[i], events[e]) == 0) {
                size_t used = strlen(out);
                snprintf(out + used, size - used, "%s ", events[e]);
                break;
            }
    for (size_t i = 0; i < count; i++) {
        bool known = false;
        for (size_t e = 0; e < EVENT_COUNT; e++)
            known |= strcmp(named[i], events[e]) == 0;
        if (!known)
            return error_set(err, ERROR_USAGE, "there is no event \"%.40s\" to be told of", named[i]);
    }
    return out[1] != '\0' || error_set(err, ERROR_USAGE, "\"events\" is empty: nothing would be told");
}

static bool make_secret(char hex[2 * SECRET_BYTES + 1], struct error *err)
{
    unsigned char bytes[SECRET_BYTES];
    if (getrandom(bytes, sizeof bytes, 0) != (ssize_t)sizeof bytes)
        return error_set(err, ERROR_MACHINE, "cannot make a secret: %s", strerror(errno));
    for (size_t i = 0; i < sizeof bytes; i++)
        snprintf(hex + 2 * i, 3, "%02x", bytes[i]);
    return true;
}

static bool read_hook(const struct body *body, struct store_hook_new *hook, char *named, size_t named_size,
                      char made[2 * SECRET_BYTES + 1], struct error *err)
{
    if (!body_allows(body, "url events secret", err) || !body_text(body, "url", true, &hook->url, err)
        || !url_check(hook->url, err) || !read_events(body, named, named_size, err)
        || !body_text(body, "secret", false, &hook->secret, err))
        return false;
    hook->events = named;
    if (hook->secret)
        return strlen(hook->secret) >= STORE_SECRET_MIN
               || error_set(err, ERROR_USAGE, "\"secret\" must have at least %d characters",
                            STORE_SECRET_MIN);
    hook->secret = made;
    return make_secret(made, err);
}

/* secret: shown this once; NULL: not. */
static bool answer(struct request *request, struct reply *reply, unsigned status, int64_t id,
                   const char *secret, struct arena *keep, struct error *err)
{
    struct store_hook hook;
    struct api_text text;
    if (!store_hook_get(request->service->store, id, keep, &hook, err)
        || !api_hook_write(&hook, secret, &text, err))
        return false;
    reply_json(reply, status, &text);
    if (secret)
        reply->cache = "no-store";
    if (status == 201)
        reply_header(reply, "Location", "/api/v1/hooks/%lld", (long long)id);
    return true;
}

bool handle_hook_add(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_hook_new hook = {0};
    struct body body;
    char named[120], made[2 * SECRET_BYTES + 1];
    int64_t id = 0;
    if (!request_body(request, &body, err))
        return false;
    bool ok = read_hook(&body, &hook, named, sizeof named, made, err)
              && store_hook_add(request->service->store, &hook, &id, err)
              && answer(request, reply, 201, id, hook.secret, keep, err);
    body_close(&body);
    return ok;
}

bool handle_hook_read(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    return answer(request, reply, 200, request->path_id, NULL, keep, err);
}

bool handle_hook_list(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_hook_list list;
    struct api_text text;
    if (!store_hook_list(request->service->store, keep, &list, err) || !api_hooks_write(&list, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

bool handle_hook_withdraw(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    (void)keep;
    if (!store_hook_withdraw(request->service->store, request->path_id, err))
        return false;
    reply->status = 204;
    return true;
}

bool handle_hook_test(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    int64_t delivery;
    if (!request_empty_body(request, err)
        || !store_hook_test(request->service->store, request->path_id, &delivery, err))
        return false;
    if (!answer(request, reply, 202, request->path_id, NULL, keep, err))
        return false;
    reply_header(reply, "Location", "/api/v1/hooks/%lld/deliveries", (long long)request->path_id);
    return true;
}

bool handle_delivery_list(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_hook hook;
    struct store_delivery_page page;
    struct api_text text;
    size_t limit;
    if (!request_limit(request, &limit, err)
        || !store_hook_get(request->service->store, request->path_id, keep, &hook, err)
        || !store_delivery_list(request->service->store, hook.id, limit, request_parameter(request, "cursor"),
                                keep, &page, err)
        || !api_deliveries_write(&page, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}
