/* mend_move.c - a region's faces before and after as two small meshes, measured against each other. */
#include "measure/mend_move.h"

#include "measure/deviation_maximum.h"

/* One of the two, with what an index of its triangles needs to know. */
struct part {
    struct mesh mesh;
    struct measure_input input;
    struct deviation_surface surface;
};

static size_t count_corners(const struct mend_regions *regions, size_t r, enum mend_side side,
                            size_t *face_count)
{
    size_t corner_count = 0;

    for (uint32_t i = regions->change_begin[r]; i < regions->change_begin[r + 1]; i++) {
        uint32_t change = regions->changes[i];
        if (mend_edges_side(regions->edges, change) != side)
            continue;
        corner_count += mesh_face_size(regions->match->mesh[side], regions->edges->faces[change]);
        ++*face_count;
    }
    return corner_count;
}

static void add_face(const struct mesh *whole, uint32_t f, struct mesh *mesh)
{
    uint32_t at = mesh->face_offsets[mesh->face_count];

    for (size_t k = 0; k < mesh_face_size(whole, f); k++, at++) {
        mesh->positions[at] = whole->positions[mesh_face(whole, f)[k]];
        mesh->face_vertices[at] = at;
    }
    mesh->face_offsets[++mesh->face_count] = at;
}

/* Every face has vertices of its own: no one asks how they hang together. */
static bool cut_out(const struct mend_regions *regions, size_t r, enum mend_side side, struct part *part,
                    struct arena *keep)
{
    size_t face_count = 0, corner_count = count_corners(regions, r, side, &face_count);

    part->mesh = (struct mesh){.vertex_count = corner_count,
                               .positions = ARENA_NEW(keep, vec3, corner_count),
                               .face_offsets = ARENA_ZERO(keep, uint32_t, face_count + 1),
                               .face_vertices = ARENA_NEW(keep, uint32_t, corner_count)};
    if (keep->failed)
        return false;
    for (uint32_t i = regions->change_begin[r]; i < regions->change_begin[r + 1]; i++)
        if (mend_edges_side(regions->edges, regions->changes[i]) == side)
            add_face(regions->match->mesh[side], regions->edges->faces[regions->changes[i]], &part->mesh);
    part->input = (struct measure_input){.mesh = &part->mesh, .bounds = aabb_empty()};
    for (size_t v = 0; v < corner_count; v++)
        part->input.bounds = aabb_include(part->input.bounds, part->mesh.positions[v]);
    part->input.centre = aabb_centre(part->input.bounds);
    return true;
}

static void take(const struct deviation_frame *frame, const struct maximum *maximum, struct mend_move *move)
{
    double lower = deviation_frame_length(frame, maximum->lower),
           upper = deviation_frame_length(frame, maximum->upper);

    if (!(lower <= move->distance.lower)) {
        move->distance.lower = lower;
        move->at = deviation_frame_leave(frame, maximum->at);
    }
    if (!(upper <= move->distance.upper))
        move->distance.upper = upper;
}

static bool search(struct part *before, struct part *after, double width, size_t threads,
                   struct mend_move *move, struct arena keep, struct arena scratch, struct error *err)
{
    struct deviation_frame frame = deviation_frame_of(&after->input, &before->input);
    const struct maximum_settings settings = {.width = ldexp(width, -frame.exponent), .threads = threads};
    struct maximum lost, invented;

    const struct measure_input *const inputs[2] = {&before->input, &after->input};
    struct deviation_surface *const surfaces[2] = {&before->surface, &after->surface};

    if (!deviation_surface_build_two(inputs, &frame, threads, surfaces, &keep, scratch, err)
        || !maximum_find(&before->surface, &after->surface, &settings, &lost, scratch, err)
        || !maximum_find(&after->surface, &before->surface, &settings, &invented, scratch, err))
        return false;
    *move = (struct mend_move){{NAN, NAN}, {NAN, NAN, NAN}};
    take(&frame, &lost, move);
    take(&frame, &invented, move);
    return true;
}

bool mend_move_measure(const struct mend_regions *regions, size_t r, double width, struct mend_move *move,
                       struct arena scratch, struct error *err)
{
    struct part before, after;
    struct arena surfaces;

    if (!cut_out(regions, r, MEND_REFERENCE, &before, &scratch)
        || !cut_out(regions, r, MEND_SUBJECT, &after, &scratch)
        || !arena_split(&scratch,
                        deviation_surface_bytes(&before.mesh) + deviation_surface_bytes(&after.mesh),
                        &surfaces))
        return arena_error(err);
    return search(&before, &after, width, regions->input[MEND_SUBJECT]->threads, move, surfaces, scratch,
                  err);
}
