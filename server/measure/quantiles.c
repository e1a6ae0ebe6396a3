/* quantiles.c - selection by counting leading bits. */
#include "measure/quantiles.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* Of a digit; fewer for few values, so that counting them costs no more than looking at them. */
enum { DIGIT_BITS_MANY = 16, DIGIT_BITS_FEW = 12, FEW = 1 << 16, SMALL = 48 };

struct digits {
    unsigned bits;
    size_t count; /* of the values that a digit has */
    uint32_t *histogram;
};

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

/* The key of that rank among keys, which are reordered, and whose first digit is the same. */
static uint64_t select_key(uint64_t *keys, size_t count, size_t rank, const struct digits *digits)
{
    unsigned shift = 64 - digits->bits;

    while (count > SMALL) {
        size_t kept = 0;
        if (shift == 0) /* all that are left are equal */
            return keys[0];
        shift = shift > digits->bits ? shift - digits->bits : 0;
        memset(digits->histogram, 0, digits->count * sizeof *digits->histogram);
        for (size_t i = 0; i < count; i++)
            digits->histogram[keys[i] >> shift & (digits->count - 1)]++;
        size_t digit = digit_of_rank(digits->histogram, &rank);
        for (size_t i = 0; i < count; i++)
            if ((keys[i] >> shift & (digits->count - 1)) == digit)
                keys[kept++] = keys[i];
        count = kept;
    }
    sort_small(keys, count);
    return keys[rank];
}

/* A rank that is wanted, its leading digit, and the rank within that digit's bucket. */
struct wanted {
    size_t rank, digit;
};

/* The buckets that are wanted, gathered in one pass: bucket b is keys[begin[b]] .. keys[begin[b + 1]]. */
enum { BUCKETS_MAX = ORDER_STATISTICS_MAX, SHARES_MAX = BUCKETS_MAX / 2 };
struct gathered {
    size_t count;
    size_t digits[BUCKETS_MAX], begin[BUCKETS_MAX + 1], largest;
    uint64_t *keys;
};

static size_t bucket_of(struct gathered *gathered, size_t digit, size_t size)
{
    size_t b = 0;
    while (b < gathered->count && gathered->digits[b] != digit)
        b++;
    if (b == gathered->count) {
        gathered->digits[b] = digit;
        gathered->begin[b + 1] = gathered->begin[b] + size;
        gathered->largest = size > gathered->largest ? size : gathered->largest;
        gathered->count++;
    }
    return b;
}

/* A key of no wanted bucket is written behind all others and stays not counted. */
static void gather(const double *values, size_t count, const struct digits *digits, uint8_t *bucket_of_digit,
                   struct gathered *gathered)
{
    size_t at[BUCKETS_MAX + 1], step[BUCKETS_MAX + 1];
    memset(bucket_of_digit, 0, digits->count);
    at[0] = gathered->begin[gathered->count];
    step[0] = 0;
    for (size_t b = 0; b < gathered->count; b++) {
        bucket_of_digit[gathered->digits[b]] = (uint8_t)(b + 1);
        at[b + 1] = gathered->begin[b];
        step[b + 1] = 1;
    }
    for (size_t i = 0; i < count; i++) {
        uint64_t key = key_of(values[i]);
        size_t b = bucket_of_digit[key >> (64 - digits->bits)];
        gathered->keys[at[b]] = key;
        at[b] += step[b];
    }
}

bool order_statistics(const double *values, size_t count, const size_t *ranks, size_t rank_count, double *out,
                      struct arena scratch, struct error *err)
{
    const unsigned bits = count < FEW ? DIGIT_BITS_FEW : DIGIT_BITS_MANY;
    const struct digits digits = {bits, (size_t)1 << bits, ARENA_ZERO(&scratch, uint32_t, (size_t)1 << bits)};
    uint8_t *bucket_of_digit = ARENA_NEW(&scratch, uint8_t, digits.count);
    struct gathered gathered = {.count = 0};
    struct wanted wanted[BUCKETS_MAX];

    assert(rank_count <= BUCKETS_MAX);
    if (scratch.failed)
        return arena_error(err);
    for (size_t i = 0; i < count; i++)
        digits.histogram[key_of(values[i]) >> (64 - bits)]++;
    for (size_t w = 0; w < rank_count; w++) {
        assert(ranks[w] < count);
        wanted[w].rank = ranks[w];
        wanted[w].digit = digit_of_rank(digits.histogram, &wanted[w].rank);
        bucket_of(&gathered, wanted[w].digit, digits.histogram[wanted[w].digit]);
    }
    gathered.keys = ARENA_NEW(&scratch, uint64_t, gathered.begin[gathered.count] + 1);
    uint64_t *keys = ARENA_NEW(&scratch, uint64_t, gathered.largest);
    if (scratch.failed)
        return arena_error(err);
    gather(values, count, &digits, bucket_of_digit, &gathered);
    for (size_t w = 0; w < rank_count; w++) {
        size_t b = bucket_of(&gathered, wanted[w].digit, 0);
        size_t size = gathered.begin[b + 1] - gathered.begin[b];
        memcpy(keys, gathered.keys + gathered.begin[b], size * sizeof *keys);
        out[w] = value_of(select_key(keys, size, wanted[w].rank, &digits));
    }
    return true;
}

bool quantiles(const double *values, size_t count, const double *shares, size_t share_count, double *out,
               struct arena scratch, struct error *err)
{
    size_t ranks[BUCKETS_MAX];
    double found[BUCKETS_MAX] = {0};

    assert(share_count <= SHARES_MAX);
    for (size_t s = 0; s < share_count && count == 0; s++)
        out[s] = NAN;
    if (count == 0)
        return true;
    for (size_t w = 0; w < 2 * share_count; w++) {
        size_t rank = (size_t)((double)(count - 1) * shares[w / 2]) + w % 2;
        ranks[w] = rank < count ? rank : count - 1;
    }
    if (!order_statistics(values, count, ranks, 2 * share_count, found, scratch, err))
        return false;
    for (size_t s = 0; s < share_count; s++) {
        double place = (double)(count - 1) * shares[s];
        double part = place - (double)(size_t)place;
        out[s] = found[2 * s] + (part > 0 ? part * (found[2 * s + 1] - found[2 * s]) : 0);
    }
    return true;
}
