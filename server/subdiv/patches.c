/* patches.c - the certificate of each quad, cutting where it is too large, and triangles from the quads. */
#include "subdiv/patches.h"

#include <assert.h>
#include <string.h>

#include "subdiv/bezier.h"
#include "subdiv/limit.h"
#include "subdiv/patch_tree.h"
#include "subdiv/quad_fit.h"
#include "subdiv/refine.h"

#define FACE_CORNERS_MAX 16 /* a larger face would be copied with each of its neighbours */
#define TREE_CAPACITY 16384 /* patches of one face; only those used are touched */
#define LEVEL_MAX 40        /* steps towards an extraordinary corner */
#define REST_SHARE 0.125    /* of eps: a rest this small does not matter */
#define BLOCK_QUADS 256

struct limit_block {
    struct limit_block *next;
    size_t count;
    struct limit_quad quads[BLOCK_QUADS];
};

/* One global step serves where a local step at every face would do the same work many times over. */
static bool needs_step(const struct cage *cage)
{
    size_t other = 0, largest = 0;

    for (size_t f = 0; f < cage->mesh.face_count; f++) {
        size_t size = mesh_face_size(&cage->mesh, f);
        other += size != 4;
        largest = size > largest ? size : largest;
    }
    return largest > FACE_CORNERS_MAX || other > cage->mesh.face_count / 16
           || (other > 0 && cage->valence_max > NET_VALENCE_MAX);
}

static aabb face_box(const struct mesh *mesh, size_t f)
{
    aabb box = aabb_empty();
    for (size_t i = 0; i < mesh_face_size(mesh, f); i++)
        box = aabb_include(box, mesh->positions[mesh_face(mesh, f)[i]]);
    return box;
}

static void fill_vertex_boxes(const struct mesh *mesh, aabb *boxes)
{
    for (size_t v = 0; v < mesh->vertex_count; v++)
        boxes[v] = aabb_empty();
    for (size_t f = 0; f < mesh->face_count; f++) {
        aabb box = face_box(mesh, f);
        for (size_t i = 0; i < mesh_face_size(mesh, f); i++) {
            aabb *at = &boxes[mesh_face(mesh, f)[i]];
            *at = aabb_include(aabb_include(*at, box.min), box.max);
        }
    }
}

static double largest_coordinate(const struct mesh *mesh)
{
    double most = 0;
    for (size_t v = 0; v < mesh->vertex_count; v++) {
        vec3 p = mesh->positions[v];
        most = fmax(most, fmax(fabs(p.x), fmax(fabs(p.y), fabs(p.z))));
    }
    return most;
}

bool limit_base_build(const struct cage *cage, struct limit_settings settings, struct limit_base *base,
                      struct arena *keep, struct arena scratch, struct error *err)
{
    memset(base, 0, sizeof *base);
    base->settings = settings;
    base->vertex_count = cage->mesh.vertex_count;
    base->cage = *cage;
    base->nonmanifold_edge_count = cage->nonmanifold_edge_count;
    base->nonmanifold_vertex_count = cage->nonmanifold_vertex_count;
    if (needs_step(cage) && !refine_build(cage, &base->cage, keep, scratch, err))
        return false;
    base->rounding =
        ldexp(largest_coordinate(&cage->mesh), -42) * fmax(1, (double)base->cage.valence_max / 16);
    base->limits = ARENA_NEW(keep, vec3, base->cage.mesh.vertex_count);
    if (base->cage.valence_max > NET_VALENCE_MAX)
        base->vertex_boxes = ARENA_NEW(keep, aabb, base->cage.mesh.vertex_count);
    if (keep->failed)
        return arena_error(err);
    if (base->vertex_boxes)
        fill_vertex_boxes(&base->cage.mesh, base->vertex_boxes);
    return limit_positions(&base->cage, base->limits, scratch, err);
}

/* What the faces of one chunk share. */
struct worker {
    const struct limit_base *base;
    struct limit_chunk *chunk;
    struct arena *keep;
    struct arena scratch, more_scratch;
    struct patch_tree tree;
    struct local_marks marks;
    bool has_tree, has_marks;
    struct error *err;
};

