// cgal_mend.cpp - what was changed between two meshes of triangles, as CGAL measures it.
//   cgal_mend SUBJECT REFERENCE ERROR
// prints one JSON object: counts of faces of both and of one alone, enclosed volumes, and the regions in the order of
// their first faces. Corners at one position are one point. A region's surfaces, what was removed turned over, are made
// one mesh; where that has open edges, each cycle of them is closed in two ways: by a cone from the mean of its edges,
// weighted by length, and by CGAL's own triangulation of a hole. The two agree where cycles are flat. Moves are within
// ERROR (a length) of the truth on either side. null stands for what CGAL does not define: the volume of what is no
// surface mesh, the move where a side is empty.
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/IO/polygon_soup_io.h>
#include <CGAL/Polygon_mesh_processing/border.h>
#include <CGAL/Polygon_mesh_processing/distance.h>
#include <CGAL/Polygon_mesh_processing/measure.h>
#include <CGAL/Polygon_mesh_processing/polygon_soup_to_polygon_mesh.h>
#include <CGAL/Polygon_mesh_processing/triangulate_hole.h>
#include <CGAL/Surface_mesh.h>
#include <CGAL/boost/graph/Euler_operations.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <cstdlib>
#include <iterator>
#include <map>
#include <string>
#include <utility>
#include <vector>

namespace PMP = CGAL::Polygon_mesh_processing;
using Kernel = CGAL::Exact_predicates_inexact_constructions_kernel;
using Point = Kernel::Point_3;
using Vector = Kernel::Vector_3;
using Mesh = CGAL::Surface_mesh<Point>;
using Halfedge = Mesh::Halfedge_index;
using Face = std::array<std::size_t, 3>;
using Edge = std::pair<std::size_t, std::size_t>;

struct Points {
    std::vector<Point> list;
    std::map<Point, std::size_t> numbers;

    std::size_t number_of(const Point &p)
    {
        auto [at, is_new] = numbers.try_emplace(p, list.size());
        if (is_new)
            list.push_back(p);
        return at->second;
    }
};

static std::vector<Face> read_faces(const char *name, Points &points)
{
    std::vector<Point> corners;
    std::vector<std::vector<std::size_t>> polygons;
    std::vector<Face> faces;
    if (!CGAL::IO::read_polygon_soup(name, corners, polygons)) {
        std::fprintf(stderr, "cgal_mend: cannot read %s\n", name);
        std::exit(3);
    }
    for (const auto &polygon : polygons) {
        if (polygon.size() != 3) {
            std::fprintf(stderr, "cgal_mend: %s has a face that is no triangle\n", name);
            std::exit(3);
        }
        faces.push_back({points.number_of(corners[polygon[0]]), points.number_of(corners[polygon[1]]),
                         points.number_of(corners[polygon[2]])});
    }
    return faces;
}

static Face reversed(const Face &face)
{
    return {face[0], face[2], face[1]};
}

// The same face from its least corner.
static Face turned(Face face)
{
    std::rotate(face.begin(), std::min_element(face.begin(), face.end()), face.end());
    return face;
}

static Edge edge_of(const Face &face, int i)
{
    return std::minmax(face[i], face[(i + 1) % 3]);
}

// Faces of a mesh that the other has not, and those that both have.
static std::vector<std::size_t> changes(const std::vector<Face> &faces, const std::vector<Face> &others,
                                        std::vector<Face> *shared)
{
    std::map<Face, int> left;
    std::vector<std::size_t> alone;
    for (const Face &face : others)
        left[std::min(turned(face), turned(reversed(face)))]++;
    for (std::size_t f = 0; f < faces.size(); f++)
        if (left[std::min(turned(faces[f]), turned(reversed(faces[f])))]-- <= 0)
            alone.push_back(f);
        else if (shared)
            shared->push_back(faces[f]);
    return alone;
}

static bool make_mesh(const Points &points, const std::vector<Face> &faces, Mesh &mesh)
{
    std::vector<Point> corners;
    std::vector<std::vector<std::size_t>> polygons;
    std::map<std::size_t, std::size_t> numbers;
    for (const Face &face : faces) {
        polygons.emplace_back();
        for (std::size_t p : face) {
            auto [at, is_new] = numbers.try_emplace(p, corners.size());
            if (is_new)
                corners.push_back(points.list[p]);
            polygons.back().push_back(at->second);
        }
    }
    if (faces.empty() || !PMP::is_polygon_soup_a_polygon_mesh(polygons))
        return false;
    PMP::polygon_soup_to_polygon_mesh(corners, polygons, mesh);
    return true;
}

static std::vector<Halfedge> open_cycles(const Mesh &mesh)
{
    std::vector<Halfedge> cycles;
    PMP::extract_boundary_cycles(mesh, std::back_inserter(cycles));
    return cycles;
}

static double volume_by_cones(Mesh mesh)
{
    for (Halfedge h : open_cycles(mesh)) {
        Vector sum = CGAL::NULL_VECTOR;
        double length = 0;
        for (Halfedge e : halfedges_around_face(h, mesh)) {
            const Point &a = mesh.point(source(e, mesh)), &b = mesh.point(target(e, mesh));
            double side = std::sqrt(CGAL::squared_distance(a, b));
            sum = sum + side * (CGAL::midpoint(a, b) - CGAL::ORIGIN);
            length += side;
        }
        CGAL::Euler::fill_hole(h, mesh);
        Halfedge spoke = CGAL::Euler::add_center_vertex(h, mesh);
        mesh.point(target(spoke, mesh)) = CGAL::ORIGIN + sum / length;
    }
    return CGAL::to_double(PMP::volume(mesh));
}

