/* patches.c - the certificate of each quad, and cutting where it is too large. */
#include "subdiv/patches.h"

#include <string.h>

#include "subdiv/bezier.h"
#include "subdiv/grid_fit.h"
#include "subdiv/limit.h"
#include "subdiv/limit_grid.h"
#include "subdiv/patch_tree.h"
#include "subdiv/quad_fit.h"
#include "subdiv/refine.h"

#define FACE_CORNERS_MAX 16 /* a larger face would be copied with each of its neighbours */
#define TREE_CAPACITY 16384 /* patches of one face; only those used are touched */
#define LEVEL_MAX 40        /* steps towards an extraordinary corner */
#define REST_SHARE 0.125    /* of eps: a rest this small does not matter */
#define HALVINGS_MAX 12     /* of one piece */
#define HALVING_SHARE 0.9   /* of the cells: with no more in both halves, a piece is halved */
#define HALVING_CELLS 4     /* fewer are not worth it */
#define ONE_QUAD_CELLS 8    /* more are not tried as one quad */
#define NEAR_SHARE 16       /* so many places are looked at in the time of a piece */
#define CHOICE_CELLS 16     /* where not all of the surface is wanted, larger pieces are halved */

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

/* The places that a piece may be near to. */
struct nearby {
    size_t count;
    const uint32_t *list;
};

/* What the faces of one chunk share. */
struct worker {
    const struct limit_base *base;
    struct limit_chunk *chunk;
    struct limit_room room;
    struct nearby near; /* of the face that is looked at */
    struct arena *keep;
    struct arena scratch, more_scratch;
    struct patch_tree tree;
    size_t cells; /* looked at in grids */
    struct local_marks marks;
    bool has_tree, has_marks;
    struct error *err;
};

static size_t work_of(const struct worker *worker)
{
    return worker->tree.work + worker->cells;
}

/* Whether there is no room for what there is; the rest is not looked at. */
static bool is_over(const struct worker *worker)
{
    return worker->chunk->quad_count > worker->room.quads || work_of(worker) > worker->room.work;
}

/* A grid whose points are to be filled in; NULL where it is only counted, or memory ended. */
static struct limit_grid *add_grid(struct worker *worker, uint32_t f, struct grid_size size, double eps,
                                   bool whole)
{
    struct limit_chunk *chunk = worker->chunk;

    chunk->quad_count += grid_cells(size);
    chunk->point_count += limit_grid_points(size) - (whole ? 4 : 0);
    if (is_over(worker))
        return NULL;
    struct limit_grid *grid = (struct limit_grid *)arena_alloc(
        worker->keep, 1, sizeof *grid + limit_grid_points(size) * sizeof *grid->points,
        _Alignof(struct limit_grid));
    if (!grid)
        return NULL;
    grid->next = NULL;
    grid->eps = eps + worker->base->rounding;
    grid->face = f;
    grid->size = size;
    grid->cut = QUAD_CUT_EITHER;
    grid->whole = whole;
    if (chunk->last)
        chunk->last->next = grid;
    else
        chunk->first = grid;
    chunk->last = grid;
    return grid;
}

static bool grid_is_added(const struct worker *worker)
{
    return !worker->keep->failed || arena_error(worker->err);
}

static bool add_quad(struct worker *worker, uint32_t f, const vec3 corners[4], enum quad_cut cut, double eps,
                     bool whole)
{
    struct limit_grid *grid = add_grid(worker, f, (struct grid_size){1, 1}, eps, whole);

    for (unsigned j = 0; grid && j < 4; j++)
        grid->points[j < 2 ? j : 5 - j] = corners[j];
    if (grid)
        grid->cut = cut;
    return grid_is_added(worker);
}

/* Without rounding; it is not asked for what rounding leaves nothing of. */
static double wanted_eps(const struct worker *worker)
{
    return fmax(worker->base->settings.eps - worker->base->rounding, worker->base->rounding);
}

