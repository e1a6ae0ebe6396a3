/* obj_part.h - a run of whole OBJ statements, read into arrays of its own; obj_read divides and joins.
 *
 * Counts go on from those of the parts before, so that a statement means the same wherever the file is cut.
 * Nothing else is shared: parts may be read at the same time. */
#ifndef IO_OBJ_PART_H
#define IO_OBJ_PART_H

#include "io/source.h"

/* Indices of texture coordinates or of normals: they place no geometry, so that bad ones are only counted. */
struct obj_attribute {
    int64_t count;   /* statements so far, in the file */
    int64_t highest; /* positive index met */
    size_t early;    /* corners whose index was above count when met */
    size_t bad;      /* corners whose index can never be right */
};

struct obj_part {
    const struct source *source;
    const char *begin, *end;
    vec3 *positions;                  /* of the whole file */
    size_t vertex_count, vertex_room; /* vertices so far, in the file */
    bool overflown;                   /* there was something too many for its room */
    uint32_t *corners;
    size_t corner_count, corner_room;
    uint32_t *offsets; /* [face_room + 1] from 0 */
    size_t face_count, face_room;
    struct obj_attribute textures, normals;
    int64_t highest_early; /* the highest vertex index that had no vertex yet when met, 0 for none */
    const char *highest_early_at;
    size_t free_form;    /* curve and surface statements */
    size_t crease_count; /* see obj_crease.h */
};

/* Reads the statements of [begin, end). The counts, rooms and arrays are set before. */
bool obj_part_read(struct obj_part *part, struct error *err);

#endif