static bool add_quad(struct worker *worker, uint32_t f, const vec3 corners[4], double eps, bool whole)
{
    struct limit_chunk *chunk = worker->chunk;
    struct limit_block *block = chunk->last;

    if (!block || block->count == BLOCK_QUADS) {
        block = ARENA_NEW(worker->keep, struct limit_block, 1);
        if (!block)
            return arena_error(worker->err);
        block->next = NULL;
        block->count = 0;
        if (chunk->last)
            chunk->last->next = block;
        else
            chunk->first = block;
        chunk->last = block;
    }
    struct limit_quad *quad = &block->quads[block->count++];
    memcpy(quad->corners, corners, sizeof quad->corners);
    quad->eps = eps + worker->base->rounding;
    quad->face = f;
    quad->whole = whole;
    chunk->count++;
    return true;
}

static bool is_fine(const struct worker *worker, double eps, unsigned depth)
{
    return eps + worker->base->rounding <= worker->base->settings.eps
           || depth >= worker->base->settings.depth_max;
}

/* A bicubic piece after `depth` cuts of its face, halved across the direction in which it bends more. */
static bool add_piece(struct worker *worker, uint32_t f, const vec3 points[16], unsigned depth, bool whole)
{
    static const int SIDES[4] = {0, 1, 2, 3};
    vec3 corners[4], low[16], high[16];
    struct quad_fit fit;

    bezier_corners(points, corners);
    quad_fit_begin(&fit, corners);
    quad_fit_add_bezier(&fit, points, corners, SIDES);
    double eps = quad_fit_eps(&fit);
    if (is_fine(worker, eps, depth))
        return add_quad(worker, f, corners, eps, whole);
    bool along_u = bezier_bend_sq(points, true) >= bezier_bend_sq(points, false);
    bezier_halve(points, along_u, low, high);
    return add_piece(worker, f, low, depth + 1, false) && add_piece(worker, f, high, depth + 1, false);
}

static bool add_patch(struct worker *worker, uint32_t f, uint32_t at, unsigned depth, bool whole)
{
    const struct patch *patch = &worker->tree.patches[at];
    vec3 corners[4];

    if (patch->kind == PATCH_PIECE)
        return add_piece(worker, f, patch->points, depth, whole);
    for (unsigned j = 0; j < 4; j++)
        corners[j] = patch_corner(&worker->tree, at, j);
    double eps = patch_eps(&worker->tree, at, corners);
    if (patch->kind == PATCH_REST || is_fine(worker, eps, depth))
        return add_quad(worker, f, corners, eps, whole);
    for (uint32_t i = 0; i < 4; i++)
        if (!add_patch(worker, f, patch->child + i, depth + 2, false))
            return false;
    return true;
}

static bool add_tree(struct worker *worker, const struct cage *cage, uint32_t f, struct local_marks *marks,
                     struct arena scratch, uint32_t face, bool whole)
{
    if (!patch_tree_build(&worker->tree, cage, f, 0, marks, scratch, worker->more_scratch, worker->err))
        return false;
    return add_patch(worker, face, 0, whole ? 0 : 2, whole);
}

static bool open_tree(struct worker *worker)
{
    const struct limit_base *base = worker->base;

    if (worker->has_tree)
        return true;
    worker->has_tree = true;
    if (!patch_tree_open(&worker->tree, TREE_CAPACITY, base->settings.eps * REST_SHARE, LEVEL_MAX,
                         &worker->scratch)
        || !local_marks_open(&worker->marks, &base->cage, &worker->scratch))
        return arena_error(worker->err);
    return true;
}