static bool add_samples(struct worker *worker, uint32_t f, const vec3 points[16], bool whole)
{
    if (is_over(worker))
        return true;
    size_t quads = worker->room.quads - worker->chunk->quad_count, work = worker->room.work - work_of(worker);
    struct grid_found found =
        grid_find(points, wanted_eps(worker), worker->base->settings.side_max, quads < work ? quads : work);
    struct grid_size size = found.size;
    worker->cells += isfinite(found.bound) ? found.work : found.work + grid_cells(size);
    struct limit_grid *grid = add_grid(worker, f, size, found.bound, whole);

    for (uint32_t j = 0, at = 0; grid && j <= size.rows; j++)
        for (uint32_t i = 0; i <= size.columns; i++)
            grid->points[at++] = bezier_at(points, (double)i / size.columns, (double)j / size.rows);
    return grid_is_added(worker);
}

static size_t guess(const struct worker *worker, const vec3 points[16])
{
    return grid_cells(grid_guess(points, wanted_eps(worker), worker->base->settings.side_max));
}

/* Halves the piece the way that seems to need fewer cells in both halves; returns how many. */
static size_t halve(const struct worker *worker, const vec3 points[16], vec3 low[16], vec3 high[16])
{
    size_t cells[2];

    for (int along_u = 0; along_u < 2; along_u++) {
        bezier_cut(points, along_u, 0.5, low, high);
        cells[along_u] = guess(worker, low) + guess(worker, high);
    }
    if (cells[0] < cells[1])
        bezier_cut(points, false, 0.5, low, high);
    return cells[0] < cells[1] ? cells[0] : cells[1];
}

static struct nearby nearby_of(const struct limit_base *base, uint32_t f)
{
    uint32_t source = base->cage.face_source[f];

    if (!base->choice)
        return (struct nearby){0, NULL};
    return (struct nearby){base->choice->begin[source + 1] - base->choice->begin[source],
                           base->choice->list + base->choice->begin[source]};
}

static bool is_near(const struct limit_base *base, uint32_t at, aabb box)
{
    const struct limit_place *place = &base->choice->places[at];
    double reach = place->reach + base->rounding;

    return !(aabb_gap_sq(box, place->box) > reach * reach * (1 + 0x1p-40));
}

/* Whether the surface in a ball may be near to a place of the face. */
static bool ball_is_wanted(void *context, vec3 centre, double radius)
{
    struct worker *worker = context;
    const vec3 ways = {radius, radius, radius};
    const aabb box = {vec3_sub(centre, ways), vec3_add(centre, ways)};

    worker->cells += worker->near.count / NEAR_SHARE;
    for (size_t i = 0; i < worker->near.count; i++)
        if (is_near(worker->base, worker->near.list[i], box))
            return true;
    return false;
}

/* Those that the hull of its points does not rule out. */
static bool find_nearby(struct worker *worker, const vec3 points[16], struct nearby *near, struct arena *keep)
{
    const struct limit_base *base = worker->base;
    uint32_t *list = ARENA_NEW(keep, uint32_t, near->count);
    aabb box = aabb_empty();
    size_t count = 0;

    if (!list)
        return false;
    for (int i = 0; i < 16; i++)
        box = aabb_include(box, points[i]);
    worker->cells += near->count / NEAR_SHARE;
    for (size_t i = 0; i < near->count; i++)
        if (is_near(base, near->list[i], box))
            list[count++] = near->list[i];
    arena_trim(keep, list, count, sizeof *list);
    *near = (struct nearby){count, list};
    return true;
}

/* The bound of one quad for a piece, cut along the better diagonal. */
static double one_quad_eps(struct worker *worker, const vec3 points[16], const vec3 corners[4],
                           enum quad_cut *cut)
{
    struct quad_fit fit;

