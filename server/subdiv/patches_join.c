/* patches_join.c - triangles from the grids of all chunks, or of one. */
#include "subdiv/patches.h"

#include <assert.h>
#include <string.h>

#include "subdiv/limit_grid.h"

/* The corner from which a quad of points is cut: along the shorter diagonal where either will do; a tie: from
 * the first. */
static unsigned cut_from(const struct limit_mesh *limit, const uint32_t at[4], enum quad_cut cut)
{
    const vec3 *p = limit->positions;

    if (cut != QUAD_CUT_EITHER)
        return cut == QUAD_CUT_FROM_1;
    return vec3_length_sq(vec3_sub(p[at[2]], p[at[0]])) > vec3_length_sq(vec3_sub(p[at[3]], p[at[1]]));
}

static void add_triangles(struct limit_mesh *limit, const uint32_t at[4], enum quad_cut cut, double eps,
                          uint32_t face)
{
    unsigned from = cut_from(limit, at, cut);

    for (unsigned k = 0; k < 2; k++) {
        size_t t = limit->triangle_count++;
        limit->triangles[t][0] = at[from];
        limit->triangles[t][1] = at[from + k + 1];
        limit->triangles[t][2] = at[(from + k + 2) & 3];
        limit->faces[t] = face;
        limit->eps[t] = eps;
    }
}

/* Where the points of a grid are among the positions of the mesh; only corners of a whole face are there
 * already. */
struct grid_places {
    uint32_t columns, rows, first; /* the first point of its own */
    const uint32_t *face;          /* the vertices at its corners, or NULL */
};

static uint32_t place_of(const struct grid_places *places, uint32_t i, uint32_t j)
{
    uint32_t at = j * (places->columns + 1) + i, columns = places->columns, rows = places->rows;

    if (!places->face)
        return places->first + at;
    if (i % columns == 0 && j % rows == 0)
        return places->face[j == 0 ? i / columns : 3 - i / columns];
    /* the corners before it in the order of rows are not there */
    return places->first + at - (j == 0 ? 1 : j < rows ? 2 : 3);
}

static void add_grid_points(const struct limit_grid *grid, struct limit_mesh *limit)
{
    const struct grid_size size = grid->size;
    const vec3 *p = grid->points;

    for (uint32_t j = 0; j <= size.rows; j++)
        for (uint32_t i = 0; i <= size.columns; i++, p++)
            if (!grid->whole || i % size.columns || j % size.rows)
                limit->positions[limit->position_count++] = *p;
}

static void add_grid_triangles(const struct limit_base *base, const struct limit_grid *grid,
                               struct limit_mesh *limit)
{
    const struct mesh *mesh = &base->cage.mesh;
    const struct grid_places places = {grid->size.columns, grid->size.rows, (uint32_t)limit->position_count,
                                       grid->whole ? mesh_face(mesh, grid->face) : NULL};

    add_grid_points(grid, limit);
    for (uint32_t j = 0; j < grid->size.rows; j++)
        for (uint32_t i = 0; i < grid->size.columns; i++) {
            const uint32_t at[4] = {place_of(&places, i, j), place_of(&places, i + 1, j),
                                    place_of(&places, i + 1, j + 1), place_of(&places, i, j + 1)};
            add_triangles(limit, at, grid->cut, grid->eps, base->cage.face_source[grid->face]);
        }
    limit->eps_max = fmax(limit->eps_max, grid->eps);
    limit->over_count += grid->eps > base->settings.eps ? 2 * grid_cells(grid->size) : 0;
}

bool limit_mesh_join(const struct limit_base *base, const struct limit_chunk *chunks, size_t chunk_count,
                     struct limit_mesh *limit, struct arena *keep, struct error *err)
{
    size_t quads = 0, vertex_count = base->cage.mesh.vertex_count, position_count = vertex_count;

    for (size_t k = 0; k < chunk_count; k++) {
        assert(!chunks[k].too_many);
        quads += chunks[k].quad_count;
        position_count += chunks[k].point_count;
    }
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
        for (const struct limit_grid *grid = chunks[k].first; grid; grid = grid->next)
            add_grid_triangles(base, grid, limit);
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
           && limit_chunk_build(&base, 0, base.cage.mesh.face_count, limit_room_any(), &chunk, &scratch,
                                more_scratch, err)
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
