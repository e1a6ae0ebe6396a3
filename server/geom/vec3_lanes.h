/* vec3_lanes.h - eight points side by side, by axis; for inner loops, which are compiled once for each kind
 * of vector unit.
 *
 * They are put together in registers: what was just written in parts is slow to read as a whole. */
#ifndef GEOM_VEC3_LANES_H
#define GEOM_VEC3_LANES_H

#include "geom/vec3.h"

#include <string.h>
#if defined(__AVX512VL__)
#include <immintrin.h>
#endif

#define VEC3_LANES 8

#if defined(__AVX512VL__)
/* One point in each half. */
static inline __m512d vec3_pair(const vec3 *one, const vec3 *other)
{
    const __mmask8 all_three = 7;

    return _mm512_insertf64x4(_mm512_castpd256_pd512(_mm256_maskz_loadu_pd(all_three, &one->x)),
                              _mm256_maskz_loadu_pd(all_three, &other->x), 1);
}
#endif

/* Writes VEC3_LANES of each coordinate. */
static inline void vec3_put_lanes(const vec3 *const *p, double *x, double *y, double *z)
{
#if defined(__AVX512VL__)
    const __m512i even = _mm512_setr_epi64(0, 1, 8, 9, 4, 5, 12, 13),
                  odd = _mm512_setr_epi64(2, 3, 10, 11, 6, 7, 14, 15);
    const __m512d pair0 = vec3_pair(p[0], p[4]), pair1 = vec3_pair(p[1], p[5]), pair2 = vec3_pair(p[2], p[6]),
                  pair3 = vec3_pair(p[3], p[7]);
    const __m512d xz01 = _mm512_unpacklo_pd(pair0, pair1), xz23 = _mm512_unpacklo_pd(pair2, pair3),
                  y01 = _mm512_unpackhi_pd(pair0, pair1), y23 = _mm512_unpackhi_pd(pair2, pair3);

    _mm512_storeu_pd(x, _mm512_permutex2var_pd(xz01, even, xz23));
    _mm512_storeu_pd(y, _mm512_permutex2var_pd(y01, even, y23));
    _mm512_storeu_pd(z, _mm512_permutex2var_pd(xz01, odd, xz23));
#else
    typedef double lanes __attribute__((vector_size(VEC3_LANES * sizeof(double))));
    const lanes all_x = {p[0]->x, p[1]->x, p[2]->x, p[3]->x, p[4]->x, p[5]->x, p[6]->x, p[7]->x},
                all_y = {p[0]->y, p[1]->y, p[2]->y, p[3]->y, p[4]->y, p[5]->y, p[6]->y, p[7]->y},
                all_z = {p[0]->z, p[1]->z, p[2]->z, p[3]->z, p[4]->z, p[5]->z, p[6]->z, p[7]->z};

    memcpy(x, &all_x, sizeof all_x);
    memcpy(y, &all_y, sizeof all_y);
    memcpy(z, &all_z, sizeof all_z);
#endif
}

#endif
