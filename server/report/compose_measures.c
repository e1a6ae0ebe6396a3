/* compose_measures.c - certified intervals, distributions and findings of the record. */
#include "report/composer.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* --- deviation --- */

static const char *known_of(const struct composer *composer, const struct json_t *way, const char *name)
{
    double value = node_number(way, name), half = node_number(node_at(way, "halfwidth"), name);
    const struct json_t *ends = node_at(node_at(way, "certified"), name);
    if (isnan(value))
        return "not defined";
    if (isnan(half))
        return say(composer, "%s %s", say_number(composer, value), composer->units);
    const char *known = say_interval(composer, fmax(0, value - half), value + half, composer->units);
    if (!node_at(way, "sampled.N"))
        return known;
    if (!ends)
        return say(composer, "%s, sampled", known);
    const char *certified =
        say_interval(composer, node_number(ends, "lower"), node_number(ends, "upper"), composer->units);
    return strcmp(known, certified) == 0 ? known
                                         : say(composer, "%s, sampled; %s, certified", known, certified);
}

static void add_statistic(struct composer *composer, struct document_table *table, const char *title,
                          const char *surface, const char *name)
{
    struct document_row *row = add_row(composer, table);
    const struct json_t *lost = node_at(composer->record, say(composer, "%s.reference_to_subject", surface)),
                        *invented =
                            node_at(composer->record, say(composer, "%s.subject_to_reference", surface));
    row->cells[0].text = title;
    row->cells[1].text = known_of(composer, lost, name);
    row->cells[2].text = known_of(composer, invented, name);
}

static void add_greatest(struct composer *composer, struct document_table *table, const char *title,
                         const char *surface)
{
    struct document_row *row = add_row(composer, table);
    const struct json_t *deviation = node_at(composer->record, surface);
    static const char *const ways[] = {"reference_to_subject.max", "subject_to_reference.max"};
    row->cells[0].text = title;
    for (size_t i = 0; i < 2; i++) {
        const struct json_t *max = node_at(deviation, ways[i]);
        row->cells[1 + i].text =
            say_interval(composer, node_number(max, "lower"), node_number(max, "upper"), composer->units);
    }
}

static void add_surface(struct composer *composer, struct document_table *table, const char *surface,
                        const char *greatest, const char *mean, const char *within)
{
    if (node_count(composer->record, surface) == 0)
        return;
    add_greatest(composer, table, greatest, surface);
    add_statistic(composer, table, mean, surface, "mean");
    add_statistic(composer, table, within, surface, "p999");
}

void compose_deviation(struct composer *composer)
{
    static const struct document_column columns[] = {{"Distance", 28, false},
                                                     {"Lost: reference to subject", 36, true},
                                                     {"Invented: subject to reference", 36, true}};
    if (node_count(composer->record, "deviation") == 0)
        return;
    add_heading(composer, "Deviation");
    struct document_table *table =
        add_table(composer, "Distances between the two surfaces, both ways", columns, 3);
    add_surface(composer, table, "deviation", "Greatest, of the faces", "Mean, of the faces",
                "99.9 % of the area within, of the faces");
    add_surface(composer, table, "deviation_limit", "Greatest, of the limit surface",
                "Mean, of the limit surface", "99.9 % of the area within, of the limit surface");
    add_text(
        composer, TEXT_QUIET,
        "Each entry is an interval that holds the true value of the two files: certified, but where it "
        "says sampled, where it is four standard errors about the value found. A rule is judged by what is "
        "certified where that decides it.");
}

/* --- distributions --- */

enum { BARS_MOST = 64 };

static struct document_chart *begin_chart(struct document_charts *charts, struct composer *composer,
                                          const char *title)
{
    struct document_chart *chart = &charts->items[charts->count];
    *chart = (struct document_chart){.title = title,
                                     .bars = ARENA_NEW(composer->keep, struct document_bar, BARS_MOST)};
    return chart->bars ? chart : NULL;
}

static void add_bar(struct document_chart *chart, const char *label, double share, double other)
{
    if (chart->bar_count == BARS_MOST)
        return;
    chart->bars[chart->bar_count++] = (struct document_bar){label, share, other};
    chart->most = fmax(chart->most, fmax(share, isnan(other) ? 0 : other));
}

