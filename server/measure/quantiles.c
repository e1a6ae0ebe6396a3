/* quantiles.c - selection by counting leading bits. */
#include "measure/quantiles.h"

#include <math.h>
#include <string.h>

enum { DIGIT_BITS = 16, DIGIT_COUNT = 1 << DIGIT_BITS, SMALL = 48 };

/* Bits that order as the numbers do: negative ones reversed, positive ones above them; -0 is taken as 0. */
static uint64_t key_of(double value)
{
    uint64_t bits;
    value += 0.0;
    memcpy(&bits, &value, sizeof bits);
    return bits >> 63 ? ~bits : bits | (uint64_t)1 << 63;
}

static double value_of(uint64_t key)
{
    uint64_t bits = key >> 63 ? key & ~((uint64_t)1 << 63) : ~key;
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static void sort_small(uint64_t *keys, size_t count)
{
    for (size_t i = 1; i < count; i++) {
        uint64_t key = keys[i];
        size_t j = i;
        for (; j > 0 && keys[j - 1] > key; j--)
            keys[j] = keys[j - 1];
        keys[j] = key;
    }
}

/* The digit in which the element of that rank lies; takes off rank what lies below it. */
static size_t digit_of_rank(const uint32_t *histogram, size_t *rank)
{
    size_t digit = 0;
    while (*rank >= histogram[digit])
        *rank -= histogram[digit++];
    return digit;
}

/* The key of that rank among keys, which are reordered; histogram has DIGIT_COUNT places. shift is of the
 * digit that still tells them apart. */
static uint64_t select_key(uint64_t *keys, size_t count, size_t rank, unsigned shift, uint32_t *histogram)
{
    while (count > SMALL) {
        size_t kept = 0;
        memset(histogram, 0, DIGIT_COUNT * sizeof *histogram);
        for (size_t i = 0; i < count; i++)
            histogram[keys[i] >> shift & (DIGIT_COUNT - 1)]++;
        size_t digit = digit_of_rank(histogram, &rank);
        for (size_t i = 0; i < count; i++)
            if ((keys[i] >> shift & (DIGIT_COUNT - 1)) == digit)
                keys[kept++] = keys[i];
        count = kept;
        if (shift == 0) /* all that are left are equal */
            return keys[0];
        shift -= DIGIT_BITS;
    }
    sort_small(keys, count);
    return keys[rank];
}

struct selection {
    const double *values;
    size_t count;
    const uint32_t *leading; /* histogram of the leading digit of all values */
    uint32_t *histogram;
    uint64_t *keys; /* [count] room to gather one bucket */
};

static double order_statistic(const struct selection *selection, size_t rank)
{
    const unsigned shift = 64 - DIGIT_BITS;
    size_t gathered = 0;
    size_t digit = digit_of_rank(selection->leading, &rank);
    for (size_t i = 0; i < selection->count; i++) {
        uint64_t key = key_of(selection->values[i]);
        selection->keys[gathered] = key; /* overwritten unless it belongs */
        gathered += key >> shift == digit;
    }
    return value_of(select_key(selection->keys, gathered, rank, shift - DIGIT_BITS, selection->histogram));
}

bool quantiles(const double *values, size_t count, const double *shares, size_t share_count, double *out,
               struct arena scratch, struct error *err)
{
    uint32_t *leading = ARENA_ZERO(&scratch, uint32_t, DIGIT_COUNT);
    uint32_t *histogram = ARENA_NEW(&scratch, uint32_t, DIGIT_COUNT);
    uint64_t *keys = ARENA_NEW(&scratch, uint64_t, count + 1);
    if (scratch.failed)
        return arena_error(err);
    struct selection selection = {values, count, leading, histogram, keys};
    for (size_t i = 0; i < count; i++)
        leading[key_of(values[i]) >> (64 - DIGIT_BITS)]++;
    for (size_t s = 0; s < share_count; s++) {
        if (count == 0) {
            out[s] = NAN;
            continue;
        }
        double place = (double)(count - 1) * shares[s];
        size_t below = (size_t)place;
        double part = place - (double)below;
        out[s] = order_statistic(&selection, below);
        if (part > 0)
            out[s] += part * (order_statistic(&selection, below + 1) - out[s]);
    }
    return true;
}
