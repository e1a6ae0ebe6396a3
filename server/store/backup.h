/* backup.h - a copy of a data folder while it is in use, and the check of one. */
#ifndef STORE_BACKUP_H
#define STORE_BACKUP_H

#include "store/store.h"

struct store_backup_figures {
    int64_t blobs_copied, blobs_present;
    uint64_t bytes_copied;
};
/* Copies database, blobs and the service's key into the folder dest_fd (made by the caller; blobs already
 * there by name and size are not copied again). The database is copied last under another name, synced and
 * renamed, and holds exactly the blobs that are there: a broken backup leaves the one before it whole. */
bool store_backup(struct store *store, int dest_fd, struct store_backup_figures *figures, struct error *err);

struct store_verify_figures {
    int64_t specimens, versions, runs, blobs, blobs_hashed, findings, notes;
};
/* Told each finding (damage) and note (harmless), one sentence each. */
typedef void store_verify_listener(void *context, bool is_note, const char *text);
/* Checks structure (every row has a blob of the right size, every blob a row), database (integrity_check,
 * foreign keys, records unpack to their length and hash), the service's key, and hashes blobs: those whose
 * place in the list of names, modulo sample_of, is sample_at - 1 (1 of 1: all). Reads only; works beside a
 * running server. False only where the check could not be made. */
bool store_verify(const char *folder, size_t sample_at, size_t sample_of, store_verify_listener *listener,
                  void *context, struct store_verify_figures *figures, struct error *err);

#endif
