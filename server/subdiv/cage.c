/* cage.c - cleaning of faces, edges with sharpness, and the kind of each vertex by a walk around it. */
#include "subdiv/cage.h"

#include <assert.h>
#include <string.h>

/* Copies the corners of a face without those that repeat the one before; 0 when no face is left. seen[v]
 * holds the number of the last face that named v. */
static size_t clean_face(const struct mesh *mesh, size_t f, uint32_t *corners, uint32_t *seen)
{
    const uint32_t *face = mesh_face(mesh, f);
    size_t size = mesh_face_size(mesh, f), count = 0;

    for (size_t i = 0; i < size; i++)
        if (face[i] != face[i ? i - 1 : size - 1])
            corners[count++] = face[i];
    if (count < 3)
        return 0;
    for (size_t i = 0; i < count; i++) {
        if (seen[corners[i]] == (uint32_t)f)
            return 0;
        seen[corners[i]] = (uint32_t)f;
    }
    return count;
}

static bool clean_mesh(const struct mesh *mesh, struct cage *cage, struct arena *keep, struct arena scratch,
                       struct error *err)
{
    uint32_t *seen = ARENA_NEW(&scratch, uint32_t, mesh->vertex_count);
    struct mesh *clean = &cage->mesh;

    *clean = *mesh;
    clean->face_offsets = ARENA_NEW(keep, uint32_t, mesh->face_count + 1);
    clean->face_vertices = ARENA_NEW(keep, uint32_t, mesh_corner_count(mesh));
    cage->face_source = ARENA_NEW(keep, uint32_t, mesh->face_count);
    if (keep->failed || scratch.failed)
        return arena_error(err);
    memset(seen, 0xff, mesh->vertex_count * sizeof *seen);
    clean->face_count = 0;
    clean->face_offsets[0] = 0;
    for (size_t f = 0; f < mesh->face_count; f++) {
        uint32_t begin = clean->face_offsets[clean->face_count];
        size_t size = clean_face(mesh, f, clean->face_vertices + begin, seen);
        if (size == 0) {
            if (cage->face_left_out_count++ == 0)
                cage->first_face_left_out = f;
            continue;
        }
        cage->face_source[clean->face_count++] = (uint32_t)f;
        clean->face_offsets[clean->face_count] = begin + (uint32_t)size;
    }
    cage->source_face_count = mesh->face_count;
    return true;
}

static void gather_corners(struct cage *cage)
{
    const struct mesh *mesh = &cage->mesh;
    size_t corner_count = mesh_corner_count(mesh);
    uint32_t *begin = cage->corner_begin;

    memset(begin, 0, (mesh->vertex_count + 1) * sizeof *begin);
    for (size_t c = 0; c < corner_count; c++)
        begin[mesh->face_vertices[c] + 1]++;
    for (size_t v = 0; v < mesh->vertex_count; v++)
        begin[v + 1] += begin[v];
    for (uint32_t c = 0; c < corner_count; c++)
        cage->corners[begin[mesh->face_vertices[c]]++] = c;
    memmove(begin + 1, begin, mesh->vertex_count * sizeof *begin);
    begin[0] = 0;
}

bool cage_connect(struct cage *cage, struct arena *keep, struct arena scratch, struct error *err)
{
    const struct mesh *mesh = &cage->mesh;

    if (!edges_build(mesh, 1, &cage->edges, keep, scratch, err))
        return false;
    cage->sharpness = ARENA_NEW(keep, double, cage->edges.count);
    cage->corner_begin = ARENA_NEW(keep, uint32_t, mesh->vertex_count + 1);
    cage->corners = ARENA_NEW(keep, uint32_t, mesh_corner_count(mesh));
    cage->flags = ARENA_NEW(keep, uint8_t, mesh->vertex_count);
    cage->sharp_count = ARENA_NEW(keep, uint8_t, mesh->vertex_count);
    if (keep->failed)
        return arena_error(err);
    for (size_t e = 0; e < cage->edges.count; e++)
        cage->sharpness[e] = edges_incidence(&cage->edges, e) == 2 ? 0 : INFINITY;
    gather_corners(cage);
    return true;
}

