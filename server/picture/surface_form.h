/* surface_form.h - what a mesh is built of, as the page colours and tells it: the aspect ratio and the shell
 * of each face, the edges at each vertex. The definitions are those of measure/quality.h, topology/shells.h
 * and measure/valence.h, so that the page shows what the record counts; nothing depends on the kind of mesh.
 *
 * An aspect ratio is kept in 16 bits: those of the number as a float, from the bits of 1 on, rounded to
 * twelve bits of mantissa, so within 1/8192 of itself; FORM_ASPECT_MAX stands for 65528 and more, and
 * FORM_ASPECT_NONE where it is not defined: degenerate faces and those of more than four corners. Shells are
 * numbered by size, 0 has most faces; FORM_SHELL_MAX stands for all from there on. */
#ifndef PICTURE_SURFACE_FORM_H
#define PICTURE_SURFACE_FORM_H

#include "base/arena.h"
#include "mesh/mesh.h"

#define FORM_ASPECT_MAX 65534
#define FORM_ASPECT_NONE 65535
#define FORM_SHELL_MAX 65535
#define FORM_EDGES_MAX 31 /* stands for more */

/* The bits of a vertex above its number of edges. */
enum form_vertex { FORM_ON_RIM = 32, FORM_CORNER = 64, FORM_NONMANIFOLD = 128 };

struct surface_form {
    uint16_t *face_aspect; /* [face_count] */
    uint16_t *face_shell;  /* [face_count] */
    uint8_t
        *vertex_edges; /* [vertex_count] up to FORM_EDGES_MAX, with bits of enum form_vertex; 0: no face */
    uint32_t *vertex_face; /* [vertex_count] the first face there; 0 where there is none */
};

/* ERROR_LIMIT when an arena is too small. */
bool surface_form_build(const struct mesh *mesh, size_t threads, struct surface_form *form,
                        struct arena *keep, struct arena scratch, struct error *err);

/* ratio >= 1, or NaN. */
uint16_t form_aspect_code(double ratio);

#endif
