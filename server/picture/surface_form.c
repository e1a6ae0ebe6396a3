/* surface_form.c - asks the measures of the record, and keeps little of each. */
#include "picture/surface_form.h"

#include "measure/measure_input.h"
#include "measure/quality.h"
#include "measure/valence.h"

#include <string.h>

#define ONE_BITS 0x3f800000u /* of 1 as a float */
#define DROPPED_BITS 11      /* of 23 of the mantissa */

uint16_t form_aspect_code(double ratio)
{
    if (isnan(ratio))
        return FORM_ASPECT_NONE;
    float value = ratio > 65536 ? 65536 : ratio > 1 ? (float)ratio : 1;
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    uint32_t code = (bits - ONE_BITS + (1u << (DROPPED_BITS - 1))) >> DROPPED_BITS;
    return (uint16_t)(code < FORM_ASPECT_MAX ? code : FORM_ASPECT_MAX);
}

static uint8_t vertex_code(const struct vertex_valence *at)
{
    unsigned edges = at->edges < FORM_EDGES_MAX ? at->edges : FORM_EDGES_MAX;
    static const unsigned bits[] = {[VALENCE_INTERIOR] = 0,
                                    [VALENCE_BOUNDARY] = FORM_ON_RIM,
                                    [VALENCE_CORNER] = FORM_ON_RIM | FORM_CORNER,
                                    [VALENCE_NONMANIFOLD] = FORM_NONMANIFOLD};

    return (uint8_t)(at->place == VALENCE_UNUSED ? 0 : edges | bits[at->place]);
}

static void take_faces(const struct measure_input *input, struct surface_form *form)
{
    const struct mesh *mesh = input->mesh;

    for (size_t f = mesh->face_count; f-- > 0;) {
        uint32_t shell = shells_of_face(&input->shells, f);
        form->face_aspect[f] = form_aspect_code(quality_aspect_ratio(input, f));
        form->face_shell[f] = (uint16_t)(shell < FORM_SHELL_MAX ? shell : FORM_SHELL_MAX);
        for (size_t c = 0; c < mesh_face_size(mesh, f); c++)
            form->vertex_face[mesh_face(mesh, f)[c]] = (uint32_t)f;
    }
}

bool surface_form_build(const struct mesh *mesh, size_t threads, struct surface_form *form,
                        struct arena *keep, struct arena scratch, struct error *err)
{
    struct measure_input input;
    struct arena inner;

    form->face_aspect = ARENA_NEW(keep, uint16_t, mesh->face_count);
    form->face_shell = ARENA_NEW(keep, uint16_t, mesh->face_count);
    form->vertex_edges = ARENA_NEW(keep, uint8_t, mesh->vertex_count);
    form->vertex_face = ARENA_ZERO(keep, uint32_t, mesh->vertex_count);
    if (keep->failed || !arena_split(&scratch, arena_left(&scratch) / 2, &inner))
        return arena_error(err);
    if (!measure_input_build_threaded(mesh, MESH_SCAN, threads, NULL, &input, &inner, &inner, scratch, err))
        return false;
    struct vertex_valence *valences = ARENA_NEW(&scratch, struct vertex_valence, mesh->vertex_count);
    if (!valences)
        return arena_error(err);
    valence_find(&input, valences);
    for (size_t v = 0; v < mesh->vertex_count; v++)
        form->vertex_edges[v] = vertex_code(&valences[v]);
    take_faces(&input, form);
    return true;
}
