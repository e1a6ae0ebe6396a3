/* digits.h - up to eight decimal digits at once, without a branch for each.
 *
 * Eight characters are one 64-bit word, whose value takes three multiplications: D. Lemire, "Number parsing
 * at a gigabyte per second", Software: Practice and Experience 51(8), 2021. */
#ifndef IO_DIGITS_H
#define IO_DIGITS_H

#include <stdint.h>
#include <string.h>

_Static_assert(__BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__, "the first character must be the lowest byte");

struct digits {
    unsigned count; /* 0 to 8 */
    uint32_t value;
};

/* 10^count for the digits that one step takes. */
static inline uint64_t digits_power(unsigned count)
{
    static const uint32_t powers[9] = {1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000};
    return powers[count];
}

/* The number whose digits are the bytes of word, most significant in the lowest byte. */
static inline uint32_t digits_join(uint64_t word)
{
    word = word * 10 + (word >> 8);
    word = (word & 0x000000ff000000ff) * 0x000f424000000064
           + (word >> 16 & 0x000000ff000000ff) * 0x0000271000000001;
    return (uint32_t)(word >> 32);
}

/* The digits that begin at `at`, where eight bytes can be read. */
static inline struct digits digits_take(const char *at)
{
    uint64_t word;
    memcpy(&word, at, sizeof word);
    word ^= 0x3030303030303030;
    /* bits are set in the first byte that is no digit; a carry can only disturb those behind it */
    uint64_t other = (word | (word + 0x0606060606060606)) & 0xf0f0f0f0f0f0f0f0;
    if (!other)
        return (struct digits){8, digits_join(word)};
    unsigned bits = (unsigned)__builtin_ctzll(other) & 56;                   /* 8 for each digit */
    return (struct digits){bits / 8, digits_join(word << (56 - bits) << 8)}; /* zeros in front */
}

#endif
