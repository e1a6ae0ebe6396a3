/* obj_plain.h - the lines that OBJ files are full of, without a look at anything else. */
#ifndef IO_OBJ_PLAIN_H
#define IO_OBJ_PLAIN_H

#include "io/obj_part.h"

/* Reads lines from at, where a statement begins, up to stop or the first that is not plain: it is left for
 * the general reader, as every error and warning is. Plain are, in short numbers with one blank between them,
 * `v` with 3 or 6 numbers, `vt` and `vn` with anything, and `f` with 3 to 8 positive indices in one form, all
 * of what stands before. Returns where it stopped, at or behind a line end, or at itself. */
const char *obj_plain_read(struct obj_part *part, const char *at, const char *stop);

#endif
