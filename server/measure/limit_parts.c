/* limit_parts.c - triangles of the faces, then rounds of cutting and dropping. */
#include "measure/limit_parts.h"

#include <math.h>
#include <string.h>

#include "measure/deviation_surface.h"
#include "measure/face_geometry.h"

#define ROUNDS_MAX 8
#define FINE 4 /* of eps: parts no larger are not cut */

struct finding {
    const struct limit_parts_search *search;
    struct deviation_frame frame;
    struct deviation_surface limit;
    double rounding;
    size_t work;
};

/* Room for the faces that may be farthest, as a mesh. */
static bool take_faces(const struct limit_parts_search *search, struct mesh *mesh, uint32_t **faces,
                       struct arena *keep, struct error *err)
{
    const struct mesh *from = search->reference->mesh;
    size_t count = 0, corners = 0;

    *faces = ARENA_NEW(keep, uint32_t, from->face_count);
    if (!*faces)
        return arena_error(err);
    for (size_t f = 0; f < from->face_count; f++)
        if (!(nextafter(face_distance_upper(search->distances, f) + search->surface->eps, INFINITY)
              <= search->rest)) {
            (*faces)[count++] = (uint32_t)f;
            corners += mesh_face_size(from, f);
        }
    *mesh = (struct mesh){.vertex_count = from->vertex_count,
                          .face_count = count,
                          .positions = from->positions,
                          .face_offsets = ARENA_NEW(keep, uint32_t, count + 1),
                          .face_vertices = ARENA_NEW(keep, uint32_t, corners)};
    if (!mesh->face_offsets || !mesh->face_vertices)
        return arena_error(err);
    for (size_t k = 0, at = 0; k < count; k++) {
        mesh->face_offsets[k] = (uint32_t)at;
        for (size_t i = 0; i < mesh_face_size(from, (*faces)[k]); i++)
            mesh->face_vertices[at++] = mesh_face(from, (*faces)[k])[i];
        mesh->face_offsets[k + 1] = (uint32_t)at;
    }
    return true;
}

static vec3 middle_of(vec3 a, vec3 b)
{
    return vec3_add(vec3_scale(a, 0.5), vec3_scale(b, 0.5));
}

/* Whether a part may be farther than the rest; *radius is that around its centroid. */
static bool bound(struct finding *finding, struct limit_part *part, double *radius)
{
    const struct bvh *bvh = &finding->limit.bvh;
    vec3 corners[3], centre = {0, 0, 0};
    double way = 0, farthest_sq = 0;

    for (int i = 0; i < 3; i++) {
        corners[i] = deviation_frame_enter(&finding->frame, part->corners[i]);
        centre = vec3_add(centre, vec3_scale(corners[i], 1.0 / 3));
    }
    struct bvh_hit hit = bvh_nearest(bvh, centre, part->near, &finding->work);
    part->near = hit.slot;
    for (int i = 0; i < 3; i++) {
        way = fmax(way, vec3_distance(corners[i], centre));
        farthest_sq = fmax(farthest_sq, bvh_distance_sq(bvh, corners[i], hit.slot));
    }
    double upper = fmin(sqrt(hit.distance_sq) + way, sqrt(farthest_sq)) + DEVIATION_SLACK;
    part->upper = nextafter(deviation_frame_upper(&finding->frame, upper) + finding->search->surface->eps
                                + finding->rounding,
                            INFINITY);
    *radius = deviation_frame_length(&finding->frame, way);
    return !(part->upper <= finding->search->rest);
}

static void cut(const struct limit_part *part, struct limit_part children[4])
{
    const vec3 *c = part->corners;
    const vec3 middles[3] = {middle_of(c[0], c[1]), middle_of(c[1], c[2]), middle_of(c[2], c[0])};

    for (int k = 0; k < 4; k++)
        children[k] = *part;
    for (int k = 0; k < 3; k++) {
        children[k].corners[(k + 1) % 3] = middles[k];
        children[k].corners[(k + 2) % 3] = middles[(k + 2) % 3];
    }
    memcpy(children[3].corners, middles, sizeof middles);
}

/* One round; false where there is no room, or nothing was cut. */
static bool cut_all(struct finding *finding, const struct limit_parts *parts, size_t most,
                    struct limit_parts *finer)
{
    bool any = false;

