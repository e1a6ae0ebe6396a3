/* compose_figures.c - the surfaces from six sides and at the worst places, coloured by distance.
 *
 * What was lost is painted on the reference, what was invented on the subject: what is missing cannot be
 * shown on the thing that misses it. */
#include "report/composer.h"

#include "picture/surface_view.h"
#include "store/upload.h"

#include <endian.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { PANEL_WIDTH = 300, PANEL_LEAST = 140, CLOSE_HEIGHT = 240, CLOSE_MOST = 6, RING_MOST = 6 };
#define MARGIN 1.06      /* of the picture, over the box */
#define TALLEST 1.25     /* height of a picture by its width */
#define CLOSE_RADII 6.0  /* of the finding, across a close picture */
#define CLOSE_LEAST 0.08 /* of the diagonal, across a close picture */
#define CLOSE_GREATEST 0.5
#define CLOSE_AHEAD 0.25 /* of the picture's width: what stands so far before the place is left away */
#define RING_LEAST 0.03
#define RING_GREATEST 0.12 /* of the picture's width, of a side */
#define RING_CLOSE 0.38
#define TOP_LEAST                                                                                            \
    0.1 /* of the greatest distance: where nearly all is 0, the colours still tell what is not */
#define SEEN_SLACK                                                                                           \
    0.02 /* of the picture's width: so far behind what is seen, a place still counts as seen                 \
          */

/* One of the two meshes, and how it is shown. */
struct painted {
    const struct store_version *version;
    const char *mesh;  /* "subject", "reference" */
    const char *field; /* NULL: measured alone */
    const char *other; /* label of what it was measured against */
    const char *said;  /* "Lost", "Invented" */
};

/* What all figures have in common. */
struct frame {
    aabb box;      /* of both meshes */
    double width;  /* that a picture of a side shows */
    size_t height; /* of it, in pixels */
    double diagonal;
    double top; /* of the colours; 0 where there is nothing but 0 */
    bool goes_on;
    size_t worst[RING_MOST], worst_count;
};

/* --- what is drawn --- */

struct drawn {
    struct stored_surface surface;
    double *values; /* NULL: plain */
};

static bool read_values(int fd, double *values, size_t count, struct error *err)
{
    unsigned char *at = (unsigned char *)values;
    size_t left = count * sizeof *values;
    off_t offset = 0;
    while (left) {
        ssize_t got = pread(fd, at, left, offset);
        if (got < 0 && errno == EINTR)
            continue;
        if (got <= 0)
            return error_set(err, ERROR_STORE, "a stored field cannot be read; run fettle verify");
        at += got;
        offset += got;
        left -= (size_t)got;
    }
    for (size_t i = 0; i < count; i++) {
        uint64_t bits;
        memcpy(&bits, &values[i], sizeof bits);
        bits = le64toh(bits);
        memcpy(&values[i], &bits, sizeof bits);
    }
    return true;
}

/* Leaves values NULL where the run has no such field. */
static bool open_values(struct composer *composer, const struct painted *painted, struct drawn *drawn,
                        struct arena *room, struct error *err)
{
    struct error none = {0};
    uint64_t bytes;
    bool per_face;
    int fd;
    if (!painted->field)
        return true;
    if (!store_run_field_open(composer->store, composer->dossier->run.id, painted->field, &fd, &bytes,
                              &per_face, &none)) {
        *err = none;
        return none.code == ERROR_NOT_FOUND;
    }
    size_t count = drawn->surface.face_count;
    double *values = ARENA_NEW(room, double, count);
    bool ok = values
                  ? bytes == count * sizeof *values
                        || error_set(err, ERROR_STORE,
                                     "a stored field is not as long as its mesh has faces; run fettle verify")
                  : arena_error(err);
    ok = ok && read_values(fd, values, count, err)
         && stored_surface_values(&drawn->surface, values, &drawn->values, room, err);
    close(fd);
    return ok;
}

/* *found false: no surface of the version is stored. */
static bool open_surface(struct composer *composer, const struct painted *painted, struct drawn *drawn,
                         bool *found, struct arena *room, struct error *err)
{
    struct error none = {0};
    char sha256[DIGEST_HEX_SIZE];
    uint64_t bytes;
    int fd;
    *drawn = (struct drawn){.values = NULL};
    *found = store_version_picture_open(composer->store, painted->version->id, PICTURE_SURFACE, sha256, &fd,
                                        &bytes, &none);
    if (!*found) {
        *err = none;
        return none.code == ERROR_NOT_FOUND;
    }
    bool ok = stored_surface_read(fd, bytes, &drawn->surface, room, err);
    close(fd);
    return ok && open_values(composer, painted, drawn, room, err);
}

