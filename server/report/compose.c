/* compose.c - the order of a report, its label, its files, and what it was made with. */
#include "report/compose.h"

#include "report/composer.h"
#include "report/fonts.h"
#include "run/version.h"

#include <string.h>

static const char *version_entry(const struct composer *composer, const struct store_version *version)
{
    return say(composer, "%s, %s", say_label(composer, version), version->file_name);
}

static void add_label(struct composer *composer)
{
    const struct store_dossier *dossier = composer->dossier;
    struct document_entries *label = &add_block(composer, BLOCK_ENTRIES)->entries;
    add_entry(composer, label, "Unit of length", dossier->specimen.units, false);
    add_entry(composer, label, "Note", dossier->specimen.note, false);
    add_entry(composer, label, "Subject", version_entry(composer, &dossier->subject), false);
    add_entry(composer, label, "Reference",
              dossier->reference.id ? version_entry(composer, &dossier->reference) : "none: measured alone",
              false);
    add_entry(composer, label, "Spec",
              say(composer, "%s, version %lld. %s", dossier->spec.name, (long long)dossier->spec.version,
                  node_text(composer->audit, "spec.purpose")),
              false);
    add_entry(
        composer, label, "Measured",
        say(composer, "run %lld, %s", (long long)dossier->run.id, say_time(composer, dossier->run.created)),
        false);
    add_entry(composer, label, "Judged",
              say(composer, "audit %lld, %s", (long long)dossier->audit.id,
                  say_time(composer, dossier->audit.created)),
              false);
}

static void add_file(struct composer *composer, struct document_table *table, const char *role,
                     const struct store_version *version)
{
    struct document_row *row = add_row(composer, table);
    row->cells[0].text = say(composer, "%s, %s", say_label(composer, version), role);
    row->cells[1].text = version->file_name;
    row->cells[2].text = say(composer, "%llu", (unsigned long long)version->bytes);
    row->cells[3].text = version->sha256;
    if (*version->by || *version->note)
        add_note(row, say(composer, "%s%s%s%s", *version->by ? "By " : "", version->by,
                          *version->by ? " (name as stated). " : "", version->note));
    if (version->withdrawn)
        add_note(row, say(composer, "Withdrawn: %s", version->withdrawn_reason));
}

static void add_document(struct composer *composer, struct document_table *table, const char *what,
                         const char *name, size_t size, const char *sha256)
{
    struct document_row *row = add_row(composer, table);
    row->cells[0].text = what;
    row->cells[1].text = name;
    row->cells[2].text = size ? say(composer, "%zu", size) : "";
    row->cells[3].text = sha256;
}

static void add_files(struct composer *composer)
{
    static const struct document_column columns[] = {
        {"What", 16, false}, {"Name", 27, false}, {"Bytes", 10, true}, {"SHA-256", 47, false}};
    const struct store_dossier *dossier = composer->dossier;
    add_heading(composer, "Files and digests");
    struct document_table *table =
        add_table(composer, "The files, the record, the spec and the audit with their digests", columns, 4);
    add_file(composer, table, "subject", &dossier->subject);
    if (dossier->reference.id)
        add_file(composer, table, "reference", &dossier->reference);
    add_document(composer, table, "run record", "RFC 8785 text without timings, threads", 0,
                 say(composer, "%s", node_text(composer->audit, "run.record_sha256")));
    add_document(composer, table, "spec", "RFC 8785 text", strlen(dossier->spec.body), dossier->spec.sha256);
    add_document(composer, table, "audit", "as stored", strlen(dossier->audit.body), dossier->audit.sha256);
}

static const char *settings_text(const struct composer *composer)
{
    const struct json_t *settings = node_at(composer->record, "engine.settings");
    return say(composer, "certify %s of the diagonal, surface %s, boundary rule %s",
               say_number(composer, node_number(settings, "certify")), node_text(settings, "surface"),
               node_text(settings, "boundary_rule"));
}

static bool add_engine(struct composer *composer, struct error *err)
{
    const struct json_t *engine = node_at(composer->record, "engine");
    add_heading(composer, "Engine");
    struct document_entries *entries = &add_block(composer, BLOCK_ENTRIES)->entries;
    add_entry(composer, entries, "Measured by",
              say(composer, "fettle %s (%s), definitions %.0f", node_text(engine, "version"),
                  node_text(engine, "commit"), node_number(engine, "definitions")),
              false);
    add_entry(composer, entries, "Settings", settings_text(composer), false);
    add_entry(composer, entries, "Report by", say(composer, "fettle %s", engine_version()), false);
    const char *fonts = "";
    for (int i = 0; i < FONT_COUNT; i++) {
        char sha256[DIGEST_HEX_SIZE];
        if (!font_digest((enum font)i, sha256, err))
            return false;
        fonts = say(composer, "%s%s%-20s %s", fonts, *fonts ? "\n" : "", font_file((enum font)i), sha256);
    }
    add_entry(composer, entries, "Fonts of the PDF", fonts, true);
    return true;
}

static void add_cautions(struct composer *composer)
{
    const struct json_t *cautions = node_at(composer->audit, "cautions");
    add_heading(composer, "Cautions");
    for (size_t i = 0; i < node_count(cautions, ""); i++)
        add_text(composer, TEXT_BODY, say(composer, "%s", node_text(node_item(cautions, i), "")));
    add_text(composer, TEXT_QUIET,
             "Names of people are entered and recorded as stated: the service has no accounts. In the PDF, "
             "letters that its fonts lack are printed as their Unicode numbers, such as [U+1F600].");
}

static void begin_document(struct composer *composer)
{
    const struct store_dossier *dossier = composer->dossier;
    const char *number = dossier->specimen.catalogue_number, *label = say_label(composer, &dossier->subject);
    *composer->document = (struct document){
        .title = dossier->specimen.title,
        .number = number,
        .name = say(composer, "Audit %lld of %s, %s", (long long)dossier->audit.id, number, label),
        .subject = say(composer, "%s, judged by the spec %s, version %lld: %s", label, dossier->spec.name,
                       (long long)dossier->spec.version, dossier->audit.outcome),
        .maker = say(composer, "fettle %s", engine_version()),
        .created = dossier->audit.created,
    };
}

static bool compose(struct composer *composer, struct error *err)
{
    begin_document(composer);
    compose_verdict(composer);
    add_label(composer);
    compose_rules(composer);
    add_files(composer);
    if (!compose_figures(composer, err))
        return false;
    compose_deviation(composer);
    compose_charts(composer);
    compose_findings(composer);
    if (!compose_signatures(composer, err))
        return false;
    compose_definitions(composer);
    if (!add_engine(composer, err))
        return false;
    add_cautions(composer);
    return !composer->keep->failed || arena_error(err);
}

bool report_compose(struct store *store, const struct store_dossier *dossier,
                    const struct measure_list *measures, struct arena *keep, struct document *document,
                    struct error *err)
{
    const char *units = dossier->specimen.units;
    struct composer composer = {.store = store,
                                .dossier = dossier,
                                .measures = measures,
                                .keep = keep,
                                .document = document,
                                .units = strcmp(units, "unknown") == 0 ? "" : units};
    struct json_t *record, *audit = NULL;
    if (!node_open(dossier->record, dossier->record_bytes, "a run record", &record, err))
        return false;
    bool ok = node_open(dossier->audit.body, strlen(dossier->audit.body), "an audit", &audit, err);
    composer.record = record;
    composer.audit = audit;
    ok = ok && compose(&composer, err);
    node_close(audit);
    node_close(record);
    return ok;
}
