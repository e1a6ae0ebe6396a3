// cgal.cpp - CGAL's bounded-error distance both ways, timed with its trees; run by the bench.
//   bench-cgal SUBJECT REFERENCE ERROR LIMIT sequential|parallel
// Each answer is within ERROR (a length) of the truth. "parallel" is what CGAL 5.5 has behind USE_PARALLEL_BEHD: the
// first mesh in four parts by METIS, on two threads; it does not remove faces that both meshes share.
#define USE_PARALLEL_BEHD
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/Polygon_mesh_processing/distance.h>
#include <CGAL/Polygon_mesh_processing/polygon_soup_to_polygon_mesh.h>
#include <CGAL/Surface_mesh.h>

#include <tbb/global_control.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <vector>

#include "tests/bench/peer.h"

namespace PMP = CGAL::Polygon_mesh_processing;
using Kernel = CGAL::Exact_predicates_inexact_constructions_kernel;
using Point = Kernel::Point_3;
using Mesh = CGAL::Surface_mesh<Point>;

// Triangles keep their common vertices where that is a surface to CGAL, else each has its own.
static void make_mesh(const char *name, Mesh &mesh)
{
    peer_mesh read;
    peer_mesh_read(name, &read);
    std::vector<Point> points;
    std::vector<std::array<std::size_t, 3>> faces;
    for (std::size_t v = 0; v < read.vertex_count; v++)
        points.emplace_back(read.positions[v][0], read.positions[v][1], read.positions[v][2]);
    for (std::size_t t = 0; t < read.triangle_count; t++)
        faces.push_back({read.corners[t][0], read.corners[t][1], read.corners[t][2]});
    if (PMP::is_polygon_soup_a_polygon_mesh(faces)) {
        PMP::polygon_soup_to_polygon_mesh(points, faces, mesh);
        return;
    }
    for (const auto &face : faces)
        mesh.add_face(mesh.add_vertex(points[face[0]]), mesh.add_vertex(points[face[1]]),
                      mesh.add_vertex(points[face[2]]));
}

template <class Tag> static void measure(const Mesh &subject, const Mesh &reference, double error)
{
    double there = PMP::bounded_error_Hausdorff_distance<Tag>(subject, reference, error);
    double back = PMP::bounded_error_Hausdorff_distance<Tag>(reference, subject, error);
    peer_end(there, back);
}

int main(int argc, char **argv)
{
    if (argc != 6) {
        std::fprintf(stderr, "usage: bench-cgal SUBJECT REFERENCE ERROR LIMIT sequential|parallel\n");
        return 2;
    }
    tbb::global_control threads(tbb::global_control::max_allowed_parallelism, 2);
    Mesh subject, reference;
    make_mesh(argv[1], subject);
    make_mesh(argv[2], reference);
    double error = std::strtod(argv[3], nullptr);
    peer_begin(static_cast<unsigned>(std::atoi(argv[4])));
    if (std::strcmp(argv[5], "parallel") == 0)
        measure<CGAL::Parallel_tag>(subject, reference, error);
    else
        measure<CGAL::Sequential_tag>(subject, reference, error);
}
