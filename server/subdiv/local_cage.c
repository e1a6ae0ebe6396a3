/* local_cage.c - copying the faces that touch one face. */
#include "subdiv/local_cage.h"

#include <string.h>

bool local_marks_open(struct local_marks *marks, const struct cage *cage, struct arena *keep)
{
    marks->vertices = ARENA_ZERO(keep, uint32_t, cage->mesh.vertex_count);
    marks->faces = ARENA_ZERO(keep, uint32_t, cage->mesh.face_count);
    return !keep->failed;
}

/* Room for all faces at the corners of f, those counted twice that touch two corners. */
static bool make_room(const struct cage *cage, uint32_t f, struct cage *local, struct arena *keep)
{
    struct mesh *mesh = &local->mesh;
    size_t faces = 0, corners = 0;

    for (uint32_t c = cage->mesh.face_offsets[f]; c < cage->mesh.face_offsets[f + 1]; c++) {
        uint32_t v = cage->mesh.face_vertices[c];
        for (uint32_t i = cage->corner_begin[v]; i < cage->corner_begin[v + 1]; i++) {
            faces++;
            corners += mesh_face_size(&cage->mesh, edges_face(&cage->edges, cage->corners[i]));
        }
    }
    mesh->positions = ARENA_NEW(keep, vec3, corners);
    mesh->face_offsets = ARENA_NEW(keep, uint32_t, faces + 1);
    mesh->face_vertices = ARENA_NEW(keep, uint32_t, corners);
    local->face_source = ARENA_NEW(keep, uint32_t, faces);
    return !keep->failed;
}

static void add_face(const struct cage *cage, uint32_t f, unsigned first, struct local_marks *marks,
                     struct mesh *mesh, uint32_t *sources)
{
    const uint32_t *face = mesh_face(&cage->mesh, f);
    size_t size = mesh_face_size(&cage->mesh, f);
    uint32_t begin = mesh->face_offsets[mesh->face_count];

    for (size_t i = 0; i < size; i++) {
        uint32_t v = face[(i + first) % size];
        if (marks->vertices[v] == 0) {
            mesh->positions[mesh->vertex_count] = cage->mesh.positions[v];
            marks->vertices[v] = (uint32_t)++mesh->vertex_count;
        }
        mesh->face_vertices[begin + i] = marks->vertices[v] - 1;
    }
    sources[mesh->face_count] = f;
    marks->faces[f] = (uint32_t)++mesh->face_count;
    mesh->face_offsets[mesh->face_count] = begin + (uint32_t)size;
}

static void clear_marks(const struct cage *cage, const struct mesh *mesh, const uint32_t *sources,
                        struct local_marks *marks)
{
    for (size_t l = 0; l < mesh->face_count; l++) {
        const uint32_t *face = mesh_face(&cage->mesh, sources[l]);
        for (size_t i = 0; i < mesh_face_size(mesh, l); i++)
            marks->vertices[face[i]] = 0;
        marks->faces[sources[l]] = 0;
    }
}

/* Edges of the local border have one face too few and are sharp already; no piece over face 0 depends on
 * them. */
static void copy_sharpness(const struct cage *cage, unsigned first, const uint32_t *sources,
                           struct cage *local)
{
    for (size_t l = 0; l < local->mesh.face_count; l++) {
        size_t size = mesh_face_size(&local->mesh, l);
        for (size_t i = 0; i < size; i++) {
            size_t from = l == 0 ? (i + first) % size : i;
            uint32_t e = cage->edges.corner_edge[cage->mesh.face_offsets[sources[l]] + from];
            double *s = &local->sharpness[local->edges.corner_edge[local->mesh.face_offsets[l] + i]];
            if (cage->sharpness[e] > *s)
                *s = cage->sharpness[e];
        }
    }
}

bool local_cage_build(const struct cage *cage, uint32_t f, unsigned first, struct local_marks *marks,
                      struct cage *local, struct arena *keep, struct arena scratch, struct error *err)
{
    memset(local, 0, sizeof *local);
    local->rule = cage->rule;
    if (!make_room(cage, f, local, keep))
        return arena_error(err);
    local->mesh.face_offsets[0] = 0;
    add_face(cage, f, first, marks, &local->mesh, local->face_source);
    for (uint32_t c = cage->mesh.face_offsets[f]; c < cage->mesh.face_offsets[f + 1]; c++) {
        uint32_t v = cage->mesh.face_vertices[c];
        for (uint32_t i = cage->corner_begin[v]; i < cage->corner_begin[v + 1]; i++) {
            uint32_t g = edges_face(&cage->edges, cage->corners[i]);
            if (marks->faces[g] == 0)
                add_face(cage, g, 0, marks, &local->mesh, local->face_source);
        }
    }
    clear_marks(cage, &local->mesh, local->face_source, marks);
    if (!cage_connect(local, keep, scratch, err))
        return false;
    copy_sharpness(cage, first, local->face_source, local);
    cage_flag(local);
    return true;
}

void local_cage_ball(const struct cage *local, vec3 *centre, double *radius)
{
    aabb box = aabb_empty();
    double most = 0;

    for (size_t v = 0; v < local->mesh.vertex_count; v++)
        box = aabb_include(box, local->mesh.positions[v]);
    *centre = aabb_centre(box);
    for (size_t v = 0; v < local->mesh.vertex_count; v++)
        most = fmax(most, vec3_length_sq(vec3_sub(local->mesh.positions[v], *centre)));
    *radius = sqrt(most);
}
