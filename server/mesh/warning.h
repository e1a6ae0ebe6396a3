/* warning.h - remarks about a file that was read all the same: one entry per code, with a count.
 *
 * The codes are a contract (run-record schema): name_mismatch, compressed, trailing_data, statements_skipped,
 * materials_ignored, bad_texture_index, mixed_corner_forms, name_not_utf8, normals_ignored, normals_disagree,
 * missing_end, subnormal_coordinates, extreme_coordinates, far_from_origin, flat_extent, anisotropic_extent,
 * needle_faces, foreign_signature, polygon_fan_used, creases_read, crease_without_edge, no_limit_surface, and
 * what later readers add. */
#ifndef MESH_WARNING_H
#define MESH_WARNING_H

#include <stddef.h>

#define WARNING_MAX 64

struct warning {
    const char *code; /* a string constant */
    size_t count;     /* how many times it was met */
    char text[200];   /* one printable ASCII sentence about the first time */
};

struct warning_list {
    size_t count;
    struct warning entries[WARNING_MAX]; /* in the order first met */
};

/* Adds count to the entry of code, making it with the formatted text the first time. */
void warning_add(struct warning_list *list, const char *code, size_t count, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

#endif