/* A face of other than four corners: the quads of its first step. */
static bool add_polygon(struct worker *worker, uint32_t f)
{
    struct arena scratch = worker->scratch;
    struct local_marks marks;
    struct cage local, fine;

    if (!local_cage_build(&worker->base->cage, f, 0, &worker->marks, &local, &scratch, worker->more_scratch,
                          worker->err)
        || !refine_build(&local, &fine, &scratch, worker->more_scratch, worker->err))
        return false;
    if (!local_marks_open(&marks, &fine, &scratch))
        return arena_error(worker->err);
    for (uint32_t i = 0; i < mesh_face_size(&local.mesh, 0); i++)
        if (!add_tree(worker, &fine, i, &marks, scratch, f, false))
            return false;
    return true;
}

/* A quad too many faces touch: everything lies in one box. */
static bool add_boxed(struct worker *worker, uint32_t f)
{
    const struct limit_base *base = worker->base;
    const uint32_t *face = mesh_face(&base->cage.mesh, f);
    aabb box = aabb_empty();
    vec3 corners[4];

    for (unsigned j = 0; j < 4; j++) {
        aabb at = base->vertex_boxes[face[j]];
        box = aabb_include(aabb_include(box, at.min), at.max);
        corners[j] = base->limits[face[j]];
    }
    return add_quad(worker, f, corners, vec3_distance(box.min, box.max), true);
}

static bool is_crowded(const struct limit_base *base, uint32_t f)
{
    const uint32_t *face = mesh_face(&base->cage.mesh, f), *begin = base->cage.corner_begin;

    for (size_t i = 0; i < mesh_face_size(&base->cage.mesh, f); i++)
        if (begin[face[i] + 1] - begin[face[i]] > NET_VALENCE_MAX)
            return true;
    return false;
}

static bool add_face(struct worker *worker, uint32_t f)
{
    const struct cage *cage = &worker->base->cage;
    bool is_quad = mesh_face_size(&cage->mesh, f) == 4;
    vec3 net[16], points[16];
    unsigned corner;

    if (worker->base->vertex_boxes && is_crowded(worker->base, f))
        return add_boxed(worker, f);
    if (is_quad && net_classify(cage, f, &corner) == NET_REGULAR) {
        net_gather(cage, f, 0, net);
        bezier_from_net(net, points);
        return add_piece(worker, f, points, 0, true);
    }
    if (!open_tree(worker))
        return false;
    if (!is_quad)
        return add_polygon(worker, f);
    return add_tree(worker, cage, f, &worker->marks, worker->scratch, f, true);
}

bool limit_chunk_build(const struct limit_base *base, size_t first, size_t end, struct limit_chunk *chunk,
                       struct arena *keep, struct arena scratch, struct error *err)
{
    struct worker worker = {.base = base, .chunk = chunk, .keep = keep, .scratch = scratch, .err = err};

    memset(chunk, 0, sizeof *chunk);
    if (!arena_split(&worker.scratch, arena_left(&worker.scratch) / 4, &worker.more_scratch))
        return arena_error(err);
    for (size_t f = first; f < end; f++)
        if (!add_face(&worker, (uint32_t)f))
            return false;
    return true;
}

/* Two triangles of a quad of points, cut along the shorter diagonal; a tie: from the first corner. */
static void add_triangles(struct limit_mesh *limit, const uint32_t at[4], double eps, uint32_t face)
{
    const vec3 *p = limit->positions;
    unsigned from =
        vec3_length_sq(vec3_sub(p[at[2]], p[at[0]])) > vec3_length_sq(vec3_sub(p[at[3]], p[at[1]]));

    for (unsigned k = 0; k < 2; k++) {
        size_t t = limit->triangle_count++;
        limit->triangles[t][0] = at[from];
        limit->triangles[t][1] = at[from + k + 1];
        limit->triangles[t][2] = at[(from + k + 2) & 3];
        limit->faces[t] = face;
        limit->eps[t] = eps;
    }
}

