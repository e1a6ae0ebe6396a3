/* address.h - which addresses of the network lie open to everybody.
 *
 * The rest are those that the IANA IPv4 and IPv6 Special-Purpose Address Registries (RFC 6890) say are not
 * globally reachable, multicast, and IPv6 forms that wrap such an IPv4 address. */
#ifndef NOTIFY_ADDRESS_H
#define NOTIFY_ADDRESS_H

#include <stdbool.h>
#include <sys/socket.h>

/* False for families other than IPv4 and IPv6. */
bool address_is_public(const struct sockaddr *address);

#endif