/* --- pictures --- */

static vec3 point_of(const struct json_t *list)
{
    return (vec3){node_number(node_item(list, 0), ""), node_number(node_item(list, 1), ""),
                  node_number(node_item(list, 2), "")};
}

static const struct json_t *finding_at(const struct composer *composer, size_t i)
{
    return node_item(node_at(composer->record, "findings"), i);
}

struct view {
    struct surface_look look;
    size_t height; /* pixels */
    bool is_close; /* straight onto one finding, which is in sight whatever is before it */
};

/* A ring with the finding's number, where the place is in sight. */
static void add_ring(struct document_panel *panel, const struct view *view, const float *depths,
                     const struct json_t *finding, size_t number)
{
    const struct surface_look *look = &view->look;
    vec3 off = vec3_sub(point_of(node_at(finding, "at")), look->centre);
    double unit = look->width / (double)panel->width, x = vec3_dot(off, look->right) / unit,
           y = vec3_dot(off, look->up) / unit;
    x += 0.5 * (double)panel->width;
    y = 0.5 * (double)panel->height - y;
    if (!(x >= 0 && x < (double)panel->width && y >= 0 && y < (double)panel->height)
        || panel->ring_count == sizeof panel->rings / sizeof panel->rings[0])
        return;
    double seen = (double)depths[(size_t)y * panel->width + (size_t)x];
    bool is_centre = view->is_close && vec3_length_sq(off) == 0;
    if (!is_centre && seen - vec3_dot(off, look->towards) > SEEN_SLACK * look->width)
        return;
    struct document_ring *ring = &panel->rings[panel->ring_count++];
    double radius = node_number(finding, "radius") / look->width,
           most = view->is_close ? RING_CLOSE : RING_GREATEST;
    *ring =
        (struct document_ring){.x = x / (double)panel->width,
                               .y = y / (double)panel->width,
                               .radius = radius > RING_LEAST ? radius < most ? radius : most : RING_LEAST};
    snprintf(ring->label, sizeof ring->label, "%u", (unsigned)number % 10000);
}

static bool draw_panel(struct composer *composer, const struct frame *frame, const struct painted *painted,
                       const struct drawn *drawn, const struct view *view, struct document_panel *panel,
                       struct arena *room, struct error *err)
{
    struct arena scratch = *room;
    panel->width = PANEL_WIDTH;
    panel->height = view->height;
    panel->pixels = ARENA_NEW(composer->keep, uint32_t, panel->width * panel->height);
    float *depths = ARENA_NEW(&scratch, float, panel->width * panel->height);
    if (!panel->pixels || !depths)
        return arena_error(err);
    if (!surface_draw(&drawn->surface, &view->look, drawn->values, frame->top, panel->width, panel->height,
                      panel->pixels, depths, scratch, err))
        return false;
    for (size_t i = 0; i < frame->worst_count; i++) {
        const struct json_t *finding = finding_at(composer, frame->worst[i]);
        if (strcmp(node_text(finding, "mesh"), painted->mesh) == 0)
            add_ring(panel, view, depths, finding, i + 1);
    }
    panel->said = say(composer, "%s, %s%s; %zu of the findings listed are in sight.",
                      say_label(composer, painted->version), panel->title,
                      drawn->values ? ", coloured by distance" : "", panel->ring_count);
    return true;
}

static void add_legend(const struct composer *composer, const struct frame *frame,
                       struct document_figure *figure)
{
    const char *units = composer->units;
    figure->has_legend = true;
    figure->legend_title = say(composer, "distance at most%s%s", *units ? ", " : "", units);
    figure->legend_low = "0";
    figure->legend_middle = say_number(composer, 0.5 * frame->top);
    figure->legend_high = say_number(composer, frame->top);
    figure->legend_goes_on = frame->goes_on;
}

static const char *drawn_how(const struct composer *composer, const struct drawn *drawn)
{
    return drawn->surface.is_simplified
               ? say(composer, " Drawn simplified, at most %s %s from the file's surface.",
                     say_number(composer, drawn->surface.error), composer->units)
               : "";
}

