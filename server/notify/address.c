/* address.c - tables of prefixes. */
#include "notify/address.h"

#include <netinet/in.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

struct prefix4 {
    uint32_t address;
    int bits;
};
#define V4(a, b, c, d) ((uint32_t)(a) << 24 | (uint32_t)(b) << 16 | (uint32_t)(c) << 8 | (uint32_t)(d))

static const struct prefix4 closed4[] = {
    {V4(0, 0, 0, 0), 8},       /* this network */
    {V4(10, 0, 0, 0), 8},      /* private use */
    {V4(100, 64, 0, 0), 10},   /* shared address space */
    {V4(127, 0, 0, 0), 8},     /* loopback */
    {V4(169, 254, 0, 0), 16},  /* link local */
    {V4(172, 16, 0, 0), 12},   /* private use */
    {V4(192, 0, 0, 0), 24},    /* protocol assignments */
    {V4(192, 0, 2, 0), 24},    /* documentation */
    {V4(192, 88, 99, 0), 24},  /* 6to4 relays, deprecated */
    {V4(192, 168, 0, 0), 16},  /* private use */
    {V4(198, 18, 0, 0), 15},   /* benchmarking */
    {V4(198, 51, 100, 0), 24}, /* documentation */
    {V4(203, 0, 113, 0), 24},  /* documentation */
    {V4(224, 0, 0, 0), 3},     /* multicast, reserved, broadcast */
};

static bool is_public4(uint32_t address)
{
    for (size_t i = 0; i < sizeof closed4 / sizeof *closed4; i++)
        if ((address ^ closed4[i].address) >> (32 - closed4[i].bits) == 0)
            return false;
    return true;
}

static uint32_t inner4(const uint8_t *bytes)
{
    return V4(bytes[0], bytes[1], bytes[2], bytes[3]);
}

static bool begins(const uint8_t bytes[16], const char *prefix, size_t size)
{
    return memcmp(bytes, prefix, size) == 0;
}

/* Of IPv6, 2000::/3 is what is given out for the open network; within it are some that are not, and forms
 * that wrap IPv4. */
static bool is_public6(const uint8_t bytes[16])
{
    static const char mapped[12] = "\0\0\0\0\0\0\0\0\0\0\xff\xff", nat64[12] = "\0\x64\xff\x9b";
    if (begins(bytes, mapped, 12) || begins(bytes, nat64, 12))
        return is_public4(inner4(bytes + 12));
    if (begins(bytes, "\x20\x02", 2)) /* 6to4 */
        return is_public4(inner4(bytes + 2));
    if (bytes[0] >> 5 != 1)
        return false;
    return !begins(bytes, "\x20\x01\x0d\xb8", 4)                  /* documentation */
           && !begins(bytes, "\x3f\xff", 2)                       /* documentation */
           && !(begins(bytes, "\x20\x01", 2) && bytes[2] < 0x02); /* 2001::/23, protocol assignments */
}

bool address_is_public(const struct sockaddr *address)
{
    if (address->sa_family == AF_INET)
        return is_public4(ntohl(((const struct sockaddr_in *)(const void *)address)->sin_addr.s_addr));
    if (address->sa_family == AF_INET6)
        return is_public6(((const struct sockaddr_in6 *)(const void *)address)->sin6_addr.s6_addr);
    return false;
}
