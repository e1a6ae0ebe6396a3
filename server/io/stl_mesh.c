/* stl_mesh.c - facets become triangles over merged vertices; shared by both forms of STL. */
#include "io/stl.h"

#include "base/tasks.h"

#include <string.h>

bool stl_mesh_begin(struct stl_mesh *stl, const struct source *source, size_t most_facets,
                    size_t most_vertices, struct arena *keep, struct arena *scratch, struct error *err)
{
    *stl = (struct stl_mesh){.facet_count = 0};
    stl->facet_room = source_room(scratch, most_facets, 3 * sizeof *stl->corners, 0.4);
    stl->corners = ARENA_NEW(scratch, uint32_t, 3 * stl->facet_room);
    size_t vertex_room = source_room(keep, most_vertices, sizeof(vec3), 0.7);
    vec3 *positions = ARENA_NEW(keep, vec3, vertex_room);
    if (!stl->corners || !positions)
        return arena_error(err);
    /* a closed surface has about half as many vertices as triangles; the table grows where there are more */
    return weld_begin(&stl->weld, positions, vertex_room, most_facets / 2, source->seed, scratch, err);
}

/* Stored normals need not be unit vectors. Only those more than 120 degrees off the winding count as opposed:
 * slivers are rounded in the file, which turns their computed normal. Common practice, no source. */
static void compare_normal(struct stl_mesh *stl, vec3 normal, const vec3 corners[3])
{
    double length_sq = vec3_length_sq(normal);
    if (!(length_sq > 0.0) || !isfinite(length_sq)) {
        stl->normals_ignored++;
        return;
    }
    vec3 winding = vec3_cross(vec3_sub(corners[1], corners[0]), vec3_sub(corners[2], corners[0]));
    double dot = vec3_dot(normal, winding);
    stl->normals_disagree += dot < 0.0 && dot * dot > 0.25 * length_sq * vec3_length_sq(winding);
}

bool stl_mesh_add(struct stl_mesh *stl, const vec3 *normals, const vec3 *corners, size_t facets,
                  struct arena *scratch, struct error *err)
{
    for (size_t f = 0; f < facets; f++)
        compare_normal(stl, normals[f], corners + 3 * f);
    if (!weld_points(&stl->weld, corners, 3 * facets, stl->corners + 3 * stl->facet_count, scratch, err))
        return false;
    stl->facet_count += facets;
    return true;
}

struct joining {
    const struct stl_mesh *parts;
    uint32_t **vertices; /* [part][vertex of the part] the vertex of the mesh; NULL where both are the same */
    size_t *first_facet; /* [part_count + 1] */
    struct mesh *mesh;
};

static void copy_part(void *context, size_t i)
{
    const struct joining *joining = context;
    const struct stl_mesh *part = &joining->parts[i];
    size_t first = joining->first_facet[i], count = part->facet_count;
    const uint32_t *vertices = joining->vertices[i];
    uint32_t *corners = joining->mesh->face_vertices + 3 * first;

    if (vertices)
        for (size_t c = 0; c < 3 * count; c++)
            corners[c] = vertices[part->corners[c]];
    else
        memcpy(corners, part->corners, 3 * count * sizeof *corners);
    for (size_t f = first + 1; f <= first + count; f++)
        joining->mesh->face_offsets[f] = (uint32_t)(3 * f);
}

/* The vertices of later parts go through the table of the first in the order in which their part first met
 * them: so they are numbered as in one part. */
static bool join_vertices(struct stl_mesh *parts, size_t part_count, struct joining *joining,
                          struct arena *scratch, struct error *err)
{
    joining->parts = parts;
    joining->vertices = ARENA_ZERO(scratch, uint32_t *, part_count);
    joining->first_facet = ARENA_ZERO(scratch, size_t, part_count + 1);
    if (!joining->vertices || !joining->first_facet)
        return arena_error(err);
    for (size_t i = 0; i < part_count; i++) {
        const struct weld *weld = &parts[i].weld;
        joining->first_facet[i + 1] = joining->first_facet[i] + parts[i].facet_count;
        if (i == 0)
            continue;
        joining->vertices[i] = ARENA_NEW(scratch, uint32_t, weld->vertex_count);
        if (!joining->vertices[i])
            return arena_error(err);
        if (!weld_points(&parts[0].weld, weld->positions, weld->vertex_count, joining->vertices[i], scratch,
                         err))
            return false;
    }
    return true;
}

static void note_normals(struct mesh_file *file, const struct stl_mesh *parts, size_t part_count)
{
    size_t ignored = 0, disagree = 0;
    for (size_t i = 0; i < part_count; i++) {
        ignored += parts[i].normals_ignored;
        disagree += parts[i].normals_disagree;
    }
    if (ignored)
        warning_add(&file->warnings, "normals_ignored", ignored,
                    "stored normals are zero or not finite; the winding of the corners was used");
    if (disagree)
        warning_add(&file->warnings, "normals_disagree", disagree,
                    "stored normals oppose the winding of the corners; the winding was used");
}

bool stl_mesh_join(const struct source *source, struct stl_mesh *parts, size_t part_count, struct mesh *mesh,
                   struct arena *keep, struct arena *scratch, struct error *err)
{
    struct joining joining = {.mesh = mesh};

    if (!join_vertices(parts, part_count, &joining, scratch, err))
        return false;
    arena_trim(keep, parts[0].weld.positions, parts[0].weld.vertex_count, sizeof(vec3));
    mesh->positions = parts[0].weld.positions;
    mesh->vertex_count = parts[0].weld.vertex_count;
    mesh->face_count = joining.first_facet[part_count];
    mesh->face_offsets = ARENA_NEW(keep, uint32_t, mesh->face_count + 1);
    mesh->face_vertices = ARENA_NEW(keep, uint32_t, 3 * mesh->face_count);
    if (!mesh->face_offsets || !mesh->face_vertices)
        return arena_error(err);
    mesh->face_offsets[0] = 0;
    tasks_run(source->threads, part_count, copy_part, &joining);
    source->file->merged_vertices = 3 * mesh->face_count - mesh->vertex_count;
    note_normals(source->file, parts, part_count);
    return true;
}
