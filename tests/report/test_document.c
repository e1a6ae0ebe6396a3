/* test_document.c
 *   html_*  every text escaped, nothing that asks for anything
 *   pdf_*   the same bytes twice; what may stand in a name; a font that is missing */
#include "report/html.h"
#include "report/pdf.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* 200 letters without a blank, quotes and markup, right to left, a turn of direction, no glyph, not UTF-8. */
#define LONG "ABCDEFGHIJKLMNOPQRSTUVWXYZABCDEFGHIJKLMNOPQRSTUVWX"
static const char *const hostile[] = {LONG LONG LONG LONG,
                                      "<script>alert(\"x\")</script>'\"><img src=x onerror=y>&amp;",
                                      "\xd7\xa9\xd7\x9c\xd7\x95\xd7\x9d \xd8\xb3\xd9\x84\xd8\xa7\xd9\x85",
                                      "\xe2\x80\xae"
                                      "txt.exe",
                                      "\xf0\x9f\xa6\xb4\xe9\xaa\xa8",
                                      "\xff\xc3(\xe2\x28\xa1",
                                      ""};
enum { HOSTILE = sizeof hostile / sizeof hostile[0] };

static const struct document_column columns[] = {
    {"No.", 5, true}, {"Name", 20, false}, {"SHA-256", 20, false}};

struct sample {
    struct document document;
    struct document_block blocks[8 * HOSTILE];
    struct document_cell cells[HOSTILE][3];
    struct document_row rows[HOSTILE];
    struct document_entry entries[HOSTILE];
    struct document_panel panel;
    uint32_t pixels[16];
    struct document_bar bars[2];
    struct document_signature signature;
    size_t count;
};

static struct document_block *add(struct sample *sample, enum block_kind kind)
{
    struct document_block *block = &sample->blocks[sample->count++];
    block->kind = kind;
    if (sample->document.last)
        sample->document.last = sample->document.last->next = block;
    else
        sample->document.first = sample->document.last = block;
    return block;
}

/* A document that has every kind of block, with hostile texts wherever one may come. */
static void fill(struct sample *sample)
{
    memset(sample, 0, sizeof *sample);
    sample->document = (struct document){.title = hostile[0],
                                         .number = hostile[1],
                                         .name = hostile[1],
                                         .subject = hostile[2],
                                         .maker = "fettle",
                                         .created = "2026-11-28T12:00:00Z"};
    for (size_t i = 0; i < HOSTILE; i++) {
        add(sample, BLOCK_HEADING)->text = hostile[i];
        add(sample, BLOCK_TEXT)->text = hostile[i];
        add(sample, BLOCK_VERDICT)->verdict =
            (struct document_verdict){MARK_UNDECIDED, hostile[i], hostile[i]};
        sample->entries[i] = (struct document_entry){hostile[i], hostile[i], i % 2};
        for (size_t k = 0; k < 3; k++)
            sample->cells[i][k] = (struct document_cell){hostile[i], MARK_DOES_NOT_CONFORM, true};
        sample->rows[i] = (struct document_row){sample->cells[i], 1, {hostile[i]}, true};
    }
    add(sample, BLOCK_ENTRIES)->entries = (struct document_entries){HOSTILE, HOSTILE, sample->entries};
    add(sample, BLOCK_TABLE)->table = (struct document_table){.caption = hostile[1],
                                                              .column_count = 3,
                                                              .row_count = HOSTILE,
                                                              .columns = columns,
                                                              .rows = sample->rows};
    sample->panel = (struct document_panel){.title = hostile[1],
                                            .said = hostile[1],
                                            .width = 4,
                                            .height = 4,
                                            .pixels = sample->pixels,
                                            .ring_count = 1,
                                            .rings = {{0.5, 0.5, 0.1, "1"}}};
    add(sample, BLOCK_FIGURE)->figure = (struct document_figure){.caption = hostile[1],
                                                                 .panel_count = 1,
                                                                 .panels = &sample->panel,
                                                                 .columns = 6,
                                                                 .has_legend = true,
                                                                 .legend_title = hostile[1],
                                                                 .legend_low = "0",
                                                                 .legend_middle = "1",
                                                                 .legend_high = hostile[1],
                                                                 .legend_goes_on = true};
    sample->bars[0] = (struct document_bar){hostile[1], 1, NAN};
    sample->bars[1] = (struct document_bar){NULL, 0.5, 0.25};
    add(sample, BLOCK_CHARTS)->charts =
        (struct document_charts){1, {{hostile[1], hostile[1], hostile[1], hostile[1], 1, 2, sample->bars}}};
    sample->signature = (struct document_signature){hostile[1], {hostile[0]}, 1};
    add(sample, BLOCK_SIGNATURES)->signatures = (struct document_signatures){1, 1, &sample->signature};
}

static size_t count_of(const char *in, const char *what)
{
    size_t found = 0;
    for (; (in = strstr(in, what)) != NULL; in++)
        found++;
    return found;
}

Test(html, html_escapes_every_text_and_asks_for_nothing)
{
    static struct sample sample;
    struct error err;
    char *html;
    size_t size;
    fill(&sample);
    cr_assert(html_write(&sample.document, &html, &size, &err), "%s", err.text);
    cr_expect_eq(strlen(html), size);
    cr_expect_eq(count_of(html, "<script"), 0);
    cr_expect_eq(count_of(html, "onerror=y>"), 0);
    cr_expect_eq(count_of(html, "<img "), 1, "the panel's, and no other");
    cr_expect_eq(count_of(html, " src="),
                 count_of(html, "src='data:image/png;base64,") + count_of(html, "img src=x"));
    cr_expect_eq(count_of(html, "href="), 0);
    cr_expect_eq(count_of(html, "url("), count_of(html, "url(#"));
    cr_expect_eq(count_of(html, "<style>"), 1);
    cr_expect_gt(count_of(html, "&lt;script&gt;"), 10);
    free(html);
}

Test(pdf, pdf_of_hostile_texts_is_whole_and_the_same_twice)
{
    static struct sample sample;
    struct error err;
    char *first, *second;
    size_t first_size, second_size;
    fill(&sample);
    cr_assert(pdf_write(&sample.document, &first, &first_size, &err), "%s", err.text);
    cr_assert(pdf_write(&sample.document, &second, &second_size, &err), "%s", err.text);
    cr_expect_eq(first_size, second_size);
    cr_expect_eq(memcmp(first, second, first_size), 0);
    cr_expect_eq(memcmp(first, "%PDF-1.5", 8), 0);
    cr_expect_eq(memcmp(first + first_size - 6, "%%EOF\n", 6), 0);
    free(first);
    free(second);
}

Test(pdf, pdf_without_a_font_says_which_and_what_to_install)
{
    static struct sample sample;
    struct error err;
    char *bytes;
    size_t size;
    fill(&sample);
    setenv("FETTLE_FONTS", "/nowhere", 1);
    cr_expect_not(pdf_write(&sample.document, &bytes, &size, &err));
    cr_expect_eq(err.code, ERROR_MACHINE);
    cr_expect_not_null(strstr(err.text, "DejaVuSans.ttf"), "%s", err.text);
    cr_expect_not_null(strstr(err.text, "fonts-dejavu-core"), "%s", err.text);
}
