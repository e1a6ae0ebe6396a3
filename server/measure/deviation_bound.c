/* deviation_bound.c - the matrix game over the nearest faces, by its candidate weights. */
#include "measure/deviation_bound.h"

#include <math.h>

/* max over corners of the weighted distances; weights are made to sum to 1, negative ones refused. */
static double mixed(double distances[][3], const size_t *faces, const double *weights, size_t count)
{
    double sum = 0, worst = 0;

    for (size_t k = 0; k < count; k++) {
        if (!(weights[k] >= 0))
            return INFINITY;
        sum += weights[k];
    }
    if (!(sum > 0) || !isfinite(sum))
        return INFINITY;
    for (int i = 0; i < 3; i++) {
        double value = 0;
        for (size_t k = 0; k < count; k++)
            value += weights[k] / sum * distances[faces[k]][i];
        worst = fmax(worst, value);
    }
    return worst;
}

/* Two faces: the optimum makes two corners equal. */
static double mix_two(double distances[][3], size_t a, size_t b)
{
    const size_t faces[2] = {a, b};
    double best = INFINITY;

    for (int i = 0; i < 3; i++) {
        int j = (i + 1) % 3;
        double towards_a = distances[b][j] - distances[b][i], towards_b = distances[a][i] - distances[a][j];
        const double sign = towards_a + towards_b < 0 ? -1 : 1,
                     weights[2] = {sign * towards_a, sign * towards_b};
        best = fmin(best, mixed(distances, faces, weights, 2));
    }
    return best;
}

/* Three faces: weights that make all three corners equal, by Cramer's rule. */
static double mix_three(double distances[][3], size_t a, size_t b, size_t c)
{
    const size_t faces[3] = {a, b, c};
    double rise[3][2], weights[3];

    for (int k = 0; k < 3; k++) {
        rise[k][0] = distances[faces[k]][1] - distances[faces[k]][0];
        rise[k][1] = distances[faces[k]][2] - distances[faces[k]][0];
    }
    for (int k = 0; k < 3; k++) { /* weights orthogonal to both rises: their cross product */
        int l = (k + 1) % 3, m = (k + 2) % 3;
        weights[k] = rise[l][0] * rise[m][1] - rise[l][1] * rise[m][0];
    }
    if (weights[0] + weights[1] + weights[2] < 0)
        for (int k = 0; k < 3; k++)
            weights[k] = -weights[k];
    return mixed(distances, faces, weights, 3);
}

double bound_by_faces(double distances[][3], size_t face_count)
{
    double best = INFINITY;

    for (size_t a = 0; a < face_count; a++) {
        best = fmin(best, fmax(distances[a][0], fmax(distances[a][1], distances[a][2])));
        for (size_t b = a + 1; b < face_count; b++) {
            best = fmin(best, mix_two(distances, a, b));
            for (size_t c = b + 1; c < face_count; c++)
                best = fmin(best, mix_three(distances, a, b, c));
        }
    }
    return best;
}

double bound_by_way(const vec3 *corners, const double *distances)
{
    double best = INFINITY;

    for (int i = 0; i < 3; i++) {
        double way = fmax(vec3_distance(corners[i], corners[(i + 1) % 3]),
                          vec3_distance(corners[i], corners[(i + 2) % 3]));
        best = fmin(best, distances[i] + way);
    }
    return best;
}
