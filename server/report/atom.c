/* atom.c - a feed element, its entries, their ids. */
#include "report/atom.h"

#include "base/sha1.h"
#include "report/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int digit_of(char c)
{
    static const char digits[] = "0123456789abcdef";
    const char *at = c ? strchr(digits, c) : NULL;
    return at ? (int)(at - digits) : -1;
}

static bool uuid_bytes(const char *text, uint8_t bytes[16])
{
    size_t count = 0;
    for (const char *at = text; *at; at += 2) {
        if (*at == '-')
            at++;
        int high = digit_of(*at), low = high < 0 ? -1 : digit_of(at[1]);
        if (low < 0 || count == 16)
            return false;
        bytes[count++] = (uint8_t)(high << 4 | low);
    }
    return count == 16;
}

bool atom_uuid(const char *space, const char *name, char uuid[ATOM_UUID_SIZE])
{
    uint8_t bytes[16], hash[SHA1_SIZE];
    struct sha1 sha1;
    if (!uuid_bytes(space, bytes))
        return false;
    sha1_begin(&sha1);
    sha1_add(&sha1, bytes, sizeof bytes);
    sha1_add(&sha1, name, strlen(name));
    sha1_end(&sha1, hash);
    hash[6] = (uint8_t)((hash[6] & 0x0f) | 0x50); /* version 5 */
    hash[8] = (uint8_t)((hash[8] & 0x3f) | 0x80); /* variant of RFC 9562 */
    for (size_t i = 0, at = 0; i < 16; i++) {
        if (i == 4 || i == 6 || i == 8 || i == 10)
            uuid[at++] = '-';
        at += (size_t)snprintf(uuid + at, 3, "%02x", hash[i]);
    }
    return true;
}

static void add_element(struct text *text, const char *name, const char *attributes, const char *content)
{
    text_add_format(text, "<%s%s>", name, attributes);
    text_add_escaped(text, content);
    text_add_format(text, "</%s>\n", name);
}

static void add_id(struct text *text, const char *collection, const char *name)
{
    char uuid[ATOM_UUID_SIZE];
    if (!atom_uuid(collection, name, uuid))
        text->failed = true;
    else
        text_add_format(text, "<id>urn:uuid:%s</id>\n", uuid);
}

static void add_link(struct text *text, const char *rel, const char *type, const char *href)
{
    text_add_format(text, "<link rel=\"%s\" type=\"%s\" href=\"", rel, type);
    text_add_escaped(text, href);
    text_add(text, "\"/>\n");
}

static void add_entry(struct text *text, const char *collection, const struct atom_entry *entry)
{
    text_add(text, "<entry>\n");
    add_id(text, collection, entry->name);
    add_element(text, "title", "", entry->title);
    add_element(text, "updated", "", entry->updated);
    text_add(text, "<author><name>");
    text_add_escaped(text, entry->author);
    text_add(text, "</name></author>\n");
    add_link(text, "alternate", "text/html", entry->page);
    add_link(text, "related", "application/json", entry->resource);
    text_add_format(text, "<category term=\"%s\"/>\n", entry->category);
    add_element(text, "summary", "", entry->summary);
    text_add(text, "</entry>\n");
}

bool atom_write(const struct atom_feed *feed, char **text, size_t *size, struct error *err)
{
    struct text out = {0};
    uint8_t bytes[16];
    if (!uuid_bytes(feed->collection, bytes))
        return error_set(err, ERROR_STORE, "the collection has lost its name; run fettle verify");
    text_add(&out, "<?xml version=\"1.0\" encoding=\"utf-8\"?>\n<feed xmlns=\"http://www.w3.org/2005/Atom\""
                   " xml:lang=\"en\">\n");
    add_id(&out, feed->collection, feed->name);
    add_element(&out, "title", "", feed->title);
    add_element(&out, "updated", "", feed->count ? feed->entries[0].updated : feed->updated);
    add_link(&out, "self", "application/atom+xml", feed->self);
    add_link(&out, "alternate", "text/html", feed->page);
    text_add(&out, "<author><name>fettle</name></author>\n");
    add_element(&out, "generator", "", "fettle");
    for (size_t i = 0; i < feed->count; i++)
        add_entry(&out, feed->collection, &feed->entries[i]);
    text_add(&out, "</feed>\n");
    if (out.failed) {
        free(out.bytes);
        return error_set(err, ERROR_MACHINE, "memory is out while writing a feed");
    }
    *text = out.bytes;
    *size = out.size;
    return true;
}
