/* record_pick.h - of a record's text only the places that are asked for, as a tree.
 *
 * A record also tells of distributions, of findings and of its reference: nine tenths of its bytes that a row
 * of measures does not need. These are passed over and never parsed. What is passed over is not checked to be
 * JSON; the store has checked the text by its digest. */
#ifndef JSON_RECORD_PICK_H
#define JSON_RECORD_PICK_H

#include "base/error.h"

struct json_t;

/* Adds a dotted path to the places: objects nested as a record's are, true where all below is wanted. False
 * when memory is out. */
bool record_places_add(struct json_t *places, const char *path);

/* The record without every member that the places do not name; a new reference. NULL when the text is not an
 * object or memory is out. */
struct json_t *record_pick(const char *text, size_t size, const struct json_t *places);

#endif
