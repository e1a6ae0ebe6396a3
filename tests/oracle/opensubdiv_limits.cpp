// opensubdiv_limits.cpp - the limit of every vertex of a cage by OpenSubdiv 3.5, for comparison.
//
//   opensubdiv_limits edge-only|edge-and-corner LEVEL < CAGE
//
// Reads "v x y z", "f i j k ..." and "t i j sharpness" lines (others are passed over), refines LEVEL times in double,
// and prints "l x y z" for every vertex, the limit of the vertex that it has become: "l none" where it has no face.
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <iostream>
#include <sstream>
#include <string>
#include <vector>

#include <opensubdiv/far/primvarRefiner.h>
#include <opensubdiv/far/topologyDescriptor.h>

using namespace OpenSubdiv;

struct Point {
    double at[3] = {0, 0, 0};
    void Clear(void * = nullptr) { at[0] = at[1] = at[2] = 0; }
    void AddWithWeight(const Point &p, double w) {
        for (int i = 0; i < 3; i++)
            at[i] += w * p.at[i];
    }
};

struct Cage {
    std::vector<Point> points;
    std::vector<int> sizes, corners, creases;
    std::vector<float> sharpness;
};

static Cage read_cage(std::istream &in) {
    Cage cage;
    std::string line, word;
    while (std::getline(in, line)) {
        std::istringstream words(line);
        words >> word;
        if (word == "v") {
            Point p;
            words >> p.at[0] >> p.at[1] >> p.at[2];
            cage.points.push_back(p);
        } else if (word == "f") {
            int corner, size = 0;
            for (; words >> corner; size++)
                cage.corners.push_back(corner);
            cage.sizes.push_back(size);
        } else if (word == "t") {
            int a, b;
            double s;
            words >> a >> b >> s;
            cage.creases.insert(cage.creases.end(), {a, b});
            cage.sharpness.push_back(static_cast<float>(s));
        }
    }
    return cage;
}

int main(int argc, char **argv) {
    if (argc != 3)
        return 2;
    int level = std::atoi(argv[2]);
    Cage cage = read_cage(std::cin);

    Far::TopologyDescriptor description;
    description.numVertices = static_cast<int>(cage.points.size());
    description.numFaces = static_cast<int>(cage.sizes.size());
    description.numVertsPerFace = cage.sizes.data();
    description.vertIndicesPerFace = cage.corners.data();
    description.numCreases = static_cast<int>(cage.sharpness.size());
    description.creaseVertexIndexPairs = cage.creases.data();
    description.creaseWeights = cage.sharpness.data();

    Sdc::Options rules;
    rules.SetVtxBoundaryInterpolation(std::strcmp(argv[1], "edge-only") == 0
                                          ? Sdc::Options::VTX_BOUNDARY_EDGE_ONLY
                                          : Sdc::Options::VTX_BOUNDARY_EDGE_AND_CORNER);
    using Factory = Far::TopologyRefinerFactory<Far::TopologyDescriptor>;
    Far::TopologyRefiner *refiner = Factory::Create(description, Factory::Options(Sdc::SCHEME_CATMARK, rules));
    if (!refiner)
        return 1;
    Far::TopologyRefiner::UniformOptions uniform(level);
    uniform.fullTopologyInLastLevel = true;
    refiner->RefineUniform(uniform);

    Far::PrimvarRefinerReal<double> primvar(*refiner);
    std::vector<Point> points = cage.points;
    for (int l = 1; l <= level; l++) {
        std::vector<Point> next(static_cast<size_t>(refiner->GetLevel(l).GetNumVertices()));
        primvar.Interpolate(l, points, next);
        points.swap(next);
    }
    std::vector<Point> limits(points.size());
    primvar.Limit(points, limits);
    for (int v = 0; v < description.numVertices; v++) {
        if (refiner->GetLevel(0).GetVertexFaces(v).size() == 0) {
            std::printf("l none\n");
            continue;
        }
        int at = v;
        for (int l = 0; l < level; l++)
            at = refiner->GetLevel(l).GetVertexChildVertex(at);
        const double *p = limits[static_cast<size_t>(at)].at;
        std::printf("l %.17g %.17g %.17g\n", p[0], p[1], p[2]);
    }
    delete refiner;
    return 0;
}
