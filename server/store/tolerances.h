/* tolerances.h - the lengths within which a specimen's runs tell the share of area: as a list, and as the
 * text that rows, request keys and workers have of them. */
#ifndef STORE_TOLERANCES_H
#define STORE_TOLERANCES_H

#include "base/error.h"

#include <stddef.h>

#define STORE_TOLERANCES_MAX 16
/* Each at most "1.2345678901234567e-308 ", and the end. */
#define STORE_TOLERANCES_TEXT (STORE_TOLERANCES_MAX * 25 + 1)

struct store_tolerances { /* in the specimen's unit, ascending, each once */
    size_t count;
    double lengths[STORE_TOLERANCES_MAX];
};

/* Sorts them and leaves each once; ERROR_USAGE where one is not finite and above 0. */
bool store_tolerances_settle(struct store_tolerances *tolerances, struct error *err);

/* Settled ones, parted by blanks, each as the shortest of 15 to 17 digits that reads back the same; "": none.
 * Equal lists have equal texts. */
void store_tolerances_write(const struct store_tolerances *tolerances, char text[STORE_TOLERANCES_TEXT]);

/* The list of such a text; NULL is none. ERROR_STORE, and none, where it is no such text. */
bool store_tolerances_read(const char *text, struct store_tolerances *tolerances, struct error *err);

#endif
