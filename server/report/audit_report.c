/* audit_report.c - dossier, document, bytes. */
#include "report/audit_report.h"

#include "report/compose.h"
#include "report/html.h"
#include "report/pdf.h"

#include <string.h>

static const char *const words[] = {[REPORT_PDF] = "pdf", [REPORT_HTML] = "html"};

bool report_form_parse(const char *word, enum report_form *form, struct error *err)
{
    bool is_html = strcmp(word, words[REPORT_HTML]) == 0;
    *form = is_html ? REPORT_HTML : REPORT_PDF;
    return is_html || strcmp(word, words[REPORT_PDF]) == 0
           || error_set(err, ERROR_USAGE, "a report is made as pdf or html, not as \"%.20s\"", word);
}

const char *report_form_word(enum report_form form)
{
    return words[form];
}

bool audit_report_write(struct store *store, int64_t audit, const struct measure_list *measures,
                        enum report_form form, char **bytes, size_t *size, struct error *err)
{
    struct store_dossier dossier;
    struct document document;
    struct arena arena;
    if (!arena_open(&arena, (size_t)REPORT_ARENA_MIB << 20, err))
        return false;
    bool ok = store_dossier_get(store, audit, &arena, &dossier, err)
              && report_compose(store, &dossier, measures, &arena, &document, err)
              && (form == REPORT_PDF ? pdf_write : html_write)(&document, bytes, size, err);
    arena_close(&arena);
    return ok;
}
