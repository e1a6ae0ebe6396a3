/* handle_feed.c - what happened lately, as an Atom feed: of the collection, and of one specimen. */
#include "http/handlers.h"
#include "http/request.h"

#include "report/atom.h"
#include "report/text.h"
#include "store/hooks.h"
#include "store/specimen.h"
#include "store/standing.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FEED_ENTRIES = 100 };

static char *print(struct arena *keep, const char *format, ...) __attribute__((format(printf, 2, 3)));
static char *print(struct arena *keep, const char *format, ...)
{
    char text[1200];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    return arena_text(keep, text);
}

/* Of an audit: the rules that held it up. */
static const char *summary_of(const struct store_told *told, const struct store_standing *held,
                              struct arena *keep)
{
    struct text text = {0};
    if (strcmp(told->about, "audit") != 0)
        return told->text;
    for (size_t i = 0; i < held->facts.hold_count; i++) {
        const struct standing_hold *hold = &held->facts.holds[i];
        text_add(&text, i ? "; " : "");
        text_add(&text, hold->name);
        text_add(&text, ": ");
        text_add(&text, hold->outcome);
        text_add(&text, hold->was_waived ? " (waived)" : "");
    }
    const char *summary = text.failed  ? NULL
                          : text.bytes ? arena_text(keep, text.bytes)
                                       : "every required rule conforms";
    free(text.bytes);
    return summary;
}

static bool make_entry(const struct store_told *told, const struct store_standing *held, struct arena *keep,
                       struct atom_entry *entry, struct error *err)
{
    bool is_audit = strcmp(told->about, "audit") == 0;
    *entry = (struct atom_entry){
        .name = print(keep, "%s/%lld", told->about, (long long)told->about_id),
        .title = print(keep, "%s: %s: %s", told->catalogue_number, told->kind, told->text),
        .summary = summary_of(told, held, keep),
        .category = told->about,
        .updated = told->created,
        .author = told->who ? told->who : "fettle",
        .page = print(keep, "/#/audit/%lld", (long long)told->specimen),
        .resource = is_audit ? print(keep, "/api/v1/audits/%lld", (long long)told->about_id)
                             : print(keep, "/api/v1/specimens/%lld", (long long)told->specimen),
    };
    return (!keep->failed && entry->summary) || arena_error(err);
}

static bool make_entries(struct request *request, int64_t specimen, struct atom_feed *feed,
                         struct arena *keep, struct error *err)
{
    struct store *store = request->service->store;
    struct store_told_list list;
    if (!store_told_list(store, specimen, FEED_ENTRIES, keep, &list, err))
        return false;
    struct store_standing *held = ARENA_NEW(keep, struct store_standing, list.count),
                          **each = ARENA_NEW(keep, struct store_standing *, list.count);
    struct atom_entry *entries = ARENA_NEW(keep, struct atom_entry, list.count);
    if (!held || !each || !entries)
        return arena_error(err);
    for (size_t i = 0; i < list.count; i++) {
        bool is_audit = strcmp(list.items[i].about, "audit") == 0;
        held[i] = (struct store_standing){.audit = is_audit ? list.items[i].about_id : 0};
        each[i] = &held[i];
    }
    if (!store_standing_holds(store, each, list.count, keep, err))
        return false;
    for (size_t i = 0; i < list.count; i++)
        if (!make_entry(&list.items[i], &held[i], keep, &entries[i], err))
            return false;
    feed->count = list.count;
    feed->entries = entries;
    return true;
}

static bool answer(struct request *request, struct reply *reply, int64_t specimen, struct atom_feed *feed,
                   struct arena *keep, struct error *err)
{
    char *text;
    size_t size;
    if (!store_collection_uuid(request->service->store, keep, &feed->collection, err)
        || !make_entries(request, specimen, feed, keep, err) || !atom_write(feed, &text, &size, err))
        return false;
    reply_text(reply, 200, "application/atom+xml; charset=utf-8", text, size);
    etag_of_bytes(text, size, reply->etag);
    return true;
}

bool handle_feed(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct atom_feed feed = {.name = "feed",
                             .title = "fettle: audits, sign-offs and handoffs",
                             .self = "/api/v1/feed",
                             .page = "/#/standing",
                             .updated = "1970-01-01T00:00:00Z"};
    return answer(request, reply, 0, &feed, keep, err);
}

bool handle_specimen_feed(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_specimen specimen;
    long long id = (long long)request->path_id;
    if (!store_specimen_get(request->service->store, request->path_id, keep, &specimen, err))
        return false;
    struct atom_feed feed = {
        .name = print(keep, "feed/specimen/%lld", id),
        .title = print(keep, "fettle: audits, sign-offs and handoffs of %s", specimen.catalogue_number),
        .self = print(keep, "/api/v1/specimens/%lld/feed", id),
        .page = print(keep, "/#/audit/%lld", id),
        .updated = specimen.created};
    if (keep->failed)
        return arena_error(err);
    return answer(request, reply, request->path_id, &feed, keep, err);
}
