/* off.h - the polygons of an ASCII OFF file (Object File Format of the Geometry Center).
 *
 * Magic [ST][C][N]OFF; without any magic only where the file's name says OFF. The counts may stand on the
 * magic's line; the edge count may be missing and is not believed. '#' begins a comment. One vertex a line:
 * x y z, then 3 numbers of a normal (N), 3 or 4 of a colour (C), 2 of a texture (ST), none kept; any other
 * number of columns is refused rather than guessed. One face a line: corner count, indices, up to 4 numbers
 * of colour, not kept. Counts, a vertex without colours or a face without them may also go on over lines, as
 * in a file of one number a line, where a line ends with the last of their numbers. 4OFF and nOFF (other
 * dimensions) and OFF BINARY are refused as ERROR_TYPE. */
#ifndef IO_OFF_H
#define IO_OFF_H

#include "io/source.h"

bool off_read(const struct source *source, struct mesh *mesh, struct arena *keep, struct arena scratch,
              struct error *err);

/* True when at..word_end is the magic word of any OFF variant. */
bool off_is_magic(const char *at, const char *word_end);

#endif