static bool add_sides(struct composer *composer, const struct frame *frame, const struct painted *painted,
                      const struct drawn *drawn, size_t number, struct arena *room, struct error *err)
{
    static const char *const titles[SIDE_COUNT] = {"front, from −y", "right, from +x", "back, from +y",
                                                   "left, from −x",  "above, from +z", "below, from −z"};
    struct document_figure *figure = &add_block(composer, BLOCK_FIGURE)->figure;
    figure->panels = ARENA_ZERO(composer->keep, struct document_panel, SIDE_COUNT);
    if (!figure->panels)
        return arena_error(err);
    figure->columns = SIDE_COUNT;
    for (int side = 0; side < SIDE_COUNT; side++) {
        struct view view = {surface_look_from((enum surface_side)side), frame->height, false};
        view.look.centre = aabb_centre(frame->box);
        view.look.width = frame->width;
        figure->panels[side].title = titles[side];
        if (!draw_panel(composer, frame, painted, drawn, &view, &figure->panels[side], room, err))
            return false;
        figure->panel_count++;
    }
    const char *label = say_label(composer, painted->version);
    const char *shown =
        drawn->values
            ? say(composer, "%s: %s, each face in the colour of an upper bound of its distance to %s",
                  painted->said, label, painted->other)
        : painted->field ? say(composer, "%s, without colours: no distances are stored with the run", label)
                         : label;
    figure->caption =
        say(composer,
            "Fig. %zu. %s. Seen from six sides by parallel rays; each picture is %.3g %s wide. Rings "
            "have the numbers of the findings listed.%s",
            number, shown, frame->width, composer->units, drawn_how(composer, drawn));
    if (drawn->values)
        add_legend(composer, frame, figure);
    return true;
}

/* Straight onto the surface at a finding. */
static struct surface_look close_look(const struct frame *frame, const struct drawn *drawn,
                                      const struct json_t *finding)
{
    vec3 place = point_of(node_at(finding, "at"));
    struct surface_look look = surface_look_along(stored_surface_outward(&drawn->surface, place));
    double wanted = CLOSE_RADII * node_number(finding, "radius"), least = CLOSE_LEAST * frame->diagonal,
           greatest = CLOSE_GREATEST * frame->diagonal;
    look.centre = place;
    look.width = wanted > least ? wanted < greatest ? wanted : greatest : least;
    look.ahead = CLOSE_AHEAD * look.width;
    return look;
}

/* Draws the worst places of one mesh, each at its place among those of both. */
static bool add_close(struct composer *composer, const struct frame *frame, const struct painted *painted,
                      const struct drawn *drawn, struct document_figure *figure, struct arena *room,
                      struct error *err)
{
    for (size_t i = 0; i < frame->worst_count && i < CLOSE_MOST; i++) {
        const struct json_t *finding = finding_at(composer, frame->worst[i]);
        if (strcmp(node_text(finding, "mesh"), painted->mesh) != 0)
            continue;
        struct view view = {close_look(frame, drawn, finding), CLOSE_HEIGHT, true};
        figure->panels[i].title =
            say(composer, "no. %zu, %.3g %s wide", i + 1, view.look.width, composer->units);
        if (!draw_panel(composer, frame, painted, drawn, &view, &figure->panels[i], room, err))
            return false;
    }
    return true;
}

/* --- the frame --- */

static aabb box_of(const struct composer *composer, const char *mesh)
{
    const struct json_t *bounds = node_at(composer->record, say(composer, "%s.bounds", mesh));
    aabb box = aabb_empty();
    if (node_count(bounds, "min") != 3 || node_count(bounds, "max") != 3)
        return box;
    box = aabb_include(box, point_of(node_at(bounds, "min")));
    return aabb_include(box, point_of(node_at(bounds, "max")));
}

/* The next of 1, 2, 5 times a power of ten from a value on. */
static double round_number_above(double value)
{
    static const double steps[] = {1, 2, 5, 10};
    if (!(value > 0) || !isfinite(value))
        return 0;
    double power = pow(10, floor(log10(value)));
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++)
        if (value <= steps[i] * power)
            return steps[i] * power;
    return 10 * power;
}

static double both_ways(const struct composer *composer, const char *name)
{
    const struct json_t *deviation = node_at(composer->record, "deviation");
    return fmax(node_number(node_at(deviation, "reference_to_subject"), name),
                node_number(node_at(deviation, "subject_to_reference"), name));
}

