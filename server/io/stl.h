/* stl.h - the triangles of an STL file, binary or ASCII.
 *
 * Corners with bit-equal coordinates become one vertex (weld.h). ASCII coordinates are decimal text and are
 * read as double, binary ones are float32 and widened. The winding says which side is out; stored normals are
 * only compared with it. Attribute bytes are not read. Several solids in one ASCII file make one mesh; words
 * may have any case and stand on any lines. */
#ifndef IO_STL_H
#define IO_STL_H

#include "io/source.h"
#include "io/weld.h"

bool stl_binary_read(const struct source *source, struct mesh *mesh, struct arena *keep, struct arena scratch,
                     struct error *err);
bool stl_ascii_read(const struct source *source, struct mesh *mesh, struct arena *keep, struct arena scratch,
                    struct error *err);

/* True when bytes is exactly the length of a binary STL with the facet count stored at byte 80, above 0. */
bool stl_binary_fits(const char *begin, size_t bytes);

/* Facets first to first + facets - 1 of the binary STL at begin, all within the file, as they are stored: a
 * normal and three corners of each. False where a corner is not finite. */
bool stl_binary_decode(const char *begin, size_t first, size_t facets, vec3 *normals, vec3 *corners);

/* The part that both forms share: facets are added to arrays of known room. */
struct stl_mesh {
    struct weld weld;
    uint32_t *corners;
    size_t facet_count, facet_room;
    size_t normals_ignored, normals_disagree;
};

/* Room for most_facets and most_vertices, less where the arenas are small; positions come from keep. */
bool stl_mesh_begin(struct stl_mesh *stl, const struct source *source, size_t most_facets,
                    size_t most_vertices, struct arena *keep, struct arena *scratch, struct error *err);
/* facets at most STL_AT_ONCE, with the room for them. */
enum { STL_AT_ONCE = 16 };
bool stl_mesh_add(struct stl_mesh *stl, const vec3 *normals, const vec3 *corners, size_t facets,
                  struct arena *scratch, struct error *err);
/* Moves what was added to parts into mesh, with its arrays in keep, and notes normals and merged vertices.
 * The facets of each part follow those of the one before; the first has the positions that the mesh takes. */
bool stl_mesh_join(const struct source *source, struct stl_mesh *parts, size_t part_count, struct mesh *mesh,
                   struct arena *keep, struct arena *scratch, struct error *err);

#endif
