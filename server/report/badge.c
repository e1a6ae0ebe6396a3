/* badge.c - a strip: what it is judged by, a shape, the word. */
#include "report/badge.h"

#include "report/text.h"

#include <stdio.h>
#include <stdlib.h>

/* The words' own widths differ by font: textLength makes them what was planned. */
enum { LETTER_WIDTH = 7, LETTERS_MAX = 40, PAD = 8, SHAPE_WIDTH = 14, HEIGHT = 22 };

struct look {
    const char *ink, *ground; /* 4.5 : 1 and more against each other (WCAG 2.2, 1.4.3) */
    const char *shape; /* in a box of 12 by 12, as static/index.html has them: round is in order, square
                          is not, a lozenge is not known; filled is judged, hollow is not judged yet */
};
#define HOLLOW "fill=\"none\" stroke=\"currentColor\" stroke-width=\"1.4\""
#define CUT "fill=\"none\" stroke=\"#fff\" stroke-width=\"1.5\""
static const struct look looks[STANDING_COUNT] = {
    [STANDING_BLOCKED] = {"#8a1c12", "#fbe9e6",
                          "<path d=\"M.8.8h10.4v10.4H.8z\" fill=\"currentColor\"/>"
                          "<path d=\"m3.7 3.7 4.6 4.6M8.3 3.7 3.7 8.3\" " CUT "/>"},
    [STANDING_UNDECIDED] = {"#6b4a00", "#fbf1d8",
                            "<path d=\"M6 .9 11.1 6 6 11.1.9 6z\" " HOLLOW "/>"
                            "<path d=\"M6 .9v10.2L.9 6z\" fill=\"currentColor\"/>"},
    [STANDING_NOT_AUDITED] = {"#3f4650", "#eef0f2", "<path d=\"M6 1 11 6 6 11 1 6z\" " HOLLOW "/>"},
    [STANDING_NOT_MEASURED] = {"#3f4650", "#eef0f2",
                               "<path d=\"M6 1 11 6 6 11 1 6z\" stroke-dasharray=\"2 1.5\" " HOLLOW "/>"},
    [STANDING_WAIVED] = {"#14532d", "#e5f3ea",
                         "<circle cx=\"6\" cy=\"6\" r=\"4.9\" " HOLLOW "/>"
                         "<path d=\"M3.4 6.2 5.3 8.1l3.4-3.8\" " HOLLOW "/>"},
    [STANDING_READY] = {"#14532d", "#e5f3ea",
                        "<circle cx=\"6\" cy=\"6\" r=\"5.5\" fill=\"currentColor\"/>"
                        "<path d=\"M3.4 6.2 5.3 8.1l3.4-3.8\" " CUT "/>"},
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
    text_add_format(&out, "<g transform=\"translate(%d 5)\" color=\"%s\">%s</g>\n", middle + PAD, look->ink,
                    look->shape);
    text_add(&out, "<g font-family=\"ui-sans-serif, system-ui, sans-serif\" font-size=\"12\">\n");
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
