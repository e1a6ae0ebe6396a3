/* url.c - the few parts of RFC 3986 that matter here; the library that sends reads the rest. */
#include "notify/url.h"

#include <string.h>
#include <strings.h>

bool url_check(const char *url, struct error *err)
{
    size_t scheme = strncasecmp(url, "https://", 8) == 0 ? 8 : strncasecmp(url, "http://", 7) == 0 ? 7 : 0;
    if (!scheme)
        return error_set(err, ERROR_USAGE, "\"url\" must begin with https:// or http://");
    for (const char *at = url; *at; at++)
        if (*at <= ' ' || *at > '~' || strchr("\"<>\\^`{|}", *at))
            return error_set(err, ERROR_USAGE,
                             "\"url\" holds a character that must be percent-encoded, byte %zu",
                             (size_t)(at - url) + 1);
    const char *authority = url + scheme;
    size_t size = strcspn(authority, "/?#");
    if (size == 0 || *authority == ':')
        return error_set(err, ERROR_USAGE, "\"url\" names no host");
    if (memchr(authority, '@', size))
        return error_set(err, ERROR_USAGE, "\"url\" must not hold a user name or password: lists show it");
    if (strchr(url, '#'))
        return error_set(err, ERROR_USAGE, "\"url\" must not have a fragment (#...): it is never sent");
    return true;
}
