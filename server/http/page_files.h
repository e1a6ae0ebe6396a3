/* page_files.h - the page's files, read once at the start; a request only ever looks a name up here. */
#ifndef HTTP_PAGE_FILES_H
#define HTTP_PAGE_FILES_H

#include "base/error.h"
#include "http/etag.h"

struct page_file {
    char *path; /* "/views/run.js" */
    char *bytes;
    size_t size;
    const char *content_type;
    char etag[ETAG_SIZE];
};

struct page_files {
    size_t count;
    struct page_file *files; /* by path */
};

/* Reads every regular file under folder but those whose names begin with "."; ERROR_NOT_FOUND where there is
 * no index.html, ERROR_LIMIT beyond 64 MiB or 4,000 files. The caller owes page_files_close in every case. */
bool page_files_open(const char *folder, struct page_files *page, struct error *err);
void page_files_close(struct page_files *page);

/* NULL when there is none; "/" is "/index.html". */
const struct page_file *page_files_find(const struct page_files *page, const char *path);

#endif
