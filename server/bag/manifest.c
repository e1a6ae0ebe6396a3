/* manifest.c - lines of digest and path (RFC 8493, sections 2.1.3 and 2.2.1). */
#include "bag/manifest.h"

#include "bag/name.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

static const uint64_t manifest_bytes_max = (uint64_t)16 << 20;

static bool is_hex(const char *text, size_t size)
{
    for (size_t i = 0; i < size; i++)
        if (!strchr("0123456789abcdefABCDEF", text[i]) || !text[i])
            return false;
    return true;
}

struct reading {
    const struct bag *bag;
    struct manifest *manifest;
    struct bag_problems *problems;
    size_t line;
};

static void complain(struct reading *reading, enum bag_aspect aspect, const char *what)
{
    bag_problem_add(reading->problems, aspect, reading->manifest->path, "line %zu %s", reading->line, what);
}

/* Whether this manifest may list such a path. */
static bool belongs(struct reading *reading, const char *path)
{
    struct error err = {0};
    bool is_payload = strncmp(path, "data/", 5) == 0;
    if (!bag_path_check(path, strlen(path), &err)) {
        bag_problem_add(reading->problems, BAG_VALID, reading->manifest->path, "line %zu: %s", reading->line,
                        err.text);
        return false;
    }
    if (is_payload == reading->manifest->of_payload && strncmp(path, "tagmanifest-", 12) != 0)
        return true;
    complain(reading, BAG_VALID,
             reading->manifest->of_payload ? "lists a file outside data/, which a payload manifest may not"
             : is_payload                  ? "lists a payload file, which a tag manifest may not"
                                           : "lists a tag manifest, which a tag manifest may not");
    return false;
}

static void take_file(struct reading *reading, const char *digest, const char *path)
{
    struct manifest *manifest = reading->manifest;
    const struct bag_file *file = bag_find(reading->bag, path);
    if (!file) {
        manifest->missing[manifest->missing_count++] = path;
        return;
    }
    enum listing *listing = &manifest->listings[file - reading->bag->files];
    if (*listing != LISTED_NOT)
        complain(reading, BAG_VALID, "lists a file that another line lists already");
    else
        *listing = strcasecmp(digest, manifest->is_wide ? file->sha512 : file->sha256) == 0 ? LISTED_RIGHT
                                                                                            : LISTED_WRONG;
}

static void take_line(struct reading *reading, char *line)
{
    size_t digest = reading->manifest->is_wide ? 128 : 64, blanks;
    if (strlen(line) <= digest || !is_hex(line, digest) || (blanks = strspn(line + digest, " \t")) == 0
        || !line[digest + blanks]) {
        complain(reading, BAG_VALID, "is not a digest, blanks and a path");
        return;
    }
    char *path = line + digest + blanks;
    line[digest] = '\0';
    bag_path_decode(path);
    if (belongs(reading, path))
        take_file(reading, line, path);
}

static int compare(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

bool manifest_misses(const struct manifest *manifest, const char *path)
{
    return manifest->missing_count
           && bsearch(&path, manifest->missing, manifest->missing_count, sizeof path, compare);
}

static size_t count_lines(const char *text, size_t size)
{
    size_t count = 1;
    for (size_t i = 0; i < size; i++)
        count += text[i] == '\n' || text[i] == '\r';
    return count;
}

/* Lines end with LF, CR or CRLF. */
static void take_lines(struct reading *reading, char *text)
{
    while (*text) {
        size_t size = strcspn(text, "\r\n");
        char *next = text + size;
        if (*next)
            next += next[0] == '\r' && next[1] == '\n' ? 2 : 1;
        text[size] = '\0';
        reading->line++;
        if (size)
            take_line(reading, text);
        else
            complain(reading, BAG_VALID, "is empty");
        text = next;
    }
}

bool manifest_read(const struct bag *bag, const char *path, struct arena *keep, struct manifest *manifest,
                   struct bag_problems *problems, struct error *err)
{
    const struct bag_file *file = bag_find(bag, path);
    const char *bytes = "";
    *manifest = (struct manifest){.path = path,
                                  .is_there = file != NULL,
                                  .of_payload = strncmp(path, "tag", 3) != 0,
                                  .is_wide = strstr(path, "sha512") != NULL};
    manifest->listings = ARENA_ZERO(keep, enum listing, bag->count);
    if (!manifest->listings)
        return arena_error(err);
    if (!file)
        return true;
    if (!bag_read(bag, file, manifest_bytes_max, keep, &bytes, err))
        return false;
    if (strlen(bytes) != file->bytes) {
        bag_problem_add(problems, BAG_VALID, path, "holds zero bytes, which no text does");
        return true;
    }
    manifest->missing = ARENA_NEW(keep, const char *, count_lines(bytes, (size_t)file->bytes));
    if (!manifest->missing)
        return arena_error(err);
    struct reading reading = {bag, manifest, problems, 0};
    take_lines(&reading, (char *)(uintptr_t)bytes);
    qsort(manifest->missing, manifest->missing_count, sizeof *manifest->missing, compare);
    return true;
}
