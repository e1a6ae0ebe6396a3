/* etag.c - making and finding entity tags. */
#include "http/etag.h"

#include "base/digest.h"

#include <stdio.h>
#include <string.h>

void etag_of_bytes(const void *bytes, size_t size, char etag[ETAG_SIZE])
{
    struct digest digest;
    char hex[DIGEST_HEX_SIZE];
    digest_begin(&digest);
    digest_add(&digest, bytes, size);
    digest_end(&digest, hex);
    snprintf(etag, ETAG_SIZE, "\"%.32s\"", hex);
}

bool etag_list_has(const char *list, const char *etag, bool weak)
{
    size_t size = strlen(etag);
    const char *at = list + strspn(list, " \t");
    if (*at == '*')
        return at[1 + strspn(at + 1, " \t")] == '\0';
    while (*at) {
        bool is_weak = at[0] == 'W' && at[1] == '/';
        const char *tag = is_weak ? at + 2 : at;
        const char *end = *tag == '"' ? strchr(tag + 1, '"') : NULL;
        if (!end)
            return false;
        end++;
        if ((size_t)(end - tag) == size && !memcmp(tag, etag, size) && (weak || !is_weak))
            return true;
        at = end + strspn(end, " \t");
        if (*at && *at != ',')
            return false;
        at += strspn(at, ", \t");
    }
    return false;
}
