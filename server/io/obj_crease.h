/* obj_crease.h - creases of an OBJ file: its statements "t crease 2/1/0 A B SHARPNESS".
 *
 * A and B are the two vertices of an edge, counted from 0 in the order of the file's v statements; the three
 * numbers before them say that two whole numbers, one real and no text follow. Sharpness 0 is smooth, 10 and
 * more is sharp for ever. The form is that of the tags in the shape files that OpenSubdiv's own tests read
 * (from memory). */
#ifndef IO_OBJ_CREASE_H
#define IO_OBJ_CREASE_H

#include "io/source.h"

/* True when the statement whose keyword begins at `at` is a crease. */
bool obj_is_crease(const char *at, const char *end);

/* Goes over the text again and reads the `count` creases in it, which were counted with obj_is_crease. The
 * mesh's vertices must be known. Notes creases_read. ERROR_SYNTAX, ERROR_DATA with the line; ERROR_LIMIT. */
bool obj_read_creases(const struct source *source, size_t count, struct mesh *mesh, struct arena *keep,
                      struct error *err);

#endif
