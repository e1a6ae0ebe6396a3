/* specs.h - the starting specs, put into a store that does not have them yet. */
#ifndef HTTP_SPECS_H
#define HTTP_SPECS_H

#include "store/store.h"
#include "json/measures.h"

/* Each spec that comes with the program becomes the next version of its name, where that is its own number; a
 * name that a lab has gone on with stays as it is. */
bool specs_seed(struct store *store, const struct measure_list *measures, struct error *err);

/* Today in Greenwich: the day for which waivers are looked at. */
void specs_today(char day[11]);

#endif