/* False where there is nothing to look at. */
static bool frame_all(const struct composer *composer, struct frame *frame)
{
    aabb reference = box_of(composer, "reference");
    double greatest = both_ways(composer, "max.upper"), nearly = both_ways(composer, "p99"), tallest = 0;
    *frame = (struct frame){.box = box_of(composer, "subject")};
    if (!aabb_is_empty(reference))
        frame->box = aabb_include(aabb_include(frame->box, reference.min), reference.max);
    if (aabb_is_empty(frame->box))
        return false;
    for (int side = 0; side < SIDE_COUNT; side++) {
        struct surface_look look = surface_look_from((enum surface_side)side);
        double width, height;
        surface_look_extent(&look, frame->box, &width, &height);
        frame->width = fmax(frame->width, MARGIN * width);
        tallest = fmax(tallest, MARGIN * height);
    }
    frame->width = fmax(frame->width, tallest / TALLEST);
    frame->diagonal = vec3_distance(frame->box.min, frame->box.max);
    if (!(frame->width > 0) || !isfinite(frame->diagonal))
        return false;
    frame->height = (size_t)ceil(PANEL_WIDTH * tallest / frame->width);
    frame->height = frame->height < PANEL_LEAST ? PANEL_LEAST : frame->height;
    frame->top = round_number_above(fmax(nearly, TOP_LEAST * greatest));
    frame->goes_on = greatest > frame->top;
    frame->worst_count = compose_worst(composer, RING_MOST, frame->worst);
    return true;
}

static void say_missing(struct composer *composer, const struct painted *painted)
{
    add_text(composer, TEXT_QUIET,
             say(composer,
                 "There is no picture of %s: none was stored when it was measured. Measure the version again "
                 "(fettle remeasure, or Measure again in the page) and make the report anew.",
                 say_label(composer, painted->version)));
}

static bool add_mesh(struct composer *composer, const struct frame *frame, const struct painted *painted,
                     size_t *number, struct document_figure *close_up, struct arena room, struct error *err)
{
    struct drawn drawn;
    bool found;
    if (!open_surface(composer, painted, &drawn, &found, &room, err))
        return false;
    if (!found) {
        say_missing(composer, painted);
        return true;
    }
    return add_sides(composer, frame, painted, &drawn, ++*number, &room, err)
           && add_close(composer, frame, painted, &drawn, close_up, &room, err);
}

static bool add_all(struct composer *composer, const struct frame *frame, struct arena room,
                    struct error *err)
{
    const struct store_dossier *dossier = composer->dossier;
    bool alone = dossier->reference.id == 0;
    const char *subject = say_label(composer, &dossier->subject);
    const struct painted painted[] = {
        {&dossier->reference, "reference", "reference_face_distance_upper", subject, "Lost"},
        {&dossier->subject, "subject", alone ? NULL : "face_distance_upper",
         alone ? "" : say_label(composer, &dossier->reference), "Invented"},
    };
    struct document_figure close_up = {
        .panels = ARENA_ZERO(composer->keep, struct document_panel, CLOSE_MOST), .columns = CLOSE_MOST};
    size_t number = 0;
    if (!close_up.panels)
        return arena_error(err);
    for (size_t i = alone; i < 2; i++)
        if (!add_mesh(composer, frame, &painted[i], &number, &close_up, room, err))
            return false;
    for (size_t i = 0; i < CLOSE_MOST; i++) /* without those whose mesh has no surface */
        if (close_up.panels[i].pixels)
            close_up.panels[close_up.panel_count++] = close_up.panels[i];
    if (close_up.panel_count == 0)
        return true;
    close_up.caption =
        say(composer,
            "Fig. %zu. The worst places, each seen straight onto the surface, in the colours of the "
            "figures above; what stands before it is left away.",
            ++number);
    add_block(composer, BLOCK_FIGURE)->figure = close_up;
    return true;
}

bool compose_figures(struct composer *composer, struct error *err)
{
    struct frame frame;
    struct arena room;
    add_heading(composer, "Pictures");
    if (!frame_all(composer, &frame)) {
        add_text(composer, TEXT_QUIET, "The record tells no extent of the files, so that nothing is drawn.");
        return true;
    }
    if (!arena_split(composer->keep, arena_left(composer->keep) / 2, &room))
        return arena_error(err);
    bool ok = add_all(composer, &frame, room, err);
    arena_release(&room);
    return ok;
}