    *cut = quad_fit_choose(corners, bezier_at(points, 0.5, 0.5));
    quad_fit_begin(&fit, corners, *cut);
    const struct quad_part whole = quad_fit_whole(&fit);
    quad_fit_add_quarters(&fit, points, &whole);
    worker->cells++;
    return quad_fit_eps(&fit);
}

/* A bicubic piece: one quad, or two halves, or a grid; nothing where it is not wanted. */
static bool add_piece(struct worker *worker, uint32_t f, const vec3 points[16], unsigned halvings, bool whole,
                      struct nearby near, struct arena scratch)
{
    bool in_part = worker->base->choice != NULL;
    vec3 low[16], high[16], corners[4];
    enum quad_cut cut;

    if (is_over(worker))
        return true;
    if (in_part && !find_nearby(worker, points, &near, &scratch))
        return arena_error(worker->err);
    if (in_part && near.count == 0)
        return true;
    size_t cells = guess(worker, points);
    if (cells > 1 && cells <= ONE_QUAD_CELLS) {
        bezier_corners(points, corners);
        double eps = one_quad_eps(worker, points, corners, &cut);
        if (eps <= wanted_eps(worker))
            return add_quad(worker, f, corners, cut, eps, whole);
    }
    if (halvings < HALVINGS_MAX && cells >= HALVING_CELLS
        && ((double)halve(worker, points, low, high) <= HALVING_SHARE * (double)cells
            || (in_part && cells > CHOICE_CELLS)))
        return add_piece(worker, f, low, halvings + 1, false, near, scratch)
               && add_piece(worker, f, high, halvings + 1, false, near, scratch);
    return add_samples(worker, f, points, whole);
}

/* The middle of an inner patch. */
static vec3 middle_of(const struct worker *worker, uint32_t at)
{
    return patch_corner(&worker->tree, worker->tree.patches[at].child, 2);
}

/* Not where the middle of an inner patch alone is too far from the middle of both diagonals: one of them is
 * in the triangles, and both are where they are flat; nor where the middle of one side of a halved patch is
 * too far from that side. A look before the long way. */
static bool may_be_one_quad(const struct worker *worker, uint32_t at, const vec3 corners[4])
{
    const struct patch *patch = &worker->tree.patches[at];
    unsigned side = (patch->turns + 2) & 3, before = (patch->turns + 1) & 3;
    bool halved = patch->kind == PATCH_HALVED;
    vec3 middle = halved ? patch_corner(&worker->tree, patch->child, side) : middle_of(worker, at),
         one =
             halved ? vec3_lerp(corners[before], corners[side], 0.5) : vec3_lerp(corners[0], corners[2], 0.5),
         other = halved ? one : vec3_lerp(corners[1], corners[3], 0.5);
    vec3 normal = vec3_cross(vec3_sub(corners[2], corners[0]), vec3_sub(corners[3], corners[1]));
    double length = vec3_length(normal);

    if (!(length > 0))
        return true;
    double a = fabs(vec3_dot(vec3_sub(middle, one), normal)),
           b = fabs(vec3_dot(vec3_sub(middle, other), normal));
    return fmin(a, b) <= wanted_eps(worker) * length;
}

/* Nor where the middles of the sides of an inner patch are too far off them, both ways that are known. */
static bool may_have_sides(const struct worker *worker, uint32_t at, const vec3 corners[4])
{
    double off_sq = 0, across_sq = 0, most = wanted_eps(worker);
    vec3 normal = vec3_cross(vec3_sub(corners[2], corners[0]), vec3_sub(corners[3], corners[1]));

    for (unsigned k = 0; k < 4; k++) {
        vec3 middle = patch_corner(&worker->tree, worker->tree.patches[at].child + k, (k + 1) & 3),
             off = vec3_sub(middle, vec3_lerp(corners[k], corners[(k + 1) & 3], 0.5)),
             inward = vec3_cross(normal, vec3_sub(corners[(k + 1) & 3], corners[k]));
        double across = vec3_dot(off, inward), length_sq = vec3_length_sq(inward);
        off_sq = fmax(off_sq, vec3_length_sq(off));
        across_sq = length_sq > 0 ? fmax(across_sq, across * across / length_sq) : 0;
    }
    return off_sq <= most * most || across_sq <= most * most;
}

