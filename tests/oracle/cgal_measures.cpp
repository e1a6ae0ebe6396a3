// cgal_measures.cpp - topology, area, volume and bounded-error distances of meshes, as CGAL finds them.
//   cgal_measures SUBJECT [REFERENCE ERROR]
// prints one JSON object: the subject alone, and with a reference the one-sided Hausdorff distances both ways, each
// within ERROR (a length) of the truth on either side. Files are read by CGAL's own reader: OBJ, OFF, PLY, STL.
// null stands for what CGAL does not define: topology, area and volume of what is not a surface mesh, distances of
// faces with more than four corners. For distances a quad is cut along its shorter diagonal; concave quads are
// counted, so that a caller can leave them out.
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/IO/polygon_soup_io.h>
#include <CGAL/Polygon_mesh_processing/border.h>
#include <CGAL/Polygon_mesh_processing/connected_components.h>
#include <CGAL/Polygon_mesh_processing/distance.h>
#include <CGAL/Polygon_mesh_processing/manifoldness.h>
#include <CGAL/Polygon_mesh_processing/measure.h>
#include <CGAL/Polygon_mesh_processing/orient_polygon_soup.h>
#include <CGAL/Polygon_mesh_processing/polygon_soup_to_polygon_mesh.h>
#include <CGAL/Polygon_mesh_processing/triangulate_faces.h>
#include <CGAL/Surface_mesh.h>

#include <cstdio>
#include <cstdlib>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace PMP = CGAL::Polygon_mesh_processing;
using Kernel = CGAL::Exact_predicates_inexact_constructions_kernel;
using Point = Kernel::Point_3;
using Vector = Kernel::Vector_3;
using Mesh = CGAL::Surface_mesh<Point>;
using Face = std::vector<std::size_t>;

struct Soup {
    std::vector<Point> points;
    std::vector<Face> faces;
};

// Hears from CGAL's orienter, which copies it, which edges and vertices are not those of a surface.
struct Oddities {
    std::set<std::pair<std::size_t, std::size_t>> edges;
    std::set<std::size_t> vertices;
    std::size_t reversed = 0;
};
struct Listener : PMP::Default_orientation_visitor {
    Oddities *found = nullptr;

    void non_manifold_edge(std::size_t a, std::size_t b, std::size_t) { found->edges.insert(std::minmax(a, b)); }
    void non_manifold_vertex(std::size_t v, std::size_t) { found->vertices.insert(v); }
    void polygon_orientation_reversed(std::size_t) { found->reversed++; }
};

static Soup read_soup(const char *name)
{
    Soup soup;
    if (!CGAL::IO::read_polygon_soup(name, soup.points, soup.faces)) {
        std::fprintf(stderr, "cgal_measures: cannot read %s\n", name);
        std::exit(3);
    }
    return soup;
}

static void print_topology(const Soup &soup)
{
    Soup oriented = soup;
    Oddities found;
    Listener listener;
    listener.found = &found;
    PMP::orient_polygon_soup(oriented.points, oriented.faces, CGAL::parameters::visitor(listener));
    std::printf("\"faces\":%zu,\"nonmanifold_edges\":%zu,\"singular_vertices\":%zu,\"reversed\":%zu", soup.faces.size(),
                found.edges.size(), found.vertices.size(), found.reversed);

    if (!PMP::is_polygon_soup_a_polygon_mesh(soup.faces)) {
        std::printf(",\"mesh\":null");
        return;
    }
    Mesh mesh;
    PMP::polygon_soup_to_polygon_mesh(soup.points, soup.faces, mesh);
    auto components = mesh.add_property_map<Mesh::Face_index, std::size_t>("f:component", 0).first;
    std::vector<Mesh::Halfedge_index> cycles;
    std::vector<Mesh::Halfedge_index> umbrellas;
    PMP::extract_boundary_cycles(mesh, std::back_inserter(cycles));
    PMP::non_manifold_vertices(mesh, std::back_inserter(umbrellas));
    std::set<Mesh::Vertex_index> pinches;
    for (auto h : umbrellas)
        pinches.insert(target(h, mesh));
    std::size_t open = 0;
    for (auto h : mesh.halfedges())
        open += mesh.is_border(h);
    std::printf(",\"mesh\":{\"shells\":%zu,\"edges\":%zu,\"open_edges\":%zu,\"boundary_cycles\":%zu,"
                "\"nonmanifold_vertices\":%zu,\"closed\":%s",
                static_cast<std::size_t>(PMP::connected_components(mesh, components)),
                static_cast<std::size_t>(mesh.number_of_edges()), open, cycles.size(), pinches.size(),
                CGAL::is_closed(mesh) ? "true" : "false");
    // area and volume depend on how faces are cut: said for triangles only
    if (CGAL::is_triangle_mesh(mesh)) {
        std::printf(",\"area\":%.17g", CGAL::to_double(PMP::area(mesh)));
        if (CGAL::is_closed(mesh))
            std::printf(",\"volume\":%.17g", CGAL::to_double(PMP::volume(mesh)));
    }
    std::printf("}");
}

// Triangles that share no vertex, so that any soup is a mesh. False for faces of more than four corners.
static bool make_triangles(const Soup &soup, Mesh &mesh, std::size_t &concave)
{
    auto add = [&](std::size_t a, std::size_t b, std::size_t c) {
        mesh.add_face(mesh.add_vertex(soup.points[a]), mesh.add_vertex(soup.points[b]),
                      mesh.add_vertex(soup.points[c]));
    };
    for (const Face &face : soup.faces) {
        if (face.size() == 3) {
            add(face[0], face[1], face[2]);
            continue;
        }
        if (face.size() != 4)
            return false;
        const Point *p[4];
        for (int i = 0; i < 4; i++)
            p[i] = &soup.points[face[i]];
        Vector normal = CGAL::cross_product(*p[2] - *p[0], *p[3] - *p[1]);
        for (int i = 0; i < 4; i++)
            if (CGAL::cross_product(*p[(i + 1) % 4] - *p[i], *p[(i + 3) % 4] - *p[i]) * normal < 0) {
                concave++;
                break;
            }
        if (CGAL::squared_distance(*p[0], *p[2]) <= CGAL::squared_distance(*p[1], *p[3])) {
            add(face[0], face[1], face[2]);
            add(face[0], face[2], face[3]);
        } else {
            add(face[0], face[1], face[3]);
            add(face[1], face[2], face[3]);
        }
    }
    return true;
}

static void print_distances(const Soup &subject, const Soup &reference, double error)
{
    Mesh a, b;
    std::size_t concave = 0;
    if (!make_triangles(subject, a, concave) || !make_triangles(reference, b, concave)) {
        std::printf(",\"distance\":null");
        return;
    }
    double ab = PMP::bounded_error_Hausdorff_distance<CGAL::Sequential_tag>(a, b, error);
    double ba = PMP::bounded_error_Hausdorff_distance<CGAL::Sequential_tag>(b, a, error);
    std::printf(",\"distance\":{\"error\":%.17g,\"concave_quads\":%zu,\"subject_to_reference\":%.17g,"
                "\"reference_to_subject\":%.17g}",
                error, concave, ab, ba);
}

int main(int argc, char **argv)
{
    if (argc != 2 && argc != 4) {
        std::fprintf(stderr, "use: cgal_measures SUBJECT [REFERENCE ERROR]\n");
        return 2;
    }
    Soup subject = read_soup(argv[1]);
    std::printf("{");
    print_topology(subject);
    if (argc == 4)
        print_distances(subject, read_soup(argv[2]), std::strtod(argv[3], nullptr));
    std::printf("}\n");
}
