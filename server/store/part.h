/* part.h - files that come in pieces, over several connections and starts of the server.
 *
 * A part is a row that says what is to become of the file, and a file in uploads/ whose length says how much
 * of it has come. Each piece is appended by one thread at a time. When all has come, the version is made as
 * of any upload, in one transaction with the note of it in the row. The row stays until it expires, so that
 * whoever missed the answer can ask what became of the file.
 *
 * A piece with a checksum counts only once it was compared: until then the row names its beginning, and what
 * a crash leaves beyond that is taken away before the next piece. */
#ifndef STORE_PART_H
#define STORE_PART_H

#include "store/version.h"

#define STORE_PART_NAME_SIZE 33 /* 32 hex digits */

struct store_part {
    char name[STORE_PART_NAME_SIZE];
    uint64_t bytes, arrived;       /* of the whole; so far */
    char expires[STORE_TIME_SIZE]; /* later with every piece */
    int64_t version;               /* 0 until the file is whole and its version made */
};

/* Removes what has expired first. Checks as store_version_check does, and the free disk. metadata is text of
 * the caller's that is kept as it is. ERROR_EMPTY where bytes is 0; ERROR_BUSY where as many as the store's
 * options allow are unfinished. */
bool store_part_create(struct store *store, const struct store_version_new *version, uint64_t bytes,
                       const char *metadata, struct store_part *part, struct error *err);
/* metadata may be NULL. ERROR_NOT_FOUND where there is none, or it has expired. */
bool store_part_get(struct store *store, const char *name, struct arena *keep, struct store_part *part,
                    const char **metadata, struct error *err);
/* Takes it away, with what has come; not what was made of it. A piece that is being written ends with
 * ERROR_CONFLICT. */
bool store_part_remove(struct store *store, const char *name, struct error *err);
/* Removes what has expired and is not being written to; called before each upload, so that what it held is
 * to be had. */
void store_part_expire(struct store *store);

/* One piece on its way; belongs to one thread at a time. */
struct store_piece;
/* Opens the part for appending at `offset`. is_checked: the piece counts only once store_piece_finish is
 * called. ERROR_CONFLICT with *locked where another piece is being written, without where that is not where
 * it ends; ERROR_MACHINE where the rest of the file would eat into the reserve of free disk. A piece of
 * nothing at the end of a file that is whole makes the version that a crash prevented. */
bool store_piece_begin(struct store *store, const char *name, uint64_t offset, bool is_checked,
                       struct store_piece **piece, bool *locked, struct error *err);
/* ERROR_LIMIT where more comes than the whole was said to have; ERROR_MACHINE where the disk is full. */
bool store_piece_write(struct store_piece *piece, const void *bytes, size_t count, struct error *err);
/* How many bytes of the whole are still to come. */
uint64_t store_piece_left(const struct store_piece *piece);
/* Takes back what the piece has brought. */
void store_piece_undo(struct store_piece *piece);
/* Makes what has come durable and moves the expiry; where all has come, makes the version. Blocks for as long
 * as hashing and the disk take. No more is written afterwards. */
bool store_piece_finish(struct store_piece *piece, struct store_part *part, struct error *err);
/* Frees the handle. What was written stays, to be gone on with, but for a checked piece that was not
 * finished. NULL is fine. */
void store_piece_close(struct store_piece *piece);

#endif
