/* compose_rules.c - the table of rules as the audit has them, and what their measures mean. */
#include "report/composer.h"

#include "spec/spec.h"

#include <math.h>
#include <string.h>

static enum document_mark mark_of(const char *outcome)
{
    return strcmp(outcome, outcome_word(OUTCOME_CONFORMS)) == 0           ? MARK_CONFORMS
           : strcmp(outcome, outcome_word(OUTCOME_DOES_NOT_CONFORM)) == 0 ? MARK_DOES_NOT_CONFORM
                                                                          : MARK_UNDECIDED;
}

/* "5 does not conform" would be wrong of five. */
static const char *counted(const struct composer *composer, double count, const char *one, const char *many)
{
    return count > 0 ? say(composer, "; %.0f %s", count, count == 1 ? one : many) : "";
}

void compose_verdict(struct composer *composer)
{
    const struct json_t *audit = composer->audit;
    struct document_verdict *verdict = &add_block(composer, BLOCK_VERDICT)->verdict;
    double conforms = node_number(audit, "counts.conforms"),
           does_not = node_number(audit, "counts.does_not_conform"),
           open = node_number(audit, "counts.undecided"), waived = node_number(audit, "counts.waived"),
           missed = node_number(audit, "counts.advisory_missed");
    verdict->word = say(composer, "%s", node_text(audit, "outcome"));
    verdict->mark = mark_of(verdict->word);
    verdict->sentence = say(
        composer, "%s of %s, judged by the spec %s, version %.0f: of %.0f required rules %.0f %s%s%s%s%s.",
        say_label(composer, &composer->dossier->subject), composer->dossier->specimen.catalogue_number,
        node_text(audit, "spec.name"), node_number(audit, "spec.version"),
        conforms + does_not + open + waived, conforms, conforms == 1 ? "conforms" : "conform",
        counted(composer, does_not, "does not conform", "do not conform"),
        counted(composer, open, "is undecided", "are undecided"),
        counted(composer, waived, "is waived", "are waived"),
        counted(composer, missed, "advisory rule is not met", "advisory rules are not met"));
}

static const char *with_unit(const struct composer *composer, const struct json_t *rule, const char *number)
{
    const char *unit = node_text(rule, "unit");
    return *unit ? say(composer, "%s %s", number, unit) : number;
}

static const char *margin_text(const struct composer *composer, const struct json_t *rule)
{
    double margin = node_number(rule, "margin");
    const char *number = say_number(composer, fabs(margin));
    if (isnan(margin) || isnan(node_number(rule, "limit"))) /* of what is true or false there is none */
        return "—";
    return with_unit(composer, rule, margin < 0 ? say(composer, "−%s", number) : number);
}

static const char *uncertainty_text(const struct composer *composer, const struct json_t *rule)
{
    double u = node_number(rule, "uncertainty.standard"), guard = node_number(rule, "guard_band"),
           least = node_number(rule, "uncertainty.probability_least"),
           greatest = node_number(rule, "uncertainty.probability_greatest");
    const char *stated =
        isnan(u) ? "not stated" : say(composer, "u = %s", with_unit(composer, rule, say_number(composer, u)));
    const char *chance =
        isnan(least) ? "" : say(composer, "; P %s", say_interval(composer, least, greatest, ""));
    if (strcmp(node_text(rule, "decision"), "guarded") == 0)
        return say(composer, "%s%s; guarded, g = %s", stated, chance, say_number(composer, guard));
    return say(composer, "%s%s; simple", stated, chance);
}

static void add_rule_notes(const struct composer *composer, const struct json_t *rule,
                           struct document_row *row)
{
    const char *reason = node_text(rule, "reason"), *source = node_text(rule, "source"),
               *advice = node_text(rule, "decided_by.text"), *stated = node_text(rule, "uncertainty.source");
    add_note(row, *source ? say(composer, "%s Source: %s.", reason, source) : say(composer, "%s", reason));
    if (*stated)
        add_note(row, say(composer, "Uncertainty stated from: %s", stated));
    if (*advice)
        add_note(row, say(composer, "Undecided: %s", advice));
    if (node_at(rule, "waiver.author"))
        add_note(row, say(composer, "Waived to the end of %s by %s (name as stated): %s",
                          node_text(rule, "waiver.expires"), node_text(rule, "waiver.author"),
                          node_text(rule, "waiver.reason")));
    else if (node_is_true(rule, "waiver_ran_out"))
        add_note(row, "Its waiver had run out.");
}

