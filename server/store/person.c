/* person.c - when two names are one person's, as far as letters tell. */
#include "store/signoffs.h"

#include "store/inside.h"

#include <string.h>

/* Every second one is the small letter of the one before. */
static bool in_pairs(uint32_t point, bool *capital_is_odd)
{
    *capital_is_odd = (point >= 0x139 && point <= 0x148) || (point >= 0x179 && point <= 0x17e);
    return *capital_is_odd || (point >= 0x100 && point <= 0x137 && point != 0x130 && point != 0x131)
           || (point >= 0x14a && point <= 0x177) || (point >= 0x218 && point <= 0x21f)
           || (point >= 0x460 && point <= 0x481) || (point >= 0x48a && point <= 0x4bf)
           || (point >= 0x4d0 && point <= 0x52f) || (point >= 0x1e00 && point <= 0x1e95)
           || (point >= 0x1ea0 && point <= 0x1eff);
}

/* The Unicode Standard, CaseFolding.txt, status C and S, of the blocks from Basic Latin to Cyrillic, and of
 * Latin Extended Additional. */
static uint32_t fold(uint32_t point)
{
    bool capital_is_odd;
    if ((point >= 'A' && point <= 'Z') || (point >= 0xc0 && point <= 0xde && point != 0xd7)
        || (point >= 0x391 && point <= 0x3ab && point != 0x3a2) || (point >= 0x410 && point <= 0x42f))
        return point + 0x20;
    if (point >= 0x400 && point <= 0x40f)
        return point + 0x50;
    if (in_pairs(point, &capital_is_odd))
        return (point & 1) == capital_is_odd ? point + 1 : point;
    switch (point) {
    case 0x178:
        return 0xff;
    case 0x386:
        return 0x3ac;
    case 0x388:
    case 0x389:
    case 0x38a:
        return point + 0x25;
    case 0x38c:
        return 0x3cc;
    case 0x38e:
    case 0x38f:
        return point + 0x3f;
    case 0x3c2:
        return 0x3c3; /* the sigma at a word's end */
    default:
        return point;
    }
}

/* White_Space of the Unicode Standard, and what has no width at all. */
static bool is_blank(uint32_t point)
{
    return (point >= 0x09 && point <= 0x0d) || point == 0x20 || point == 0x85 || point == 0xa0
           || point == 0xad || point == 0x1680 || (point >= 0x2000 && point <= 0x200f)
           || (point >= 0x2028 && point <= 0x202f) || (point >= 0x205f && point <= 0x2064) || point == 0x3000
           || point == 0xfeff;
}

/* Of UTF-8; what is none gives some other point, and never reads past the end. */
static uint32_t take_point(const unsigned char **at)
{
    const unsigned char *text = *at;
    int more = text[0] < 0x80 ? 0 : text[0] < 0xe0 ? 1 : text[0] < 0xf0 ? 2 : 3;
    uint32_t point = more == 0 ? text[0] : text[0] & (0x3fu >> more);
    for (int i = 1; i <= more && text[i]; i++)
        point = point << 6 | (text[i] & 0x3f);
    *at += 1 + more;
    return point;
}

static char *put_point(char *out, uint32_t point)
{
    if (point < 0x80) {
        *out++ = (char)point;
        return out;
    }
    static const uint32_t lead[] = {0, 0xc0, 0xe0, 0xf0};
    int more = point < 0x800 ? 1 : point < 0x10000 ? 2 : 3;
    *out++ = (char)(lead[more] | point >> (6 * more));
    for (int i = more - 1; i >= 0; i--)
        *out++ = (char)(0x80 | (point >> (6 * i) & 0x3f));
    return out;
}

const char *store_person(const char *name, struct arena *keep)
{
    size_t size = strlen(name);
    char *person = ARENA_NEW(keep, char, size + 1), *out = person; /* no folded letter is longer */
    const unsigned char *at = (const unsigned char *)name, *end = at + size;
    if (!person)
        return NULL;
    while (at < end) {
        uint32_t point = take_point(&at);
        if (!is_blank(point))
            out = put_point(out, fold(point));
    }
    *out = '\0';
    return person;
}