static bool add_patch(struct worker *worker, uint32_t f, uint32_t at, bool whole)
{
    const struct patch *patch = &worker->tree.patches[at];
    enum quad_cut cut = QUAD_CUT_EITHER;
    vec3 corners[4];

    if (is_over(worker))
        return true;
    if (patch->kind == PATCH_PIECE)
        return add_piece(worker, f, patch->points, 0, false, worker->near, worker->more_scratch);
    if (patch->kind == PATCH_REST && worker->tree.is_wanted
        && !worker->tree.is_wanted(worker, patch->centre, patch->radius))
        return true;
    for (unsigned j = 0; j < 4; j++)
        corners[j] = patch_corner(&worker->tree, at, j);
    if (patch->kind == PATCH_REST
        || (may_be_one_quad(worker, at, corners)
            && (patch->kind != PATCH_INNER || may_have_sides(worker, at, corners)))) {
        if (patch->kind == PATCH_INNER)
            cut = quad_fit_choose(corners, middle_of(worker, at));
        double eps = patch_eps(&worker->tree, at, corners, cut,
                               patch->kind == PATCH_REST ? INFINITY : wanted_eps(worker));
        if (patch->kind == PATCH_REST || eps <= wanted_eps(worker))
            return add_quad(worker, f, corners, cut, eps, whole);
    }
    for (uint32_t i = 0; i < (patch->kind == PATCH_HALVED ? 2 : 4); i++)
        if (!add_patch(worker, f, patch->child + i, false))
            return false;
    return true;
}

static bool add_tree(struct worker *worker, const struct cage *cage, uint32_t f, struct local_marks *marks,
                     struct arena scratch, uint32_t face, bool whole)
{
    if (!patch_tree_build(&worker->tree, cage, f, 0, marks, scratch, worker->more_scratch, worker->err))
        return false;
    return add_patch(worker, face, 0, whole);
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
    if (base->choice) {
        worker->tree.is_wanted = ball_is_wanted;
        worker->tree.context = worker;
    }
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
    worker->cells += local.mesh.face_count;
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
    return add_quad(worker, f, corners, QUAD_CUT_EITHER, vec3_distance(box.min, box.max), true);
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

    worker->near = nearby_of(worker->base, f);
    worker->cells++;
    if (worker->base->vertex_boxes && is_crowded(worker->base, f))
        return add_boxed(worker, f);
    if (is_quad && net_classify(cage, f, &corner) == NET_REGULAR) {
        net_gather(cage, f, 0, net);
        bezier_from_net(net, points);
        return add_piece(worker, f, points, 0, true, worker->near, worker->more_scratch);
    }
    if (!open_tree(worker))
        return false;
    if (!is_quad)
        return add_polygon(worker, f);
    return add_tree(worker, cage, f, &worker->marks, worker->scratch, f, true);
}

bool limit_chunk_build(const struct limit_base *base, size_t first, size_t end, struct limit_room room,
                       struct limit_chunk *chunk, struct arena *keep, struct arena scratch, struct error *err)
{
    struct worker worker = {
        .base = base, .chunk = chunk, .room = room, .keep = keep, .scratch = scratch, .err = err};

    memset(chunk, 0, sizeof *chunk);
    if (!arena_split(&worker.scratch, arena_left(&worker.scratch) / 4, &worker.more_scratch))
        return arena_error(err);
    for (size_t f = first; f < end && !is_over(&worker); f++) {
        if (!add_face(&worker, (uint32_t)f))
            return false;
        chunk->face_count += !is_over(&worker);
    }
    chunk->work = work_of(&worker);
    chunk->too_many = is_over(&worker);
    return true;
}
