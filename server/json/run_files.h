/* run_files.h - what a run leaves in a folder: its record and its fields.
 *
 * Every file is written under another name, flushed to the disk and renamed, so that a file with the right
 * name is whole; fields.json comes last. Only openat, fstat, write, fsync, renameat, unlinkat below
 * folder_fd. Errors: ERROR_MACHINE with what the system said. */
#ifndef JSON_RUN_FILES_H
#define JSON_RUN_FILES_H

#include "run/run.h"

/* Writes count bytes as file `name` of the folder. */
bool run_file_save(int folder_fd, const char *name, const void *bytes, size_t count, struct error *err);

/* run_record_text as file `name`. */
bool run_record_save(const struct run *run, int folder_fd, const char *name, struct error *err);

/* Each field as NAME.bin, little-endian float64 (undefined is NaN), then fields.json:
 * {"mesh":"subject","fields":[{"name","file","per":"vertex"|"face","count","type":"float64-le"}]}. */
bool run_fields_save(const struct run *run, int folder_fd, struct error *err);

#endif
