/* text.c - what text.h promises and no hot loop needs: words, quotes, refusals, UTF-8. */
#include "io/text.h"

#include <string.h>

bool text_is_word(const char *at, const char *word_end, const char *lower)
{
    while (at < word_end && *lower) {
        char c = *at++;
        if (c >= 'A' && c <= 'Z')
            c = (char)(c - 'A' + 'a');
        if (c != *lower++)
            return false;
    }
    return at == word_end && !*lower;
}

struct text_quote text_quote(const char *at, const char *end)
{
    struct text_quote quote;
    const char *word_end = text_word_end(at, end);
    size_t length = (size_t)(word_end - at), kept = length < 32 ? length : 32;

    for (size_t i = 0; i < kept; i++)
        quote.text[i] = at[i] > 0x20 && at[i] < 0x7f ? at[i] : '?';
    strcpy(quote.text + kept, length > kept ? "..." : "");
    return quote;
}

static bool names_no_number(const char *at, const char *end)
{
    static const char *const words[] = {"nan", "inf", "infinity", "nan(ind)", "1.#inf", "1.#ind", "1.#qnan"};
    if (at < end && (*at == '-' || *at == '+'))
        at++;
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (text_is_word(at, end, words[i]))
            return true;
    return false;
}

bool text_is_not_finite(const char *at, const char *word_end)
{
    double value;
    return names_no_number(at, word_end)
           || (number_parse(at, word_end, &value) == word_end && !(fabs(value) <= DBL_MAX));
}

bool text_refuse_number(const struct source *source, const char *at, const char *what, struct error *err)
{
    const char *end = text_word_end(at, source->end);
    struct text_quote quote = text_quote(at, source->end);
    size_t line = source_line(source, at);

    if (at == end)
        return error_set_line(err, ERROR_SYNTAX, source->format, line,
                              "%s is missing here; the file may be cut short: export it again", what);
    if (*at == '\\')
        return error_set_line(err, ERROR_SYNTAX, source->format, line,
                              "a backslash continues the line, but nothing follows; export the file again");
    if (names_no_number(at, end))
        return error_set_line(err, ERROR_DATA, source->format, line,
                              "%s is '%s', not a finite number; remove or mend that place", what, quote.text);
    if (end - at > TEXT_NUMBER_MAX)
        return error_set_line(err, ERROR_LIMIT, source->format, line,
                              "%s has more than %d characters; write at most 17 significant digits", what,
                              TEXT_NUMBER_MAX);
    if (text_is_not_finite(at, end))
        return error_set_line(err, ERROR_DATA, source->format, line,
                              "%s is '%s', beyond the largest double; scale the mesh", what, quote.text);
    return error_set_line(
        err, ERROR_SYNTAX, source->format, line, "%s is '%s', not a number%s", what, quote.text,
        memchr(at, ',', (size_t)(end - at)) ? "; write decimal points, not commas"
                                            : "; write decimal numbers such as -0.25 or 1e-3");
}

/* Length of the well-formed sequence at at, 0 when there is none. */
static size_t utf8_sequence(const unsigned char *at, const unsigned char *end)
{
    size_t length = at[0] < 0x80   ? 1
                    : at[0] < 0xc2 ? 0
                    : at[0] < 0xe0 ? 2
                    : at[0] < 0xf0 ? 3
                    : at[0] < 0xf5 ? 4
                                   : 0;
    if (length == 0 || (size_t)(end - at) < length)
        return 0;
    for (size_t i = 1; i < length; i++)
        if ((at[i] & 0xc0) != 0x80)
            return 0;
    if ((at[0] == 0xe0 && at[1] < 0xa0) || (at[0] == 0xed && at[1] > 0x9f) || (at[0] == 0xf0 && at[1] < 0x90)
        || (at[0] == 0xf4 && at[1] > 0x8f))
        return 0;
    return length;
}

bool text_is_utf8(const char *at, const char *end)
{
    const unsigned char *p = (const unsigned char *)at, *stop = (const unsigned char *)end;
    while (p < stop) {
        size_t length = utf8_sequence(p, stop);
        if (length == 0)
            return false;
        p += length;
    }
    return true;
}

bool text_copy_utf8(const char *name, char *out, size_t out_size)
{
    const unsigned char *p = (const unsigned char *)name, *end = p + strlen(name);
    bool well_formed = true;
    size_t used = 0;

    while (p < end) {
        size_t length = utf8_sequence(p, end);
        size_t taken = length ? length : 1, added = length ? length : 3;
        if (used + added >= out_size)
            break;
        memcpy(out + used, length ? (const char *)p : "\xef\xbf\xbd", added);
        well_formed = well_formed && length;
        used += added;
        p += taken;
    }
    out[used] = '\0';
    return well_formed;
}

void text_check_name(const struct source *source, const char *at, const char *end)
{
    if (!text_is_utf8(at, end))
        warning_add(&source->file->warnings, "name_not_utf8", 1,
                    "names of groups, objects or solids in the file are not UTF-8; they are not used");
}
