/* api_hook.c - rows of hooks and deliveries as JSON. */
#include "json/api_hook.h"

#include "json/tree.h"

#include <string.h>
#include <time.h>

/* " audit sign-off " as a list. */
static json_t *events_json(struct tree *tree, const char *events)
{
    json_t *list = tree_array(tree);
    for (const char *at = events + strspn(events, " "); *at;) {
        size_t size = strcspn(at, " ");
        tree_append(tree, list, json_stringn(at, size));
        at += size;
        at += strspn(at, " ");
    }
    return list;
}

static json_t *hook_json(struct tree *tree, const struct store_hook *hook)
{
    json_t *object = tree_object(tree), *counts = tree_object(tree);
    tree_put(tree, object, "id", api_id(hook->id));
    tree_put_text(tree, object, "url", hook->url);
    tree_put(tree, object, "events", events_json(tree, hook->events));
    tree_put_text(tree, object, "created", hook->created);
    tree_put_text(tree, object, "failing_since", hook->failing_since);
    tree_put_text(tree, object, "disabled_at", hook->disabled_at);
    tree_put_text(tree, object, "disabled_reason", hook->disabled_reason);
    tree_put_integer(tree, counts, "waiting", hook->waiting);
    tree_put_integer(tree, counts, "delivered", hook->delivered);
    tree_put_integer(tree, counts, "failed", hook->failed);
    tree_put(tree, object, "deliveries", counts);
    return object;
}

static bool write(const struct tree *tree, json_t *object, struct api_text *text, struct error *err)
{
    if (tree->failed) {
        json_decref(object);
        object = NULL;
    }
    return api_text_write(object, text, err);
}

bool api_hook_write(const struct store_hook *hook, const char *secret, struct api_text *text,
                    struct error *err)
{
    struct tree tree = {false};
    json_t *object = hook_json(&tree, hook);
    if (secret)
        tree_put_text(&tree, object, "secret", secret);
    return write(&tree, object, text, err);
}

bool api_hooks_write(const struct store_hook_list *list, struct api_text *text, struct error *err)
{
    struct tree tree = {false};
    json_t *object = tree_object(&tree), *items = tree_array(&tree);
    for (size_t i = 0; i < list->count; i++)
        tree_append(&tree, items, hook_json(&tree, &list->items[i]));
    tree_put(&tree, object, "items", items);
    return write(&tree, object, text, err);
}

/* RFC 3339, UTC. */
static json_t *time_json(int64_t ms)
{
    char text[32];
    struct tm parts;
    time_t seconds = (time_t)(ms / 1000);
    if (!gmtime_r(&seconds, &parts) || !strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &parts))
        return json_null();
    return json_string(text);
}

static json_t *delivery_json(struct tree *tree, const struct store_delivery *delivery)
{
    json_t *object = tree_object(tree);
    bool waits = strcmp(delivery->state, "waiting") == 0;
    tree_put(tree, object, "id", api_id(delivery->id));
    tree_put_text(tree, object, "uid", delivery->uid);
    tree_put_text(tree, object, "event", delivery->event);
    tree_put_text(tree, object, "state", delivery->state);
    tree_put_integer(tree, object, "attempts", delivery->attempts);
    tree_put_text(tree, object, "created", delivery->created);
    tree_put(tree, object, "next_attempt",
             waits && delivery->due_ms ? time_json(delivery->due_ms) : json_null());
    tree_put_text(tree, object, "ended", delivery->ended);
    tree_put(tree, object, "last_status",
             delivery->last_status ? json_integer(delivery->last_status) : json_null());
    tree_put_text(tree, object, "last_error", delivery->last_error);
    tree_put_text(tree, object, "last_answer", delivery->last_answer);
    return object;
}

bool api_deliveries_write(const struct store_delivery_page *page, struct api_text *text, struct error *err)
{
    struct tree tree = {false};
    json_t *items = tree_array(&tree);
    for (size_t i = 0; i < page->count; i++)
        tree_append(&tree, items, delivery_json(&tree, &page->items[i]));
    return write(&tree, tree.failed ? items : api_page(items, page->next, page->total), text, err);
}
