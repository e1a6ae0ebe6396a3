/* float_bins.h - bins of a histogram that are the upper bits of a float.
 *
 * With `fraction_bits` b there are 2^b bins of equal width to each power of two, in the order of the numbers,
 * whatever their size: bit patterns of floats that are not negative ascend with them (IEEE 754-2019, section
 * 3.4). The sign is left out, so that -0 is in the bin of 0. */
#ifndef MEASURE_FLOAT_BINS_H
#define MEASURE_FLOAT_BINS_H

#include <stddef.h>
#include <stdint.h>
#include <string.h>

#define FLOAT_BINS(fraction_bits) ((size_t)1 << (8 + (fraction_bits)))

/* The bin of a value that is not negative; fraction_bits from 0 to 23. */
static inline size_t float_bin_of(float value, unsigned fraction_bits)
{
    uint32_t bits;

    memcpy(&bits, &value, sizeof bits);
    return (bits & 0x7fffffff) >> (23 - fraction_bits);
}

#endif
