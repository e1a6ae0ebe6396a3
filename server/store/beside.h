/* beside.h - reading a data folder without opening it as its owner: works while a server uses it. */
#ifndef STORE_BESIDE_H
#define STORE_BESIDE_H

#include "store/store.h"

/* A store whose every read function works and whose every change is refused (ERROR_STORE); the caller owes
 * store_close. ERROR_NOT_FOUND for the folder, ERROR_USAGE for a schema that is not this program's. */
bool store_open_beside(const char *folder, struct store **store, struct error *err);

#endif
