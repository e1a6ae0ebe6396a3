/* beside.h - reading a data folder without opening it as its owner: works while a server uses it. */
#ifndef STORE_BESIDE_H
#define STORE_BESIDE_H

#include "base/arena.h"

/* The record of a run, as store_run_record gives it. ERROR_NOT_FOUND for the folder or the run, ERROR_USAGE
 * for a schema that is not this program's. */
bool store_record_beside(const char *folder, int64_t run, struct arena *keep, const char **bytes,
                         size_t *count, struct error *err);

#endif
