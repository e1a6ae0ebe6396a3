/* limit_points.c - prints a cage and the limits of its vertices as fettle has them, for comparison with
 * OpenSubdiv.
 *
 *   limit_points FILE edge-only|edge-and-corner [EVERY]
 *
 * "v x y z" and "f i j k ..." lines, "t i j sharpness" for creases, then a line for every vertex: "l x y z
 * valence kind" with the number of edges and the kind: closed, open (boundary), other (non-manifold), dart,
 * none (no face). With EVERY, about one edge in EVERY is a crease, of a sharpness that depends on its number.
 * Numbers as %.17g. */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/mix64.h"
#include "io/mesh_file.h"
#include "subdiv/limit.h"

static void make_creases(const struct cage *cage, unsigned long every, struct creases *creases,
                         struct arena *keep)
{
    static const double SHARPNESS[] = {0.5, 1, 1.75, 2.5, 10};

    creases->count = 0;
    creases->edges =
        (uint32_t(*)[2])arena_alloc(keep, cage->edges.count, sizeof *creases->edges, _Alignof(uint32_t));
    creases->sharpness = ARENA_NEW(keep, double, cage->edges.count);
    if (keep->failed)
        exit(1);
    for (size_t e = 0; e < cage->edges.count; e++) {
        uint64_t number = mix64(e);
        if (number % every != 0)
            continue;
        creases->edges[creases->count][0] = cage->edges.low[e];
        creases->edges[creases->count][1] = cage->edges.high[e];
        creases->sharpness[creases->count++] = SHARPNESS[(number >> 32) % 5];
    }
}

static void print_cage(const struct mesh *mesh, const struct creases *creases)
{
    for (size_t v = 0; v < mesh->vertex_count; v++)
        printf("v %.17g %.17g %.17g\n", mesh->positions[v].x, mesh->positions[v].y, mesh->positions[v].z);
    for (size_t f = 0; f < mesh->face_count; f++) {
        printf("f");
        for (size_t i = 0; i < mesh_face_size(mesh, f); i++)
            printf(" %u", mesh_face(mesh, f)[i]);
        printf("\n");
    }
    for (size_t i = 0; i < creases->count; i++)
        printf("t %u %u %.17g\n", creases->edges[i][0], creases->edges[i][1], creases->sharpness[i]);
}

static const char *kind_of(const struct cage *cage, size_t v)
{
    if (cage->flags[v] & CAGE_UNUSED)
        return "none";
    if (cage->flags[v] & CAGE_CLOSED_FAN)
        return cage->sharp_count[v] == 1 ? "dart" : "closed";
    return cage->flags[v] & CAGE_OPEN_FAN ? "open" : "other";
}

static void print_limits(const struct cage *cage, const vec3 *limits)
{
    for (size_t v = 0; v < cage->mesh.vertex_count; v++) {
        unsigned faces = cage->corner_begin[v + 1] - cage->corner_begin[v];
        unsigned valence = faces + ((cage->flags[v] & CAGE_OPEN_FAN) != 0);
        printf("l %.17g %.17g %.17g %u %s\n", limits[v].x, limits[v].y, limits[v].z, valence,
               kind_of(cage, v));
    }
}

int main(int argc, char **argv)
{
    struct arena keep, scratch;
    struct mesh mesh;
    struct mesh_file file;
    struct creases creases = {0};
    struct cage cage;
    struct error err;
    int fd = argc > 2 ? open(argv[1], O_RDONLY | O_CLOEXEC) : -1;
    enum boundary_rule rule =
        argc > 2 && strcmp(argv[2], "edge-only") == 0 ? BOUNDARY_EDGE_ONLY : BOUNDARY_EDGE_AND_CORNER;

    if (fd < 0 || !arena_open(&keep, (size_t)1 << 30, &err) || !arena_open(&scratch, (size_t)1 << 30, &err)
        || !mesh_file_read(fd, argv[1], 1, NULL, &mesh, &file, &keep, scratch, &err)
        || !cage_build(&mesh, NULL, rule, &cage, &keep, scratch, &err)) {
        fprintf(stderr, "limit_points: cannot read the mesh\n");
        return 1;
    }
    if (argc > 3) {
        make_creases(&cage, strtoul(argv[3], NULL, 10), &creases, &keep);
        if (!cage_build(&mesh, &creases, rule, &cage, &keep, scratch, &err))
            return 1;
    }
    vec3 *limits = ARENA_NEW(&keep, vec3, mesh.vertex_count);
    if (!limits || !limit_positions(&cage, limits, scratch, &err))
        return 1;
    print_cage(&cage.mesh, &creases);
    print_limits(&cage, limits);
    close(fd);
    arena_close(&scratch);
    arena_close(&keep);
    return 0;
}
