/* face_metrics.c - prints what fettle says of every quad and triangle of a mesh, for comparison with VTK.
 *
 *   face_metrics FILE     first the mesh: "v x y z" and "f i j k ..." lines, numbers as %.17g; then for every
 * quad "q face value..." and for every triangle "t face value..." in the order of enum quad_metric and enum
 * triangle_metric, nan where a value is not defined face_metrics --names  the two lists of names */
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "io/mesh_file.h"
#include "measure/quality_quad.h"
#include "measure/quality_triangle.h"

static void print_names(const char *kind, const struct quality_metric *metrics, size_t count)
{
    printf("%s", kind);
    for (size_t m = 0; m < count; m++)
        printf(" %s", metrics[m].name);
    printf("\n");
}

static void print_values(char kind, size_t face, const double *values, size_t count)
{
    printf("%c %zu", kind, face);
    for (size_t m = 0; m < count; m++)
        printf(" %.17g", values[m]);
    printf("\n");
}

static void print_mesh(const struct mesh *mesh)
{
    for (size_t v = 0; v < mesh->vertex_count; v++)
        printf("v %.17g %.17g %.17g\n", mesh->positions[v].x, mesh->positions[v].y, mesh->positions[v].z);
    for (size_t f = 0; f < mesh->face_count; f++) {
        printf("f");
        for (size_t i = 0; i < mesh_face_size(mesh, f); i++)
            printf(" %u", mesh_face(mesh, f)[i]);
        printf("\n");
    }
}

static void print_metrics(const struct mesh *mesh)
{
    for (size_t f = 0; f < mesh->face_count; f++) {
        vec3 corners[4];
        double values[QUAD_METRIC_COUNT];
        size_t size = mesh_face_size(mesh, f);
        for (size_t i = 0; i < size && i < 4; i++)
            corners[i] = mesh->positions[mesh_face(mesh, f)[i]];
        if (size == 4) {
            quad_quality(corners, 1, values);
            print_values('q', f, values, QUAD_METRIC_COUNT);
        } else if (size == 3) {
            triangle_quality(corners, 1, values);
            print_values('t', f, values, TRIANGLE_METRIC_COUNT);
        }
    }
}

int main(int argc, char **argv)
{
    struct arena keep, scratch;
    struct mesh mesh;
    struct mesh_file file;
    struct error err = {.text = "usage: face_metrics FILE | --names"};
    if (argc == 2 && strcmp(argv[1], "--names") == 0) {
        print_names("q", quad_metrics, QUAD_METRIC_COUNT);
        print_names("t", triangle_metrics, TRIANGLE_METRIC_COUNT);
        return 0;
    }
    int fd = argc == 2 ? open(argv[1], O_RDONLY | O_CLOEXEC) : -1;
    if (fd < 0 || !arena_open(&keep, (size_t)1 << 30, &err) || !arena_open(&scratch, (size_t)1 << 30, &err)
        || !mesh_file_read(fd, argv[1], 1, NULL, &mesh, &file, &keep, scratch, &err)) {
        fprintf(stderr, "face_metrics: %s\n", err.text);
        return 1;
    }
    print_mesh(&mesh);
    print_metrics(&mesh);
    close(fd);
    arena_close(&scratch);
    arena_close(&keep);
    return 0;
}
