/* mend_table.c - a region of a mend as one line. */
#include "cli/mend_table.h"

#include "cli/measure_text.h"

#include <math.h>

enum { REGIONS_SHOWN = 10 };

struct line {
    FILE *out;
    enum run_units units;
};

static void print_unit(const struct line *line, const char *power)
{
    if (line->units != UNITS_UNKNOWN)
        fprintf(line->out, " %s%s", run_units_name(line->units), power);
}

/* "6 faces, 3.1 mm²" */
static void print_faces(const struct line *line, size_t count, double area)
{
    char digits[MEASURE_TEXT_SIZE];

    measure_text_count((double)count, digits);
    fprintf(line->out, "%s %s, ", digits, count == 1 ? "face" : "faces");
    measure_text_value(area, digits);
    fputs(digits, line->out);
    print_unit(line, "\xc2\xb2");
}

static void print_exchange(const struct line *line, const struct mend_region *region)
{
    if (region->added_faces > 0)
        print_faces(line, region->added_faces, region->added_area);
    if (region->added_faces > 0 && region->removed_faces > 0)
        fputs(", in place of ", line->out);
    if (region->removed_faces > 0)
        print_faces(line, region->removed_faces, region->removed_area);
}

static void print_count(const struct line *line, const char *before, size_t count, const char *one,
                        const char *many)
{
    char digits[MEASURE_TEXT_SIZE];

    measure_text_count((double)count, digits);
    fprintf(line->out, "%s%s %s", before, digits, count == 1 ? one : many);
}

/* "; closes 1 hole of 14 edges", or how many open edges went and came where they were no hole. */
static void print_openings(const struct line *line, const struct mend_region *region)
{
    bool closes = region->holes_filled > 0, opens = region->holes_opened > 0;

    if (closes)
        print_count(line, "; closes ", region->holes_filled, "hole", "holes");
    if (region->open_edges_gone > 0)
        print_count(line, closes ? " of " : "; ", region->open_edges_gone,
                    closes ? "edge" : "open edge fewer", closes ? "edges" : "open edges fewer");
    if (opens)
        print_count(line, "; opens ", region->holes_opened, "hole", "holes");
    if (region->open_edges_new > 0)
        print_count(line, opens ? " of " : "; ", region->open_edges_new, opens ? "edge" : "open edge more",
                    opens ? "edges" : "open edges more");
}

static void print_volume(const struct line *line, double volume)
{
    char digits[MEASURE_TEXT_SIZE];

    measure_text_value(volume, digits);
    fprintf(line->out, "; volume %s%s", volume > 0 ? "+" : "", digits);
    if (!isnan(volume))
        print_unit(line, "\xc2\xb3");
}

static void print_move(const struct line *line, struct interval distance)
{
    char digits[MEASURE_TEXT_SIZE];

    if (isnan(distance.upper))
        return;
    measure_text_interval(distance.lower, distance.upper, digits);
    fprintf(line->out, "; moved by %s", digits);
    print_unit(line, "");
}

static void print_region(const struct line *line, const struct mend_region *region)
{
    fprintf(line->out, "  %-8s at (%.5g, %.5g, %.5g): ", mend_kind_name(region->kind), region->centre.x,
            region->centre.y, region->centre.z);
    print_exchange(line, region);
    print_openings(line, region);
    print_volume(line, region->volume);
    print_move(line, region->move.distance);
    fputc('\n', line->out);
}

void mend_table_print(const struct mend *mend, enum run_units units, FILE *out)
{
    const struct line line = {out, units};
    size_t shown = mend->region_count < REGIONS_SHOWN ? mend->region_count : REGIONS_SHOWN;

    if (mend->shared_faces == 0)
        fputs("  No face is in both files: the mesh was made anew, or a format rounded its coordinates.\n",
              out);
    else if (mend->region_total == 0)
        fputs("  Nothing is changed: both files hold the same faces.\n", out);
    for (size_t i = 0; i < shown; i++)
        print_region(&line, &mend->regions[i]);
    if (mend->region_total > shown)
        fprintf(out, "  and %zu more; --json lists them\n", mend->region_total - shown);
}