static double volume_by_holes(Mesh mesh)
{
    for (Halfedge h : open_cycles(mesh)) {
        std::vector<Mesh::Face_index> patch;
        PMP::triangulate_hole(mesh, h, std::back_inserter(patch));
    }
    return CGAL::to_double(PMP::volume(mesh));
}

struct Region {
    std::vector<std::size_t> added, removed;
};

static std::size_t root_of(std::vector<std::size_t> &parents, std::size_t i)
{
    while (parents[i] != i)
        i = parents[i] = parents[parents[i]];
    return i;
}

// Changes that hang together through edges, whichever mesh they are in.
static std::vector<Region> gather(const std::vector<Face> &subject, const std::vector<std::size_t> &added,
                                  const std::vector<Face> &reference, const std::vector<std::size_t> &removed)
{
    std::vector<std::size_t> parents(added.size() + removed.size());
    std::map<Edge, std::size_t> first;
    for (std::size_t i = 0; i < parents.size(); i++) {
        parents[i] = i;
        const Face &face = i < added.size() ? subject[added[i]] : reference[removed[i - added.size()]];
        for (int k = 0; k < 3; k++) {
            std::size_t met = root_of(parents, first.try_emplace(edge_of(face, k), i).first->second);
            parents[std::max(met, root_of(parents, i))] = std::min(met, root_of(parents, i));
        }
    }
    std::map<std::size_t, Region> regions;
    for (std::size_t i = 0; i < parents.size(); i++) {
        Region &region = regions[root_of(parents, i)];
        if (i < added.size())
            region.added.push_back(added[i]);
        else
            region.removed.push_back(removed[i - added.size()]);
    }
    std::vector<Region> list;
    for (auto &[root, region] : regions)
        list.push_back(std::move(region));
    return list;
}

static std::vector<Face> picked(const std::vector<Face> &faces, const std::vector<std::size_t> &numbers)
{
    std::vector<Face> list;
    for (std::size_t f : numbers)
        list.push_back(faces[f]);
    return list;
}

static double area(const Points &points, const std::vector<Face> &faces)
{
    double sum = 0;
    for (const Face &f : faces)
        sum += std::sqrt(CGAL::squared_area(points.list[f[0]], points.list[f[1]], points.list[f[2]]));
    return sum;
}

static double outline(const Points &points, const std::vector<Face> &changed, const std::map<Edge, int> &shared)
{
    std::map<Edge, int> own;
    double sum = 0;
    for (const Face &face : changed)
        for (int k = 0; k < 3; k++)
            if (shared.count(edge_of(face, k)) && own[edge_of(face, k)]++ == 0)
                sum += std::sqrt(CGAL::squared_distance(points.list[face[k]], points.list[face[(k + 1) % 3]]));
    return sum;
}

static void print_region(const Points &points, const std::vector<Face> &added, const std::vector<Face> &removed,
                         const std::map<Edge, int> &shared, double error)
{
    Mesh before, after, both;
    std::vector<Face> all = added;
    for (const Face &face : removed)
        all.push_back(reversed(face));
    std::printf("\"added_area\":%.17g,\"removed_area\":%.17g,\"outline\":%.17g", area(points, added),
                area(points, removed), outline(points, all, shared));
    if (make_mesh(points, all, both))
        std::printf(",\"open_cycles\":%zu,\"volume_by_cones\":%.17g,\"volume_by_holes\":%.17g", open_cycles(both).size(),
                    volume_by_cones(both), volume_by_holes(both));
    else
        std::printf(",\"open_cycles\":null,\"volume_by_cones\":null,\"volume_by_holes\":null");
    if (make_mesh(points, added, after) && make_mesh(points, removed, before))
        std::printf(",\"move\":%.17g",
                    PMP::bounded_error_symmetric_Hausdorff_distance<CGAL::Sequential_tag>(after, before, error));
    else
        std::printf(",\"move\":null");
}

static void print_volume(const char *name, const Points &points, const std::vector<Face> &faces)
{
    Mesh mesh;
    if (make_mesh(points, faces, mesh) && CGAL::is_closed(mesh))
        std::printf("\"%s\":%.17g,", name, CGAL::to_double(PMP::volume(mesh)));
    else
        std::printf("\"%s\":null,", name);
}

int main(int argc, char **argv)
{
    if (argc != 4) {
        std::fprintf(stderr, "use: cgal_mend SUBJECT REFERENCE ERROR\n");
        return 2;
    }
    Points points;
    std::vector<Face> subject = read_faces(argv[1], points), reference = read_faces(argv[2], points), shared;
    std::vector<std::size_t> added = changes(subject, reference, &shared), removed = changes(reference, subject, nullptr);
    std::map<Edge, int> edges;
    for (const Face &face : shared)
        for (int k = 0; k < 3; k++)
            edges[edge_of(face, k)]++;
    std::printf("{\"shared_faces\":%zu,\"added_faces\":%zu,\"removed_faces\":%zu,\"shared_area\":%.17g,", shared.size(),
                added.size(), removed.size(), area(points, shared));
    print_volume("subject_volume", points, subject);
    print_volume("reference_volume", points, reference);
    std::printf("\"error\":%s,\"regions\":[", argv[3]);
    const char *between = "";
    for (const Region &region : gather(subject, added, reference, removed)) {
        std::printf("%s{\"added\":%zu,\"removed\":%zu,", between, region.added.size(), region.removed.size());
        region.added.empty() ? std::printf("\"first_added\":null,")
                             : std::printf("\"first_added\":%zu,", region.added[0]);
        region.removed.empty() ? std::printf("\"first_removed\":null,")
                               : std::printf("\"first_removed\":%zu,", region.removed[0]);
        print_region(points, picked(subject, region.added), picked(reference, region.removed), edges,
                     std::strtod(argv[3], nullptr));
        std::printf("}");
        between = ",";
    }
    std::printf("]}\n");
}
