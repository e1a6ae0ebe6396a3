/* page_files.c - reading the page's folder into a sorted table. */
#include "http/page_files.h"

#include <dirent.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define FILES_MAX 4000
#define BYTES_MAX ((size_t)64 << 20)
#define DEPTH_MAX 8
#define PATH_MAX_HERE 512

struct walk {
    struct page_files *page;
    size_t room, bytes;
};

static const struct {
    const char *extension, *type;
} types[] = {
    {".html", "text/html; charset=utf-8"},
    {".js", "text/javascript; charset=utf-8"},
    {".mjs", "text/javascript; charset=utf-8"},
    {".css", "text/css; charset=utf-8"},
    {".json", "application/json; charset=utf-8"},
    {".svg", "image/svg+xml; charset=utf-8"},
    {".png", "image/png"},
    {".ico", "image/x-icon"},
    {".woff2", "font/woff2"},
    {".txt", "text/plain; charset=utf-8"},
    {".md", "text/plain; charset=utf-8"},
    {".webmanifest", "application/manifest+json"},
};

static const char *type_of(const char *name)
{
    const char *dot = strrchr(name, '.');
    for (size_t i = 0; dot && i < sizeof types / sizeof *types; i++)
        if (!strcmp(dot, types[i].extension))
            return types[i].type;
    return "application/octet-stream";
}

static bool read_all(int fd, char *bytes, size_t size)
{
    for (size_t done = 0; done < size;) {
        ssize_t got = read(fd, bytes + done, size - done);
        if (got <= 0)
            return false;
        done += (size_t)got;
    }
    return true;
}

/* Takes fd. */
static bool add_file(struct walk *walk, int fd, const char *path, size_t size, struct error *err)
{
    struct page_files *page = walk->page;
    walk->bytes += size;
    if (page->count == FILES_MAX || walk->bytes > BYTES_MAX) {
        close(fd);
        return error_set(err, ERROR_LIMIT, "the page's folder holds more than %d files or 64 MiB", FILES_MAX);
    }
    if (page->count == walk->room) {
        size_t room = walk->room ? 2 * walk->room : 64;
        struct page_file *files = realloc(page->files, room * sizeof *files);
        if (!files) {
            close(fd);
            return error_set(err, ERROR_MACHINE, "no memory for the page's files");
        }
        page->files = files;
        walk->room = room;
    }
    struct page_file *file = &page->files[page->count++];
    *file = (struct page_file){.path = strdup(path), .bytes = malloc(size + 1), .size = size};
    bool ok = file->path && file->bytes && read_all(fd, file->bytes, size);
    close(fd);
    if (!ok)
        return error_set(err, ERROR_MACHINE, "a file of the page cannot be read");
    file->content_type = type_of(path);
    etag_of_bytes(file->bytes, size, file->etag);
    return true;
}

/* Takes folder_fd. */
static bool add_folder(struct walk *walk, int folder_fd, const char *prefix, int depth, struct error *err)
{
    DIR *folder = fdopendir(folder_fd);
    bool ok = true;
    if (!folder) {
        close(folder_fd);
        return error_set(err, ERROR_MACHINE, "a folder of the page cannot be read");
    }
    for (struct dirent *entry; ok && (entry = readdir(folder)) != NULL;) {
        char path[PATH_MAX_HERE];
        struct stat facts;
        if (entry->d_name[0] == '.')
            continue;
        int fd = openat(folder_fd, entry->d_name, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
        if (fd < 0 || fstat(fd, &facts)
            || snprintf(path, sizeof path, "%s/%s", prefix, entry->d_name) >= (int)sizeof path) {
            ok = error_set(err, ERROR_MACHINE, "a file of the page cannot be opened");
            if (fd >= 0)
                close(fd);
        } else if (S_ISREG(facts.st_mode)) {
            ok = add_file(walk, fd, path, (size_t)facts.st_size, err);
        } else if (S_ISDIR(facts.st_mode) && depth < DEPTH_MAX) {
            ok = add_folder(walk, fd, path, depth + 1, err);
        } else {
            close(fd);
        }
    }
    closedir(folder);
    return ok;
}

static int by_path(const void *a, const void *b)
{
    return strcmp(((const struct page_file *)a)->path, ((const struct page_file *)b)->path);
}

bool page_files_open(const char *folder, struct page_files *page, struct error *err)
{
    struct walk walk = {page, 0, 0};
    *page = (struct page_files){0, NULL};
    int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return error_set(err, ERROR_NOT_FOUND, "the page's folder cannot be opened");
    if (!add_folder(&walk, fd, "", 0, err))
        return false;
    if (page->count)
        qsort(page->files, page->count, sizeof *page->files, by_path);
    return page_files_find(page, "/")
           || error_set(err, ERROR_NOT_FOUND, "the page's folder has no index.html");
}

void page_files_close(struct page_files *page)
{
    for (size_t i = 0; i < page->count; i++) {
        free(page->files[i].path);
        free(page->files[i].bytes);
    }
    free(page->files);
    *page = (struct page_files){0, NULL};
}

const struct page_file *page_files_find(const struct page_files *page, const char *path)
{
    struct page_file key = {.path = (char *)(uintptr_t)(strcmp(path, "/") ? path : "/index.html")};
    return page->count ? bsearch(&key, page->files, page->count, sizeof *page->files, by_path) : NULL;
}