static void add_chunk(const struct limit_base *base, const struct limit_chunk *chunk,
                      struct limit_mesh *limit)
{
    for (const struct limit_block *block = chunk->first; block; block = block->next)
        for (size_t i = 0; i < block->count; i++) {
            const struct limit_quad *quad = &block->quads[i];
            uint32_t at[4];
            for (unsigned j = 0; j < 4; j++) {
                uint32_t v = base->cage.mesh.face_vertices[base->cage.mesh.face_offsets[quad->face] + j];
                at[j] = quad->whole ? v : (uint32_t)limit->position_count++;
                if (!quad->whole)
                    limit->positions[at[j]] = quad->corners[j];
            }
            add_triangles(limit, at, quad->eps, base->cage.face_source[quad->face]);
            limit->eps_max = fmax(limit->eps_max, quad->eps);
            limit->over_count += quad->eps > base->settings.eps ? 2 : 0;
        }
}

static size_t count_parts(const struct limit_chunk *chunks, size_t chunk_count)
{
    size_t parts = 0;

    for (size_t k = 0; k < chunk_count; k++)
        for (const struct limit_block *block = chunks[k].first; block; block = block->next)
            for (size_t i = 0; i < block->count; i++)
                parts += !block->quads[i].whole;
    return parts;
}

bool limit_mesh_join(const struct limit_base *base, const struct limit_chunk *chunks, size_t chunk_count,
                     struct limit_mesh *limit, struct arena *keep, struct error *err)
{
    size_t quads = 0, vertex_count = base->cage.mesh.vertex_count;
    size_t position_count = vertex_count + 4 * count_parts(chunks, chunk_count);

    for (size_t k = 0; k < chunk_count; k++)
        quads += chunks[k].count;
    if (position_count > MESH_MAX_VERTICES || 6 * quads > MESH_MAX_CORNERS)
        return error_set(err, ERROR_LIMIT, "the limit surface needs %zu triangles; ask for a wider tolerance",
                         2 * quads);
    memset(limit, 0, sizeof *limit);
    limit->positions = ARENA_NEW(keep, vec3, position_count);
    limit->triangles =
        (uint32_t(*)[3])arena_alloc(keep, 2 * quads, sizeof *limit->triangles, _Alignof(uint32_t));
    limit->faces = ARENA_NEW(keep, uint32_t, 2 * quads);
    limit->eps = ARENA_NEW(keep, double, 2 * quads);
    if (keep->failed)
        return arena_error(err);
    memcpy(limit->positions, base->limits, vertex_count * sizeof *limit->positions);
    limit->position_count = vertex_count;
    for (size_t k = 0; k < chunk_count; k++)
        add_chunk(base, &chunks[k], limit);
    limit->left_out_count = base->cage.face_left_out_count;
    limit->nonmanifold_edge_count = base->nonmanifold_edge_count;
    limit->nonmanifold_vertex_count = base->nonmanifold_vertex_count;
    assert(limit_mesh_is_valid(limit));
    return true;
}

bool limit_mesh_build(const struct mesh *mesh, const struct creases *creases, enum boundary_rule rule,
                      struct limit_settings settings, struct limit_mesh *limit, struct arena *keep,
                      struct arena scratch, struct error *err)
{
    struct arena more_scratch;
    struct limit_base base;
    struct limit_chunk chunk;
    struct cage cage;

    if (!arena_split(&scratch, arena_left(&scratch) / 4, &more_scratch))
        return arena_error(err);
    return cage_build(mesh, creases, rule, &cage, &scratch, more_scratch, err)
           && limit_base_build(&cage, settings, &base, &scratch, more_scratch, err)
           && limit_chunk_build(&base, 0, base.cage.mesh.face_count, &chunk, &scratch, more_scratch, err)
           && limit_mesh_join(&base, &chunk, 1, limit, keep, err);
}

bool limit_mesh_is_valid(const struct limit_mesh *limit)
{
    for (size_t t = 0; t < limit->triangle_count; t++) {
        if (!(limit->eps[t] >= 0) || (t > 0 && limit->faces[t] < limit->faces[t - 1]))
            return false;
        for (unsigned j = 0; j < 3; j++)
            if (limit->triangles[t][j] >= limit->position_count)
                return false;
    }
    return true;
}
