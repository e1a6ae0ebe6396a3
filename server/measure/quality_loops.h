/* quality_loops.h - the inner loops themselves; included once by each quality_kernels_*.c, and by nothing
 * else. */
#include "measure/quality_kernels.h"
#include "measure/triangle_values.h"

/* What squares of lengths are between where they are told as they are (face_geometry.h). */
#define LEAST_SQ 0x1p-480
#define MOST_SQ 0x1p480

static inline vec3 corner_of(const struct quality_corners *corners, int k, int lane)
{
    return (vec3){corners->x[k][lane], corners->y[k][lane], corners->z[k][lane]};
}

/* values: [metric][lane]. 1 where the lane's lengths are in range, else 0. */
static inline double put_lane(const struct quality_corners *corners, int lane,
                              double (*restrict values)[QUALITY_LANES])
{
    struct triangle_sides sides;
    double squares[3], found[TRIANGLE_METRIC_COUNT];

    for (int k = 0; k < 3; k++) {
        sides.edge[k] = vec3_sub(corner_of(corners, (k + 1) % 3, lane), corner_of(corners, k, lane));
        squares[k] = vec3_length_sq(sides.edge[k]);
        sides.length[k] = sqrt(squares[k]);
    }
    double area_sq = vec3_length_sq(cross_of_shorter(&sides));
    sides.twice_area = sqrt(area_sq);
    put_values(&sides, found);
    found[TRIANGLE_AREA] = sides.twice_area / 2;
    for (int m = 0; m < TRIANGLE_METRIC_COUNT; m++)
        values[m][lane] = found[m];
    return (smaller(least_of(squares), area_sq) > LEAST_SQ) & (most_of(squares) < MOST_SQ) ? 1 : 0;
}

static bool triangles(const struct quality_corners *corners, double (*restrict values)[QUALITY_LANES])
{
    double fit[QUALITY_LANES], all = 1;

    for (int lane = 0; lane < QUALITY_LANES; lane++)
        fit[lane] = put_lane(corners, lane, values);
    for (int lane = 0; lane < QUALITY_LANES; lane++)
        all = smaller(all, fit[lane]);
    return all > 0;
}

const struct quality_kernels QUALITY_KERNELS = {QUALITY_KERNELS_NAME, triangles};