/* Cuts empty bars off both ends, and says the rest in words; nothing is kept of an empty chart. */
static void end_chart(struct document_charts *charts, const struct composer *composer)
{
    struct document_chart *chart = &charts->items[charts->count];
    size_t first = 0, tallest = 0;
    while (chart->bar_count && chart->bars[chart->bar_count - 1].share <= 0
           && !(chart->bars[chart->bar_count - 1].share_of_other > 0))
        chart->bar_count--;
    while (first < chart->bar_count && chart->bars[first].share <= 0
           && !(chart->bars[first].share_of_other > 0))
        first++;
    chart->bars += first;
    chart->bar_count -= first;
    if (chart->bar_count == 0)
        return;
    for (size_t i = 0; i < chart->bar_count; i++)
        if (chart->bars[i].share > chart->bars[tallest].share)
            tallest = i;
    chart->top = say(composer, "%.3g %%", 100 * chart->most);
    chart->said =
        say(composer, "%s, in %zu classes; the fullest of them%s%s has %.3g %%", chart->title,
            chart->bar_count, chart->bars[tallest].label ? ", " : "",
            chart->bars[tallest].label ? chart->bars[tallest].label : "", 100 * chart->bars[tallest].share);
    charts->count++;
}

static void add_valence(struct composer *composer, struct document_charts *charts)
{
    const struct json_t *valence = node_at(composer->record, "subject.valence");
    double most = node_number(valence, "max"), all = 0;
    struct document_chart *chart = begin_chart(charts, composer, "Edges at a vertex, inside");
    if (!chart || !(most < BARS_MOST))
        return;
    for (int edges = 0; edges <= (int)most; edges++)
        all += fmax(0, node_number(valence, say(composer, "interior.%d", edges)));
    for (int edges = 0; all > 0 && edges <= (int)most; edges++) {
        double count = node_number(valence, say(composer, "interior.%d", edges));
        add_bar(chart, say(composer, "%d", edges), isnan(count) ? 0 : count / all, NAN);
    }
    chart->note = "share of the vertices that are not on an open edge";
    end_chart(charts, composer);
}

static double middle_share(const struct json_t *shares, size_t i)
{
    const struct json_t *share = node_item(shares, i);
    return 0.5 * (node_number(share, "lower") + node_number(share, "upper"));
}

static void add_classes(struct composer *composer, struct document_charts *charts)
{
    const struct json_t *lost = node_at(composer->record, "deviation.reference_to_subject.histogram"),
                        *invented = node_at(composer->record, "deviation.subject_to_reference.histogram"),
                        *edges = node_at(lost, "edges"), *shares = node_at(lost, "shares"),
                        *others = node_at(invented, "shares");
    struct document_chart *chart = begin_chart(charts, composer, "Distance, by share of the area");
    size_t edge_count = node_count(edges, "");
    if (!chart || edge_count == 0)
        return;
    for (size_t i = 0; i < node_count(shares, ""); i++) {
        double edge = node_number(node_item(edges, i < edge_count ? i : edge_count - 1), "");
        add_bar(chart, say(composer, i < edge_count ? "%s" : "> %s", say_number(composer, edge)),
                middle_share(shares, i), middle_share(others, i));
    }
    chart->note = say(composer, "filled: lost; outline: invented; classes up to so many %s",
                      *composer->units ? composer->units : "units");
    end_chart(charts, composer);
}

static void add_aspect(struct composer *composer, struct document_charts *charts)
{
    double quads = node_number(composer->record, "subject.counts.quads"),
           triangles = node_number(composer->record, "subject.counts.triangles");
    bool of_quads = quads > triangles;
    const struct json_t *aspect = node_at(composer->record, of_quads ? "subject.quality.quad.aspect_ratio"
                                                                     : "subject.quality.tri.aspect_ratio"),
                        *edges = node_at(aspect, "histogram.edges"),
                        *counts = node_at(aspect, "histogram.counts");
    double all = node_number(aspect, "count");
    struct document_chart *chart = begin_chart(
        charts, composer, of_quads ? "Aspect ratio of the quads" : "Aspect ratio of the triangles");
    if (!chart || !(all > 0))
        return;
    for (size_t i = 0; i < node_count(counts, ""); i++)
        add_bar(chart, say(composer, "%.3g", node_number(node_item(edges, i + 1), "")),
                node_number(node_item(counts, i), "") / all, NAN);
    chart->note = say(composer, "share of the faces, classes up to so much; the greatest is %s",
                      say_number(composer, node_number(aspect, "max")));
    end_chart(charts, composer);
}

