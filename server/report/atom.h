/* atom.h - what happened as an Atom feed (RFC 4287).
 *
 * Ids are version 5 UUIDs (RFC 9562) of the collection's own UUID and a name such as "audit/12": they stay
 * the same wherever the service moves. Links are relative to where the feed is read. */
#ifndef REPORT_ATOM_H
#define REPORT_ATOM_H

#include "base/error.h"

#include <stdint.h>

struct atom_entry {
    const char *name; /* "audit/12" */
    const char *title, *summary, *category;
    const char *updated;  /* RFC 3339 */
    const char *author;   /* who did it, as stated */
    const char *page;     /* reference of the page that shows it */
    const char *resource; /* reference of its JSON */
};
struct atom_feed {
    const char *collection; /* "9c1b...", a UUID */
    const char *name;       /* "feed" or "feed/specimen/12" */
    const char *title;
    const char *self, *page; /* references */
    const char *updated;     /* where there is no entry */
    size_t count;
    const struct atom_entry *entries; /* newest first */
};
/* The caller frees *text. ERROR_MACHINE when memory is out; ERROR_STORE where the collection's UUID is none.
 */
bool atom_write(const struct atom_feed *feed, char **text, size_t *size, struct error *err);

enum { ATOM_UUID_SIZE = 37 };
/* RFC 9562, section 5.5. False where `space` is no UUID. */
bool atom_uuid(const char *space, const char *name, char uuid[ATOM_UUID_SIZE]);

#endif
