/* badge.c - a strip: what it is judged by, a shape, the word. */
#include "report/badge.h"

#include "report/text.h"

#include <stdio.h>
#include <stdlib.h>

/* The words' own widths differ by font: textLength makes them what was planned. */
enum { LETTER_WIDTH = 7, LETTERS_MAX = 40, PAD = 8, SHAPE_WIDTH = 14, HEIGHT = 22 };

struct look {
    const char *ink, *ground; /* 4.5 : 1 and more against each other (WCAG 2.2, 1.4.3) */
    const char *shape;        /* a path in a box of 12 by 12 */
};
static const struct look looks[STANDING_COUNT] = {
    [STANDING_BLOCKED] = {"#8a1c12", "#fbe9e6", "M2 2L10 10M10 2L2 10"},
    [STANDING_UNDECIDED] = {"#6b4a00", "#fbf1d8", "M6 1L11 6L6 11L1 6Z"},
    [STANDING_NOT_AUDITED] = {"#3f4650", "#eef0f2", "M6 1.5A4.5 4.5 0 1 1 5.99 1.5Z"},
    [STANDING_NOT_MEASURED] = {"#3f4650", "#eef0f2", "M2 6H10"},
    [STANDING_WAIVED] = {"#0b4f6c", "#e4f1f6", "M2 2H10V10H2ZM2 10L10 2"},
    [STANDING_READY] = {"#14532d", "#e5f3ea", "M1.5 6.5L4.5 9.5L10.5 2.5"},
};

/* Characters of UTF-8 text, at most LETTERS_MAX; *bytes is how many bytes they are. */
static int letters_of(const char *text, int *bytes)
{
    int letters = 0, at = 0;
    while (text[at] && letters < LETTERS_MAX) {
        at++;
        while (((unsigned char)text[at] & 0xc0) == 0x80)
            at++;
        letters++;
    }
    *bytes = at;
    return letters;
}

static void add_part(struct text *text, const char *word, int bytes)
{
    char part[4 * LETTERS_MAX + 1];
    snprintf(part, sizeof part, "%.*s", bytes, word);
    text_add_escaped(text, part);
}

static void add_title(struct text *text, const struct badge *badge)
{
    text_add_escaped(text, badge->of);
    text_add(text, " by ");
    text_add_escaped(text, badge->about);
    text_add(text, ": ");
    text_add(text, standing_word(badge->standing));
    text_add_format(text, " since %.10s", badge->since);
}

bool badge_write(const struct badge *badge, char **text, size_t *size, struct error *err)
{
    const struct look *look = &looks[badge->standing];
    const char *word = standing_word(badge->standing);
    int about_bytes, word_bytes;
    int about = letters_of(badge->about, &about_bytes) * LETTER_WIDTH,
        said = letters_of(word, &word_bytes) * LETTER_WIDTH;
    int middle = about + 2 * PAD, width = middle + PAD + SHAPE_WIDTH + said + PAD;
    struct text out = {0};

    text_add_format(&out,
                    "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"%d\" height=\"%d\" viewBox=\"0 0 %d"
                    " %d\" role=\"img\" aria-labelledby=\"t\">\n<title id=\"t\">",
                    width, HEIGHT, width, HEIGHT);
    add_title(&out, badge);
    text_add_format(&out,
                    "</title>\n<rect x=\".5\" y=\".5\" width=\"%d\" height=\"%d\" fill=\"#fff\""
                    " stroke=\"#8b929b\"/>\n<path d=\"M%d 1H%dV%dH%dZ\" fill=\"%s\"/>\n",
                    width - 1, HEIGHT - 1, middle, width - 1, HEIGHT - 1, middle, look->ground);
    text_add_format(&out,
                    "<path d=\"%s\" transform=\"translate(%d 5)\" fill=\"none\" stroke=\"%s\""
                    " stroke-width=\"2\"/>\n<g font-family=\"ui-sans-serif, system-ui, sans-serif\""
                    " font-size=\"12\">\n",
                    look->shape, middle + PAD, look->ink);
    text_add_format(&out, "<text x=\"%d\" y=\"15\" textLength=\"%d\" fill=\"#22272e\">", PAD, about);
    add_part(&out, badge->about, about_bytes);
    text_add_format(&out,
                    "</text>\n<text x=\"%d\" y=\"15\" textLength=\"%d\" fill=\"%s\" font-weight=\"600\">",
                    middle + PAD + SHAPE_WIDTH + 2, said - 2, look->ink);
    add_part(&out, word, word_bytes);
    text_add(&out, "</text>\n</g>\n</svg>\n");
    if (out.failed) {
        free(out.bytes);
        return error_set(err, ERROR_MACHINE, "memory is out while drawing a badge");
    }
    *text = out.bytes;
    *size = out.size;
    return true;
}
