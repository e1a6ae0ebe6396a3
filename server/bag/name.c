/* name.c - which paths are safe, and percent-encoding in manifests. */
#include "bag/name.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

static bool refuse(const char *path, size_t size, const char *why, struct error *err)
{
    return error_set(err, ERROR_DATA, "the name '%.*s' %s; do not unpack this by hand, ask for it anew",
                     (int)(size < 60 ? size : 60), path, why);
}

/* Why one part of a path is not taken; NULL when it is. */
static const char *part_fault(const char *part, size_t size)
{
    if (size == 0)
        return "holds an empty part";
    if (size <= 2 && strncmp(part, "..", size) == 0)
        return size == 2 ? "leads out of its folder (..)" : "holds a part '.'";
    if (part[0] == ' ' || part[size - 1] == ' ' || part[size - 1] == '.')
        return "has a part that begins or ends with a blank, or ends with a dot, which some systems drop";
    return size > 255 ? "has a part of more than 255 bytes" : NULL;
}

static const char *byte_fault(const char *path, size_t size)
{
    for (size_t i = 0; i < size; i++) {
        unsigned char c = (unsigned char)path[i];
        if (c < 0x20 || c == 0x7f)
            return "holds a control byte, such as a line's end";
        if (c > 0x7f)
            return "holds letters beyond ASCII, which can be written in more than one way";
        if (c == '\\')
            return "holds a backslash, which is a folder's separator elsewhere";
        if (c == ':')
            return "holds a colon, which names a drive elsewhere";
    }
    return NULL;
}

static const char *path_fault(const char *path, size_t size)
{
    const char *fault = byte_fault(path, size);
    if (fault)
        return fault;
    if (size > BAG_PATH_MAX)
        return "is longer than 1,000 bytes";
    if (size && path[0] == '/')
        return "is absolute";
    for (size_t begin = 0; !fault && begin <= size;) {
        const char *slash = memchr(path + begin, '/', size - begin);
        size_t part = slash ? (size_t)(slash - path) - begin : size - begin;
        fault = part_fault(path + begin, part);
        begin += part + 1;
    }
    return fault;
}

bool bag_path_check(const char *path, size_t size, struct error *err)
{
    const char *fault = path_fault(path, size);
    return !fault || refuse(path, size, fault, err);
}

static bool is_plain(unsigned char c)
{
    return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || c == '-' || c == '_'
           || c == '.';
}

void bag_name_safe(const char *name, char *out, size_t out_size)
{
    enum { LONGEST = 80 };
    size_t length = strlen(name), put = 0, most = out_size - 1 < LONGEST ? out_size - 1 : LONGEST;
    if (length > most)
        name += length - most;
    for (; *name && put < most; name++) {
        char c = is_plain((unsigned char)*name) ? *name : '_';
        if (put == 0 && (c == '.' || c == '-'))
            c = '_';
        if (c != '_' || put == 0 || out[put - 1] != '_')
            out[put++] = c;
    }
    while (put > 0 && out[put - 1] == '.')
        put--;
    if (put == 0)
        out[put++] = '_';
    out[put] = '\0';
}

bool bag_path_encode(const char *path, char *out, size_t out_size)
{
    size_t put = 0;
    for (; *path; path++) {
        bool coded = *path == '\r' || *path == '\n' || *path == '%';
        if (put + (coded ? 3 : 1) >= out_size)
            return false;
        if (coded)
            put += (size_t)snprintf(out + put, 4, "%%%02X", (unsigned)(unsigned char)*path);
        else
            out[put++] = *path;
    }
    out[put] = '\0';
    return true;
}

void bag_path_decode(char *path)
{
    char *put = path;
    for (; *path; path++) {
        char c = *path;
        if (c == '%')
            c = strncasecmp(path, "%0D", 3) == 0   ? '\r'
                : strncasecmp(path, "%0A", 3) == 0 ? '\n'
                : strncmp(path, "%25", 3) == 0     ? '%'
                                                   : '\0';
        if (*path == '%' && c)
            path += 2;
        *put++ = c ? c : *path;
    }
    *put = '\0';
}

int bag_path_compare_folded(const char *a, const char *b)
{
    for (;; a++, b++) {
        int x = *a >= 'A' && *a <= 'Z' ? *a + 32 : *a, y = *b >= 'A' && *b <= 'Z' ? *b + 32 : *b;
        if (x != y || !x)
            return x - y;
    }
}
