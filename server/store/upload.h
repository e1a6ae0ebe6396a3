/* upload.h - bytes on their way into the store, and blobs on their way out.
 *
 * begin opens a private file in uploads/, write appends and hashes, finish makes it durable under its SHA-256
 * (fsync, link without overwriting, fsync of the folders). Then store_version_create makes the row that
 * points to it. An upload belongs to one thread at a time. */
#ifndef STORE_UPLOAD_H
#define STORE_UPLOAD_H

#include "base/digest.h"
#include "store/store.h"

struct store_upload;

/* ERROR_MACHINE where declared_bytes (0: unknown) would eat into the reserve of free disk; ERROR_STORE when
 * the store is read-only. */
bool store_upload_begin(struct store *store, uint64_t declared_bytes, struct store_upload **upload,
                        struct error *err);
/* ERROR_MACHINE when the disk is full. Checks the reserve again as it goes. */
bool store_upload_write(struct store_upload *upload, const void *bytes, size_t count, struct error *err);
uint64_t store_upload_bytes(const struct store_upload *upload);
/* Stays the upload's. */
int store_upload_fd(const struct store_upload *upload);
/* Makes the blob durable; blocks for as long as the disk takes. ERROR_EMPTY where nothing was written. After
 * a failed fsync the store is read-only. sha256 (may be NULL) receives the hash. */
bool store_upload_finish(struct store_upload *upload, char sha256[DIGEST_HEX_SIZE], struct error *err);
/* The hash of a finished upload, NULL before; the upload's own. */
const char *store_upload_sha256(const struct store_upload *upload);
/* Frees the handle, finished or not; an unfinished upload leaves nothing behind. NULL is fine. A finished
 * blob is protected from the sweep until here, so call it after store_version_create. */
void store_upload_close(struct store_upload *upload);

/* Opens a blob for reading after hashing all of it (once per ten minutes while size and change time stay the
 * same; reads the whole file the first time, so not on a thread that serves others). ERROR_STORE "damaged"
 * where the bytes no longer have their hash. The caller closes *fd. */
bool store_blob_open(struct store *store, const char *sha256, int *fd, uint64_t *bytes, struct error *err);
/* The same without looking at the bytes, for a reader that hashes them itself (a worker). */
bool store_blob_open_unread(struct store *store, const char *sha256, int *fd, struct error *err);

#endif
