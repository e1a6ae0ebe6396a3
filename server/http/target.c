/* target.c - splitting, decoding and checking of request targets. */
#include "http/target.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

static int hex_digit(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return -1;
}

/* Bytes of the UTF-8 sequence at s, 0 when it is not one. */
static size_t utf8_sequence(const unsigned char *s)
{
    size_t more = s[0] < 0x80                   ? 0
                  : s[0] >= 0xc2 && s[0] < 0xe0 ? 1
                  : s[0] >= 0xe0 && s[0] < 0xf0 ? 2
                  : s[0] >= 0xf0 && s[0] < 0xf5 ? 3
                                                : 9;
    if (more == 9)
        return 0;
    for (size_t i = 1; i <= more; i++)
        if ((s[i] & 0xc0) != 0x80)
            return 0;
    bool overlong = (s[0] == 0xe0 && s[1] < 0xa0) || (s[0] == 0xf0 && s[1] < 0x90);
    bool surrogate = s[0] == 0xed && s[1] >= 0xa0;
    bool beyond = s[0] == 0xf4 && s[1] >= 0x90;
    return overlong || surrogate || beyond ? 0 : more + 1;
}

/* RFC 3629: no surrogates, no overlong form, at most U+10FFFF. */
static bool is_utf8(const char *text)
{
    for (const unsigned char *s = (const unsigned char *)text; *s;) {
        size_t size = utf8_sequence(s);
        if (!size)
            return false;
        s += size;
    }
    return true;
}

/* Decodes in place. */
static bool decode(char *text, bool query, struct error *err)
{
    char *out = text;
    for (const char *in = text; *in; in++) {
        char c = *in;
        if (c == '%') {
            int high = hex_digit(in[1]), low = high < 0 ? -1 : hex_digit(in[2]);
            if (low < 0)
                return error_set(err, ERROR_USAGE,
                                 "the address holds a \"%%\" without two hexadecimal digits");
            c = (char)(high * 16 + low);
            in += 2;
        } else if (c == '+' && query) {
            c = ' ';
        }
        bool line_end = c == '\t' || c == '\n' || c == '\r';
        if (((unsigned char)c < 0x20 && !(query && line_end)) || c == 0x7f)
            return error_set(err, ERROR_USAGE, "the address holds a control character");
        *out++ = c;
    }
    *out = '\0';
    if (!is_utf8(text))
        return error_set(err, ERROR_USAGE, "the address is not UTF-8");
    return true;
}

static bool parse_path(char *path, struct target *target, struct error *err)
{
    if (*path != '/')
        return error_set(err, ERROR_USAGE, "the request target must begin with \"/\"");
    if (!path[1])
        return true;
    for (char *segment = path + 1; segment;) {
        char *slash = strchr(segment, '/');
        if (slash)
            *slash = '\0';
        if (target->segment_count == TARGET_SEGMENTS_MAX)
            return error_set(err, ERROR_USAGE, "the path has more than %d parts", TARGET_SEGMENTS_MAX);
        if (!decode(segment, false, err))
            return false;
        if (!strcmp(segment, ".") || !strcmp(segment, "..") || (!*segment && slash))
            return error_set(err, ERROR_USAGE, "the path holds an empty part, \".\" or \"..\"");
        if (strpbrk(segment, "/\\"))
            return error_set(err, ERROR_USAGE, "a part of the path holds a slash or backslash");
        target->segments[target->segment_count++] = segment;
        segment = slash ? slash + 1 : NULL;
    }
    return true;
}

static bool parse_query(char *query, struct target *target, struct error *err)
{
    for (char *pair = query; pair;) {
        char *next = strchr(pair, '&'), *equal;
        if (next)
            *next++ = '\0';
        if (*pair) {
            if (target->parameter_count == TARGET_PARAMETERS_MAX)
                return error_set(err, ERROR_USAGE, "more than %d parameters", TARGET_PARAMETERS_MAX);
            equal = strchr(pair, '=');
            if (equal)
                *equal = '\0';
            char *value = equal ? equal + 1 : pair + strlen(pair);
            if (!decode(pair, true, err) || !decode(value, true, err))
                return false;
            if (!*pair)
                return error_set(err, ERROR_USAGE, "a parameter has no name");
            if (target_parameter(target, pair))
                return error_set(err, ERROR_USAGE, "the parameter \"%s\" is given twice", pair);
            target->parameters[target->parameter_count++] = (struct target_parameter){pair, value};
        }
        pair = next;
    }
    return true;
}

bool target_parse(const char *raw, struct target *target, struct error *err)
{
    memset(target, 0, sizeof *target);
    target->text = strdup(raw);
    if (!target->text)
        return error_set(err, ERROR_MACHINE, "memory is short; try again later");
    char *path = target->text, *query = strchr(path, '?');
    if (query)
        *query++ = '\0';
    size_t scheme = !strncasecmp(path, "http://", 7) ? 7 : !strncasecmp(path, "https://", 8) ? 8 : 0;
    if (scheme) { /* moved down by one, so that a terminator fits between authority and path */
        size_t size = strcspn(path + scheme, "/");
        bool bare = !path[scheme + size];
        memmove(path, path + scheme, size);
        path[size] = '\0';
        target->authority = path;
        path = bare ? path + size + 1 : path + scheme + size;
        if (bare)
            memcpy(path, "/", 2);
    }
    return parse_path(path, target, err) && (!query || parse_query(query, target, err));
}

void target_close(struct target *target)
{
    free(target->text);
    target->text = NULL;
}

const char *target_parameter(const struct target *target, const char *name)
{
    for (size_t i = 0; i < target->parameter_count; i++)
        if (!strcmp(target->parameters[i].name, name))
            return target->parameters[i].value;
    return NULL;
}

static bool is_among(const char *name, const char *names)
{
    size_t size = strlen(name);
    for (const char *at = names; (at = strstr(at, name)) != NULL; at += size)
        if ((at == names || at[-1] == ' ') && (at[size] == ' ' || at[size] == '\0'))
            return true;
    return false;
}

bool target_allows(const struct target *target, const char *names, struct error *err)
{
    for (size_t i = 0; i < target->parameter_count; i++) {
        const char *name = target->parameters[i].name;
        if (strchr(name, ' ') || !is_among(name, names))
            return error_set(err, ERROR_USAGE, "no parameter \"%s\" here%s%s", name,
                             *names ? "; there are: " : "", names);
    }
    return true;
}
