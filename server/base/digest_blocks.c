/* digest_blocks.c - four rounds at a time with SHA256RNDS2, SHA256MSG1 and SHA256MSG2 as the Intel 64 and
 * IA-32 Architectures Software Developer's Manual (volume 2B) defines them. */
#include "base/digest_blocks.h"

#if defined(__x86_64__)
#include <immintrin.h>

/* FIPS 180-4, section 4.2.2. */
static const uint32_t constants[64] = {
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

bool digest_has_blocks(void)
{
    unsigned eax = 7, ebx, ecx = 0, edx;
    if (!__builtin_cpu_supports("sse4.1") || !__builtin_cpu_supports("ssse3"))
        return false;
    __asm__("cpuid"
            : "+a"(eax), "=b"(ebx), "+c"(ecx), "=d"(edx)); /* leaf 7 is there where SSE4.1's users are */
    return ebx >> 29 & 1;
}

/* The instructions keep the state as (f, e, b, a) and (h, g, d, c), lowest lane first. */
__attribute__((target("sha,sse4.1"))) void digest_blocks(uint32_t state[8], const uint8_t *bytes,
                                                         size_t count)
{
    const __m128i big_endian = _mm_set_epi64x(0x0c0d0e0f08090a0b, 0x0405060700010203);
    __m128i badc = _mm_shuffle_epi32(_mm_loadu_si128((const __m128i *)(const void *)state), 0xb1);
    __m128i hgfe = _mm_shuffle_epi32(_mm_loadu_si128((const __m128i *)(const void *)(state + 4)), 0x1b);
    __m128i feba = _mm_alignr_epi8(badc, hgfe, 8), hgdc = _mm_blend_epi16(hgfe, badc, 0xf0);

    for (; count > 0; count--, bytes += 64) {
        __m128i feba_before = feba, hgdc_before = hgdc, words[4];
#pragma GCC unroll 16
        for (size_t i = 0; i < 16; i++) {
            if (i < 4) {
                words[i] = _mm_shuffle_epi8(_mm_loadu_si128((const __m128i *)(const void *)(bytes + 16 * i)),
                                            big_endian);
            } else {
                __m128i last = words[(i + 3) & 3];
                __m128i sum = _mm_add_epi32(_mm_sha256msg1_epu32(words[i & 3], words[(i + 1) & 3]),
                                            _mm_alignr_epi8(last, words[(i + 2) & 3], 4));
                words[i & 3] = _mm_sha256msg2_epu32(sum, last);
            }
            __m128i input = _mm_add_epi32(
                words[i & 3], _mm_loadu_si128((const __m128i *)(const void *)(constants + 4 * i)));
            hgdc = _mm_sha256rnds2_epu32(hgdc, feba, input);
            feba = _mm_sha256rnds2_epu32(feba, hgdc, _mm_shuffle_epi32(input, 0x0e));
        }
        feba = _mm_add_epi32(feba, feba_before);
        hgdc = _mm_add_epi32(hgdc, hgdc_before);
    }
    __m128i abef = _mm_shuffle_epi32(feba, 0x1b), ghcd = _mm_shuffle_epi32(hgdc, 0xb1);
    _mm_storeu_si128((__m128i *)(void *)state, _mm_blend_epi16(abef, ghcd, 0xf0));
    _mm_storeu_si128((__m128i *)(void *)(state + 4), _mm_alignr_epi8(ghcd, abef, 8));
}

#else

bool digest_has_blocks(void)
{
    return false;
}

void digest_blocks(uint32_t state[8], const uint8_t *bytes, size_t count)
{
    (void)state, (void)bytes, (void)count;
}

#endif
