/* key_file.h - the service's key in its data folder: seal.pem, for nobody but its owner. */
#ifndef SEAL_KEY_FILE_H
#define SEAL_KEY_FILE_H

#include "seal/seal.h"

#define SEAL_FILE "seal.pem"

/* *found false where there is no file. ERROR_STORE where it is not a key, or others may read it. On success
 * with *found the caller owes seal_key_forget. */
bool seal_file_read(int folder_fd, struct seal_key *key, bool *found, struct error *err);
/* Keeps the key there, durably before it returns, and never over another: whole or not at all, whenever the
 * machine stops. One at a time in a folder. */
bool seal_file_make(int folder_fd, const struct seal_key *key, struct error *err);
/* Copies the file, where there is one, over what is in another folder, durably. */
bool seal_file_copy(int folder_fd, int dest_fd, struct error *err);

#endif
