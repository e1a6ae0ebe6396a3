/* embree.c - the nearest triangle of the other mesh for every vertex by Embree's point queries, both ways,
 * timed with its trees; run by the bench. bench-embree SUBJECT REFERENCE THREADS LIMIT low|medium|high The
 * answers are the greatest of these distances: lower bounds, in floats. A vertex starts from its
 * predecessor's distance and the way from there, which by the triangle inequality it cannot exceed. */
#include "base/tasks.h"
#include "tests/bench/peer.h"

#include <embree3/rtcore.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CHUNK 4096

typedef struct {
    float x, y, z;
} point;

struct target {
    RTCScene scene;
    const point *points;
    const uint32_t (*corners)[3];
};

/* One vertex sweep: chunks of points against a target. */
struct sweep {
    const struct target *target;
    const point *points;
    size_t count;
    float *farthest; /* of each chunk */
};

static point minus(point a, point b)
{
    return (point){a.x - b.x, a.y - b.y, a.z - b.z};
}

static float dot(point a, point b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}

static point along(point a, point ab, float s, point ac, float t)
{
    return (point){a.x + s * ab.x + t * ac.x, a.y + s * ab.y + t * ac.y, a.z + s * ab.z + t * ac.z};
}

/* Ericson 2005, "Real-time collision detection", section 5.1.5: by the region of the plane that p falls into.
 */
static point nearest_of_triangle(point p, point a, point b, point c)
{
    point ab = minus(b, a), ac = minus(c, a), ap = minus(p, a), bp = minus(p, b), cp = minus(p, c);
    float d1 = dot(ab, ap), d2 = dot(ac, ap), d3 = dot(ab, bp), d4 = dot(ac, bp), d5 = dot(ab, cp),
          d6 = dot(ac, cp);
    float va = d3 * d6 - d5 * d4, vb = d5 * d2 - d1 * d6, vc = d1 * d4 - d3 * d2;

    if (d1 <= 0 && d2 <= 0)
        return a;
    if (d3 >= 0 && d4 <= d3)
        return b;
    if (vc <= 0 && d1 >= 0 && d3 <= 0)
        return along(a, ab, d1 / (d1 - d3), ac, 0);
    if (d6 >= 0 && d5 <= d6)
        return c;
    if (vb <= 0 && d2 >= 0 && d6 <= 0)
        return along(a, ab, 0, ac, d2 / (d2 - d6));
    if (va <= 0 && d4 >= d3 && d5 >= d6)
        return along(b, minus(c, b), (d4 - d3) / ((d4 - d3) + (d5 - d6)), ac, 0);
    return along(a, ab, vb / (va + vb + vc), ac, vc / (va + vb + vc));
}

static bool look_at_triangle(struct RTCPointQueryFunctionArguments *args)
{
    const struct target *target = args->userPtr;
    const uint32_t *q = target->corners[args->primID];
    point p = {args->query->x, args->query->y, args->query->z};
    point to =
        minus(nearest_of_triangle(p, target->points[q[0]], target->points[q[1]], target->points[q[2]]), p);
    float distance = sqrtf(dot(to, to));

    if (distance >= args->query->radius)
        return false;
    args->query->radius = distance;
    return true;
}

static void sweep_chunk(void *context, size_t chunk)
{
    struct sweep *sweep = context;
    size_t from = chunk * CHUNK, to = from + CHUNK < sweep->count ? from + CHUNK : sweep->count;
    float bound = INFINITY, farthest = 0;

    for (size_t v = from; v < to; v++) {
        struct RTCPointQueryContext visit;
        point p = sweep->points[v];
        struct RTCPointQuery query = {p.x, p.y, p.z, 0, INFINITY};
        if (v > from) {
            point way = minus(p, sweep->points[v - 1]);
            query.radius = (bound + sqrtf(dot(way, way))) * 1.0001f + 1e-30f;
        }
        rtcInitPointQueryContext(&visit);
        rtcPointQuery(sweep->target->scene, &query, &visit, look_at_triangle, (void *)sweep->target);
        bound = query.radius;
        farthest = fmaxf(farthest, bound);
    }
    sweep->farthest[chunk] = farthest;
}

static double farthest_vertex(const struct target *target, const point *points, size_t count, size_t threads)
{
    size_t chunks = (count + CHUNK - 1) / CHUNK;
    struct sweep sweep = {target, points, count, malloc(chunks * sizeof *sweep.farthest)};
    float farthest = 0;

    tasks_run(threads, chunks, sweep_chunk, &sweep);
    for (size_t chunk = 0; chunk < chunks; chunk++)
        farthest = fmaxf(farthest, sweep.farthest[chunk]);
    free(sweep.farthest);
    return (double)farthest;
}

static point *points_of(const struct peer_mesh *mesh)
{
    point *points = malloc((mesh->vertex_count + 1) * sizeof *points); /* Embree reads 16 bytes at the last */

    for (size_t v = 0; v < mesh->vertex_count; v++)
        points[v] =
            (point){(float)mesh->positions[v][0], (float)mesh->positions[v][1], (float)mesh->positions[v][2]};
    return points;
}

static struct target target_open(RTCDevice device, const struct peer_mesh *mesh, const point *points,
                                 enum RTCBuildQuality quality)
{
    struct target target = {rtcNewScene(device), points, mesh->corners};
    RTCGeometry geometry = rtcNewGeometry(device, RTC_GEOMETRY_TYPE_TRIANGLE);

    rtcSetSharedGeometryBuffer(geometry, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3, points, 0,
                               sizeof *points, mesh->vertex_count);
    rtcSetSharedGeometryBuffer(geometry, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, mesh->corners, 0,
                               sizeof *mesh->corners, mesh->triangle_count);
    rtcSetGeometryBuildQuality(geometry, quality);
    rtcCommitGeometry(geometry);
    rtcAttachGeometry(target.scene, geometry);
    rtcReleaseGeometry(geometry);
    rtcSetSceneBuildQuality(target.scene, quality);
    rtcCommitScene(target.scene);
    return target;
}

int main(int argc, char **argv)
{
    struct peer_mesh subject, reference;
    char settings[32];

    if (argc != 6) {
        fputs("usage: bench-embree SUBJECT REFERENCE THREADS LIMIT low|medium|high\n", stderr);
        return 2;
    }
    enum RTCBuildQuality quality = strcmp(argv[5], "low") == 0    ? RTC_BUILD_QUALITY_LOW
                                   : strcmp(argv[5], "high") == 0 ? RTC_BUILD_QUALITY_HIGH
                                                                  : RTC_BUILD_QUALITY_MEDIUM;
    size_t threads = strtoul(argv[3], NULL, 10);
    peer_mesh_read(argv[1], &subject);
    peer_mesh_read(argv[2], &reference);
    point *subject_points = points_of(&subject), *reference_points = points_of(&reference);
    snprintf(settings, sizeof settings, "threads=%zu", threads);
    RTCDevice device = rtcNewDevice(settings);
    if (!device)
        return 5;

    peer_begin((unsigned)strtoul(argv[4], NULL, 10));
    struct target to_subject = target_open(device, &subject, subject_points, quality);
    struct target to_reference = target_open(device, &reference, reference_points, quality);
    double there = farthest_vertex(&to_reference, subject_points, subject.vertex_count, threads);
    double back = farthest_vertex(&to_subject, reference_points, reference.vertex_count, threads);
    peer_end(there, back);
    return 0;
}