void compose_charts(struct composer *composer)
{
    struct document_charts charts = {0};
    add_classes(composer, &charts);
    add_valence(composer, &charts);
    add_aspect(composer, &charts);
    if (charts.count == 0)
        return;
    add_heading(composer, "Distributions");
    add_block(composer, BLOCK_CHARTS)->charts = charts;
}

/* --- findings --- */

enum { LISTED_MOST = 6 }; /* those that have pictures */

static int rank_of(const char *severity)
{
    return strcmp(severity, "fault") == 0 ? 0 : strcmp(severity, "warning") == 0 ? 1 : 2;
}

/* Whether finding a goes before finding b: by severity, then by score, then in the order of the record. */
static bool is_worse(const struct json_t *findings, size_t a, size_t b)
{
    const struct json_t *p = node_item(findings, a), *q = node_item(findings, b);
    int rank_p = rank_of(node_text(p, "severity")), rank_q = rank_of(node_text(q, "severity"));
    double score_p = node_number(p, "score"), score_q = node_number(q, "score");
    if (rank_p != rank_q)
        return rank_p < rank_q;
    return score_p != score_q ? score_p > score_q : a < b;
}

size_t compose_worst(const struct composer *composer, size_t limit, size_t *worst)
{
    const struct json_t *findings = node_at(composer->record, "findings");
    size_t count = 0;
    for (size_t i = 0; i < node_count(findings, ""); i++) {
        size_t at = count;
        while (at > 0 && is_worse(findings, i, worst[at - 1]))
            at--;
        if (at == limit)
            continue;
        count += count < limit;
        memmove(&worst[at + 1], &worst[at], (count - at - 1) * sizeof *worst);
        worst[at] = i;
    }
    return count;
}

static void add_finding(struct composer *composer, struct document_table *table, const struct json_t *finding)
{
    static const enum document_mark marks[] = {MARK_FAULT, MARK_WARNING, MARK_NOTE};
    struct document_row *row = add_row(composer, table);
    const char *severity = node_text(finding, "severity");
    const struct json_t *at = node_at(finding, "at");
    char *kind = (char *)(uintptr_t)say(composer, "%s", node_text(finding, "kind"));
    for (char *c = kind; *c; c++)
        *c = *c == '_' ? ' ' : *c;
    row->cells[0].text = say(composer, "%zu", table->row_count);
    row->cells[1].text = say(composer, "%s", severity);
    row->cells[1].mark = marks[rank_of(severity)];
    row->cells[2].text = say(composer, "%s, %s", kind, node_text(finding, "mesh"));
    row->cells[3].text = say(composer, "%.4g, %.4g, %.4g", node_number(node_item(at, 0), ""),
                             node_number(node_item(at, 1), ""), node_number(node_item(at, 2), ""));
    row->cells[4].text = say(composer, "%.4g %s", node_number(finding, "size"), node_text(finding, "unit"));
    row->cells[5].text = say(composer, "%s", node_text(finding, "text"));
}

static const char *all_of_them(const struct composer *composer, size_t listed)
{
    double total = node_number(composer->record, "findings_total"),
           faults = node_number(composer->record, "findings_by_severity.fault"),
           warnings = node_number(composer->record, "findings_by_severity.warning"),
           notes = node_number(composer->record, "findings_by_severity.note");
    if (!(total > 0))
        return "The record has no findings.";
    return say(composer, "%.0f findings in all: %.0f of severity fault, %.0f warning, %.0f note. %s", total,
               faults, warnings, notes,
               total > (double)listed
                   ? say(composer, "Listed are the worst %zu; %.0f more are in the record.", listed,
                         total - (double)listed)
                   : "All are listed.");
}

void compose_findings(struct composer *composer)
{
    static const struct document_column columns[] = {{"No.", 5, true},        {"Severity", 9, false},
                                                     {"Kind, on", 15, false}, {"Place", 20, false},
                                                     {"Size", 11, true},      {"What it is", 56, false}};
    size_t worst[LISTED_MOST + 1], count = compose_worst(composer, LISTED_MOST, worst);
    const struct json_t *findings = node_at(composer->record, "findings");
    add_heading(composer, "Findings");
    add_text(composer, TEXT_BODY, all_of_them(composer, count));
    if (count == 0)
        return;
    struct document_table *table = add_table(composer, "The worst findings", columns, 6);
    for (size_t i = 0; i < count; i++)
        add_finding(composer, table, node_item(findings, worst[i]));
}