static void add_rule(struct composer *composer, struct document_table *table, const struct json_t *rule)
{
    struct document_row *row = add_row(composer, table);
    const char *outcome = say(composer, "%s", node_text(rule, "outcome"));
    bool advisory = strcmp(node_text(rule, "need"), "advisory") == 0;
    bool is_waived = node_at(rule, "waiver.author") && mark_of(outcome) != MARK_CONFORMS;
    row->cells[0].text = say(composer, "%zu", table->row_count);
    row->cells[1].text = say(composer, "%s%s", node_text(rule, "name"), advisory ? " (advisory)" : "");
    row->cells[1].is_strong = true;
    row->cells[2].text = say(composer, "%s", node_text(rule, "limit_text"));
    row->cells[3].text = say(composer, "%s%s", node_text(rule, "value_text"),
                             node_is_true(rule, "value.sampled") ? " (sampled)" : "");
    row->cells[3].is_strong = true;
    row->cells[4].text = margin_text(composer, rule);
    row->cells[5].text = uncertainty_text(composer, rule);
    row->cells[6].text = is_waived ? say(composer, "%s, waived", outcome) : outcome;
    row->cells[6].mark = mark_of(outcome);
    row->cells[6].is_strong = mark_of(outcome) == MARK_DOES_NOT_CONFORM;
    row->is_open = mark_of(outcome) == MARK_UNDECIDED;
    add_rule_notes(composer, rule, row);
}

void compose_rules(struct composer *composer)
{
    static const struct document_column columns[] = {
        {"No.", 5, true},      {"Rule", 22, false},
        {"Limit", 16, false},  {"Value as judged", 18, true},
        {"Margin", 13, true},  {"Uncertainty, decision", 16, false},
        {"Outcome", 17, false}};
    const struct json_t *rules = node_at(composer->audit, "rules");
    add_heading(composer, "Rules");
    struct document_table *table =
        add_table(composer, "Every rule of the spec with its limit, the value judged and the outcome",
                  columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < node_count(rules, ""); i++)
        add_rule(composer, table, node_item(rules, i));
    add_text(
        composer, TEXT_QUIET,
        "The value is rounded once, to six digits, its ends away from each other; what is printed is what "
        "was judged. The margin is how far its worst end is within the limit. Simple: simple acceptance "
        "(JCGM 106:2012, 8.2). Guarded: it conforms, or does not, only beyond a guard band g about the limit "
        "(8.3). u: the standard uncertainty that the spec states; P: probability of conformity (7.3).");
}

static bool is_first(const struct json_t *rules, size_t at)
{
    const char *measure = node_text(node_item(rules, at), "measure");
    for (size_t i = 0; i < at; i++)
        if (strcmp(node_text(node_item(rules, i), "measure"), measure) == 0)
            return false;
    return *measure;
}

void compose_definitions(struct composer *composer)
{
    static const struct document_column columns[] = {
        {"Measure", 26, false},
        {"Known", 8, false},
        {"What it means, and where that was published", 66, false}};
    static const char *const known[] = {
        [MEASURE_EXACT] = "exact", [MEASURE_CERTIFIED] = "certified", [MEASURE_SAMPLED] = "sampled"};
    const struct json_t *rules = node_at(composer->audit, "rules");
    struct document_table *table = NULL;
    for (size_t i = 0; i < node_count(rules, ""); i++) {
        const char *path = node_text(node_item(rules, i), "measure");
        const struct measure_definition *measure = measures_find_place(composer->measures, path);
        if (!measure || !is_first(rules, i))
            continue;
        if (!table) {
            add_heading(composer, "Definitions");
            table = add_table(composer, "What each measure judged means", columns, 3);
            table->is_fine = true;
        }
        struct document_row *row = add_row(composer, table);
        row->cells[0].text = say(composer, "%s", path);
        row->cells[1].text = known[measure->certainty];
        row->cells[2].text =
            say(composer, "%s: %s Source: %s.", measure->name, measure->definition, measure->source);
    }
}
