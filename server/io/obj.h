/* obj.h - the polygons of a Wavefront OBJ file.
 *
 * Read: v (3 numbers; a fourth is a weight; 6 or 7 with a colour, not kept) and f with any number of corners
 * in the forms v, v/vt, v//vn, v/vt/vn, indices from 1 or relative to the end (negative). A face may come
 * before its vertices, as long as the file has them at its end. A backslash before a line end continues the
 * statement. vt, vn, g, o, s and usemtl need no measuring and are passed over; creases are read
 * (obj_crease.h); any other statement is passed over and counted (statements_skipped), mtllib as
 * materials_ignored: nothing it names is opened. */
#ifndef IO_OBJ_H
#define IO_OBJ_H

#include "io/source.h"

bool obj_read(const struct source *source, struct mesh *mesh, struct arena *keep, struct arena scratch,
              struct error *err);

#endif
