/* test_address.c
 *   address_*  which addresses lie open to everybody: those of the IANA special-purpose registries do not */
#include "notify/address.h"

#include <arpa/inet.h>
#include <criterion/criterion.h>
#include <netinet/in.h>
#include <string.h>

static bool is_public(const char *text)
{
    struct sockaddr_storage address = {0};
    struct sockaddr_in *four = (struct sockaddr_in *)&address;
    struct sockaddr_in6 *six = (struct sockaddr_in6 *)&address;
    if (inet_pton(AF_INET, text, &four->sin_addr) == 1)
        address.ss_family = AF_INET;
    else if (inet_pton(AF_INET6, text, &six->sin6_addr) == 1)
        address.ss_family = AF_INET6;
    else
        cr_assert_fail("not an address: %s", text);
    return address_is_public((struct sockaddr *)&address);
}

Test(address, address_of_a_special_purpose_block_is_not_public_at_either_end)
{
    static const char *const closed[] = {
        "0.0.0.0",
        "0.255.255.255",
        "10.0.0.0",
        "10.255.255.255",
        "100.64.0.0",
        "100.127.255.255",
        "127.0.0.1",
        "127.255.255.255",
        "169.254.0.0",
        "169.254.169.254",
        "172.16.0.0",
        "172.31.255.255",
        "192.0.0.8",
        "192.0.2.1",
        "192.168.0.0",
        "192.168.255.255",
        "198.18.0.0",
        "198.19.255.255",
        "198.51.100.1",
        "203.0.113.255",
        "224.0.0.1",
        "240.0.0.1",
        "255.255.255.255",
        "::",
        "::1",
        "fe80::1",
        "fc00::1",
        "fdff::1",
        "ff02::1",
        "2001:db8::1",
        "2001::1",
        "100::1",
        "::ffff:10.0.0.1",
        "::ffff:127.0.0.1",
        "64:ff9b::7f00:1",
        "2002:7f00:1::",
        "2002:a00:1::1",
        "3fff::1",
        "5f00::1",
    };
    for (size_t i = 0; i < sizeof closed / sizeof *closed; i++)
        cr_expect_not(is_public(closed[i]), "%s", closed[i]);
}

Test(address, address_beside_such_a_block_is_public)
{
    static const char *const open[] = {
        "1.0.0.0",         "9.255.255.255", "11.0.0.0",     "100.63.255.255",       "100.128.0.0",
        "126.255.255.255", "128.0.0.1",     "169.253.1.1",  "172.15.255.255",       "172.32.0.0",
        "192.167.1.1",     "192.169.0.0",   "198.17.1.1",   "198.20.0.0",           "223.255.255.255",
        "2606:4700::1",    "2a00:1450::1",  "2001:4860::1", "::ffff:93.184.216.34", "64:ff9b::808:808",
        "2002:808:808::1",
    };
    for (size_t i = 0; i < sizeof open / sizeof *open; i++)
        cr_expect(is_public(open[i]), "%s", open[i]);
}

Test(address, address_of_another_family_is_not_public)
{
    struct sockaddr address = {.sa_family = AF_UNIX};
    cr_expect_not(address_is_public(&address));
}