    finer->count = 0;
    for (size_t k = 0; k < parts->count; k++) {
        struct limit_part children[4] = {parts->parts[k]};
        double radius;
        size_t count = 1;
        if (!bound(finding, &children[0], &radius))
            continue;
        if (radius > FINE * finding->search->surface->eps) {
            cut(&children[0], children);
            count = 4;
            any = true;
        }
        for (size_t i = 0; i < count; i++) {
            if (count > 1 && !bound(finding, &children[i], &radius))
                continue;
            if (finer->count == most)
                return false;
            finer->parts[finer->count++] = children[i];
        }
    }
    return any;
}

static size_t room_for(size_t triangles)
{
    return triangles > LIMIT_PARTS_MAX ? triangles : LIMIT_PARTS_MAX;
}

static bool list_triangles(const struct limit_parts_search *search, const struct mesh *mesh,
                           const uint32_t *faces, struct limit_parts *parts, struct arena *keep,
                           struct arena scratch, struct error *err)
{
    struct triangulation triangulation;
    struct arena own;

    if (!arena_split(&scratch, arena_left(&scratch) / 2, &own))
        return arena_error(err);
    if (!triangulation_build(mesh, &triangulation, &own, scratch, err))
        return false;
    parts->count = triangulation.triangle_count;
    parts->parts =
        arena_alloc(keep, room_for(parts->count), sizeof *parts->parts, _Alignof(struct limit_part));
    if (!parts->parts)
        return arena_error(err);
    for (size_t t = 0; t < parts->count; t++) {
        struct limit_part *part = &parts->parts[t];
        for (int i = 0; i < 3; i++)
            part->corners[i] = search->reference->mesh->positions[triangulation.corners[t][i]];
        part->face = faces[triangulation_face(&triangulation, t)];
        part->near = BVH_NONE;
        part->upper = face_distance_upper(search->distances, part->face) + search->surface->eps;
    }
    return true;
}

static bool index_limit(struct finding *finding, struct arena *keep, struct arena scratch, struct error *err)
{
    const struct limit_parts_search *search = finding->search;

    finding->frame = deviation_frame_of(&search->surface->input, search->reference);
    return deviation_surface_build(&search->surface->input, &finding->frame, search->threads, &finding->limit,
                                   keep, scratch, err);
}

bool limit_parts_find(const struct limit_parts_search *search, struct limit_parts *parts, struct arena *keep,
                      struct arena scratch, struct error *err)
{
    const aabb box = search->reference->bounds;
    struct finding finding = {
        .search = search, .rounding = 0x1p-48 * fmax(largest_component(box.min), largest_component(box.max))};
    struct limit_parts finer;
    struct mesh mesh = {0};
    struct arena own;
    uint32_t *faces = NULL;

    parts->rounding = finding.rounding;
    if (!arena_split(&scratch, arena_left(&scratch) / 2, &own))
        return arena_error(err);
    if (!take_faces(search, &mesh, &faces, &own, err)
        || !list_triangles(search, &mesh, faces, parts, keep, scratch, err))
        return false;
    if (parts->count == 0 || parts->count > LIMIT_PARTS_CUT)
        return true;
    size_t most = room_for(parts->count);
    finer.parts = arena_alloc(keep, most, sizeof *finer.parts, _Alignof(struct limit_part));
    if (!finer.parts)
        return arena_error(err);
    if (!index_limit(&finding, &own, scratch, err))
        return false;
    for (size_t round = 0; round < ROUNDS_MAX && cut_all(&finding, parts, most, &finer); round++) {
        struct limit_part *other = parts->parts;
        parts->parts = finer.parts;
        parts->count = finer.count;
        finer.parts = other;
    }
    return true;
}

bool limit_parts_mesh(const struct limit_parts *parts, const struct measure_input *reference,
                      struct mesh *mesh, struct measure_input *input, struct arena *keep, struct error *err)
{
    *mesh = (struct mesh){.vertex_count = 3 * parts->count,
                          .face_count = parts->count,
                          .positions = ARENA_NEW(keep, vec3, 3 * parts->count),
                          .face_offsets = ARENA_NEW(keep, uint32_t, parts->count + 1),
                          .face_vertices = ARENA_NEW(keep, uint32_t, 3 * parts->count)};
    if (keep->failed)
        return arena_error(err);
    for (size_t k = 0; k <= parts->count; k++)
        mesh->face_offsets[k] = (uint32_t)(3 * k);
    for (size_t c = 0; c < 3 * parts->count; c++) {
        mesh->positions[c] = parts->parts[c / 3].corners[c % 3];
        mesh->face_vertices[c] = (uint32_t)c;
    }
    *input = *reference;
    input->mesh = mesh;
    return true;
}
