/* bag_zip.c - a bag out of a zip. */
#include "bag/bag.h"

#include "bag/spool.h"
#include "bag/zip_reader.h"

#include <string.h>

/* The one folder that all entries lie in (RFC 8493, section 4). */
static bool find_folder(const struct zip_directory *directory, struct arena *keep, const char **name,
                        struct error *err)
{
    size_t size = 0;
    for (size_t i = 0; i < directory->count; i++) {
        const struct zip_entry *entry = &directory->entries[i];
        const char *slash = strchr(entry->path, '/');
        size_t first = slash ? (size_t)(slash - entry->path) : strlen(entry->path);
        if ((!slash && !entry->is_folder)
            || (i && (first != size || memcmp(entry->path, directory->entries[0].path, size) != 0)))
            return error_set(err, ERROR_DATA,
                             "'%.80s' lies beside the bag's folder; a zip holds one folder with the bag (RFC "
                             "8493, section 4): pack that folder alone",
                             entry->path);
        size = first;
    }
    char *copy = ARENA_NEW(keep, char, size + 1);
    if (!copy)
        return arena_error(err);
    if (size == 0)
        return error_set(err, ERROR_DATA, "the zip is empty; ask for the handoff anew");
    memcpy(copy, directory->entries[0].path, size);
    copy[size] = '\0';
    *name = copy;
    return true;
}

static bool take(void *context, const void *bytes, size_t count, struct error *err)
{
    return spool_add(context, bytes, count, err);
}

bool bag_open_zip(int zip_fd, int spool_fd, const struct bag_limits *limits, struct arena *keep,
                  struct bag *bag, struct error *err)
{
    struct spool spool = {.fd = spool_fd, .most = limits->bytes};
    struct zip_directory directory;
    *bag = (struct bag){.spool_fd = spool_fd, .name = ""};
    if (!zip_directory_read(zip_fd, limits, keep, &directory, err)
        || !find_folder(&directory, keep, &bag->name, err))
        return false;
    bag->files = ARENA_ZERO(keep, struct bag_file, directory.count);
    if (!bag->files)
        return arena_error(err);
    bag->time_s = directory.entries[0].time_s;
    size_t name = strlen(bag->name) + 1;
    for (size_t i = 0; i < directory.count; i++)
        if (!directory.entries[i].is_folder)
            bag->files[bag->count++].path = directory.entries[i].path + name;
    if (!bag_settle(bag, *keep, err)) /* before anything is unpacked */
        return false;
    for (size_t i = 0; i < directory.count; i++) {
        const struct zip_entry *entry = &directory.entries[i];
        struct bag_file *file =
            entry->is_folder ? NULL : (struct bag_file *)(uintptr_t)bag_find(bag, entry->path + name);
        if (!file)
            continue;
        spool_begin(&spool, file);
        if (!zip_entry_read(zip_fd, entry, take, &spool, &file->damage, err))
            return false;
        spool_end(&spool);
    }
    return true;
}