/* What is counted over the corners of one vertex. */
struct star {
    size_t open, nonmanifold; /* edges by the number of faces on them */
    size_t infinite, finite;  /* edges by sharpness */
    bool quads;
};

static bool side_is_plain(const struct cage *cage, uint32_t side)
{
    return edges_incidence(&cage->edges, cage->edges.corner_edge[side]) == 2;
}

static void add_side(const struct cage *cage, uint32_t side, struct star *star)
{
    uint32_t e = cage->edges.corner_edge[side];
    uint32_t incidence = edges_incidence(&cage->edges, e);

    if (!cage_side_is_first(cage, side))
        return;
    star->open += incidence == 1;
    star->nonmanifold += incidence > 2;
    star->infinite += isinf(cage->sharpness[e]) != 0;
    star->finite += cage->sharpness[e] > 0 && !isinf(cage->sharpness[e]);
}

static struct star count_star(const struct cage *cage, uint32_t v)
{
    struct star star = {.quads = true};

    for (uint32_t i = cage->corner_begin[v]; i < cage->corner_begin[v + 1]; i++) {
        uint32_t c = cage->corners[i];
        star.quads = star.quads && mesh_face_size(&cage->mesh, edges_face(&cage->edges, c)) == 4;
        add_side(cage, c, &star);
        add_side(cage, cage_previous(cage, c), &star);
    }
    return star;
}

/* How many faces a walk meets, from `from` until it is back there or stands before an edge that has not two
 * sides. */
static size_t walk_length(const struct cage *cage, struct spoke from)
{
    struct spoke at = from;
    size_t count = 1;

    while (side_is_plain(cage, at.leave)) {
        at = cage_turn(cage, at);
        if (at.corner == from.corner)
            break;
        count++;
    }
    return count;
}

/* True when every face at v lies in a sheet that begins and ends at an edge without exactly two sides: each
 * sheet is met from both its ends. */
static bool all_in_sheets(const struct cage *cage, uint32_t v)
{
    size_t met = 0, corner_count = cage->corner_begin[v + 1] - cage->corner_begin[v];

    for (uint32_t i = cage->corner_begin[v]; i < cage->corner_begin[v + 1]; i++) {
        uint32_t c = cage->corners[i], previous = cage_previous(cage, c);
        if (!side_is_plain(cage, c))
            met += walk_length(cage, (struct spoke){c, previous});
        if (!side_is_plain(cage, previous))
            met += walk_length(cage, (struct spoke){c, c});
    }
    return met == 2 * corner_count;
}

static void flag_vertex(struct cage *cage, uint32_t v)
{
    size_t corner_count = cage->corner_begin[v + 1] - cage->corner_begin[v];
    unsigned flags = 0;

    if (corner_count == 0) {
        cage->flags[v] = CAGE_UNUSED | CAGE_FIXED;
        cage->sharp_count[v] = 0;
        return;
    }
    struct star star = count_star(cage, v);
    uint32_t first = cage->corners[cage->corner_begin[v]];
    bool moves = false;
    if (star.open + star.nonmanifold == 0) {
        moves = walk_length(cage, (struct spoke){first, first}) == corner_count;
        flags |= moves ? CAGE_CLOSED_FAN : 0;
    } else if (star.open == 2 && star.nonmanifold == 0) {
        moves = all_in_sheets(cage, v);
        flags |= moves ? CAGE_OPEN_FAN : 0;
    } else if (star.open == 0 && star.nonmanifold == 2)
        moves = all_in_sheets(cage, v);
    cage->nonmanifold_vertex_count += !moves || star.nonmanifold > 0;
    if (!moves || (cage->rule == BOUNDARY_EDGE_AND_CORNER && corner_count == 1))
        flags |= CAGE_FIXED;
    flags |= star.finite ? CAGE_SEMI_SHARP : 0;
    flags |= star.quads ? 0 : CAGE_NOT_QUADS;
    if ((flags & CAGE_CLOSED_FAN) && star.quads && star.finite + star.infinite == 0)
        flags |= corner_count == 4 ? CAGE_SMOOTH | CAGE_REGULAR : CAGE_SMOOTH;
    cage->flags[v] = (uint8_t)flags;
    cage->sharp_count[v] = (uint8_t)(star.infinite > 3 ? 3 : star.infinite);
    if (corner_count > cage->valence_max)
        cage->valence_max = corner_count;
}

