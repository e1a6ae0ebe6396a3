/* thumbnail.h - a mesh as a small picture, for lists, tables and reports.
 *
 * Seen from the front, the left and above, by parallel rays, as large as the picture holds; z is up. Light
 * comes over the left shoulder; the inside of a surface, seen through its openings, is darker; the edges of
 * faces are drawn where the faces are large enough. Grey, on a transparent ground, so that it lies on any
 * paper. The same mesh gives the same pixels. */
#ifndef PICTURE_THUMBNAIL_H
#define PICTURE_THUMBNAIL_H

#include "mesh/triangulation.h"

#define THUMBNAIL_WIDTH 320
#define THUMBNAIL_HEIGHT 240

/* Writes a PNG of a mesh with at least one face to fd. ERROR_LIMIT when memory ends, ERROR_MACHINE where fd
 * takes no more. */
bool thumbnail_write(const struct mesh *mesh, size_t width, size_t height, int fd, struct arena scratch,
                     struct error *err);

#endif