void cage_flag(struct cage *cage)
{
    cage->nonmanifold_edge_count = cage->edges.nonmanifold_count;
    cage->nonmanifold_vertex_count = 0;
    cage->valence_max = 0;
    for (uint32_t v = 0; v < cage->mesh.vertex_count; v++)
        flag_vertex(cage, v);
    assert(cage_is_valid(cage));
}

/* The edge between two vertices, from the corners of the one with fewer; EDGE_NONE when there is none. */
static uint32_t find_edge(const struct cage *cage, uint32_t a, uint32_t b)
{
    const uint32_t *begin = cage->corner_begin, *vertex = cage->mesh.face_vertices;

    if (a >= cage->mesh.vertex_count || b >= cage->mesh.vertex_count)
        return EDGE_NONE;
    uint32_t from = begin[a + 1] - begin[a] <= begin[b + 1] - begin[b] ? a : b, to = from == a ? b : a;
    for (uint32_t i = begin[from]; i < begin[from + 1]; i++) {
        uint32_t c = cage->corners[i], previous = cage_previous(cage, c);
        if (vertex[cage_next(cage, c)] == to)
            return cage->edges.corner_edge[c];
        if (vertex[previous] == to)
            return cage->edges.corner_edge[previous];
    }
    return EDGE_NONE;
}

static void set_creases(struct cage *cage, const struct creases *creases)
{
    for (size_t i = 0; i < creases->count; i++) {
        uint32_t e = find_edge(cage, creases->edges[i][0], creases->edges[i][1]);
        double s = creases->sharpness[i] >= SHARPNESS_INFINITE ? INFINITY : creases->sharpness[i];
        if (e == EDGE_NONE)
            cage->crease_unknown_count++;
        else if (s > cage->sharpness[e])
            cage->sharpness[e] = s;
    }
}

bool cage_build(const struct mesh *mesh, const struct creases *creases, enum boundary_rule rule,
                struct cage *cage, struct arena *keep, struct arena scratch, struct error *err)
{
    memset(cage, 0, sizeof *cage);
    cage->rule = rule;
    if (!clean_mesh(mesh, cage, keep, scratch, err) || !cage_connect(cage, keep, scratch, err))
        return false;
    if (creases)
        set_creases(cage, creases);
    cage_flag(cage);
    return true;
}

static bool vertex_is_valid(const struct cage *cage, uint32_t v)
{
    unsigned flags = cage->flags[v];
    size_t corner_count = cage->corner_begin[v + 1] - cage->corner_begin[v];

    for (uint32_t i = cage->corner_begin[v]; i < cage->corner_begin[v + 1]; i++)
        if (cage->mesh.face_vertices[cage->corners[i]] != v)
            return false;
    if ((flags & CAGE_REGULAR) && (!(flags & CAGE_SMOOTH) || corner_count != 4))
        return false;
    if ((flags & CAGE_SMOOTH) && (!(flags & CAGE_CLOSED_FAN) || (flags & (CAGE_FIXED | CAGE_NOT_QUADS))))
        return false;
    return ((flags & CAGE_UNUSED) != 0) == (corner_count == 0);
}

bool cage_is_valid(const struct cage *cage)
{
    if (!edges_is_valid(&cage->edges, &cage->mesh) || cage->corner_begin[0] != 0
        || cage->corner_begin[cage->mesh.vertex_count] != mesh_corner_count(&cage->mesh))
        return false;
    for (size_t e = 0; e < cage->edges.count; e++)
        if (!(cage->sharpness[e] >= 0)
            || (edges_incidence(&cage->edges, e) != 2 && !isinf(cage->sharpness[e])))
            return false;
    for (uint32_t v = 0; v < cage->mesh.vertex_count; v++)
        if (!vertex_is_valid(cage, v))
            return false;
    return true;
}
