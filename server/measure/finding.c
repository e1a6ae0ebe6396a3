/* finding.c - the worst places of each kind, with where they are and what to do. */
#include "measure/finding.h"

#include <stdio.h>
#include <string.h>

#include "measure/face_geometry.h"
#include "measure/finding_groups.h"
#include "measure/finding_places.h"
#include "measure/ranking.h"

const char *finding_kind_name(enum finding_kind kind)
{
    static const char *const names[FINDING_KIND_COUNT] = {
        [FINDING_NONMANIFOLD_EDGE] = "nonmanifold_edge",
        [FINDING_FLIPPED_FACES] = "flipped_faces",
        [FINDING_DUPLICATE_FACES] = "duplicate_faces",
        [FINDING_DEGENERATE_FACES] = "degenerate_faces",
        [FINDING_OPEN_LOOP] = "open_loop",
        [FINDING_NONMANIFOLD_VERTEX] = "nonmanifold_vertex",
        [FINDING_STRAY_SHELL] = "stray_shell",
        [FINDING_LOST] = "lost",
        [FINDING_INVENTED] = "invented",
    };
    return names[kind];
}

const char *finding_severity_name(enum finding_severity severity)
{
    static const char *const names[] = {
        [FINDING_FAULT] = "fault", [FINDING_WARNING] = "warning", [FINDING_NOTE] = "note"};
    return names[severity];
}

const char *finding_form_name(enum finding_form form)
{
    static const char *const names[] = {
        [FINDING_TWO_SIDED] = "two_sided", [FINDING_ONE_SIDED] = "one_sided",
        [FINDING_PATCH] = "patch",         [FINDING_HOLE] = "hole",
        [FINDING_SHELL] = "shell",         [FINDING_EVERYTHING] = "everything"};
    return names[form];
}

static enum finding_severity severity_of(enum finding_kind kind, enum mesh_kind mesh_kind)
{
    if (kind == FINDING_NONMANIFOLD_VERTEX || kind == FINDING_STRAY_SHELL)
        return FINDING_WARNING;
    if (kind == FINDING_OPEN_LOOP && mesh_kind == MESH_SCAN)
        return FINDING_WARNING;
    return FINDING_FAULT;
}

static vec3 finite_vec3(vec3 v)
{
    return (vec3){finite_or_nan(v.x), finite_or_nan(v.y), finite_or_nan(v.z)};
}

/* The corners of one place, ascending. */
struct corner_group {
    const struct measure_input *input;
    const uint32_t *corners;
    size_t count;
    bool are_sides;
};

/* The i-th point of the place about the centre in units: each corner, or both ends of each side. */
static vec3 point_of(const struct corner_group *place, size_t i)
{
    const struct measure_input *input = place->input;
    uint32_t c = place->corners[place->are_sides ? i / 2 : i];
    if (place->are_sides && i % 2 == 1)
        c = edges_next_corner(&input->edges, input->mesh, c);
    return centred_position(input, input->mesh->face_vertices[c]);
}

static void locate(const struct corner_group *place, struct finding *finding)
{
    size_t point_count = place->are_sides ? 2 * place->count : place->count;
    aabb box = aabb_empty();
    double radius = 0;
    for (size_t i = 0; i < point_count; i++)
        box = aabb_include(box, point_of(place, i));
    vec3 middle = aabb_centre(box);
    for (size_t i = 0; i < point_count; i++)
        radius = fmax(radius, vec3_distance(point_of(place, i), middle));
    finding->at = finite_vec3(vec3_add(vec3_scale(middle, place->input->unit), place->input->centre));
    finding->radius = finite_or_nan(radius * place->input->unit);
}

/* Corners ascend, so the corners of one face follow each other. */
static void list_faces(const struct corner_group *place, struct finding *finding)
{
    size_t latest = SIZE_MAX;
    for (size_t i = 0; i < place->count; i++) {
        size_t f = edges_face(&place->input->edges, place->corners[i]);
        if (f == latest)
            continue;
        latest = f;
        if (finding->face_count < FINDING_FACES_MAX)
            finding->faces[finding->face_count++] = f;
        finding->faces_total++;
    }
}

/* Which form it has, and what else its kind alone is told by. */
static void tell_apart(const struct corner_group *place, struct finding *finding)
{
    const struct measure_input *input = place->input;
    uint32_t first = place->corners[0], f = edges_face(&input->edges, first);
    uint32_t vertex = input->mesh->face_vertices[first];
    if (finding->kind == FINDING_FLIPPED_FACES)
        finding->form = input->shells.sheet_orientable[input->shells.face_sheet[f]] ? FINDING_TWO_SIDED
                                                                                    : FINDING_ONE_SIDED;
    if (finding->kind == FINDING_OPEN_LOOP)
        finding->edges = place->count;
    if (finding->kind == FINDING_NONMANIFOLD_VERTEX) {
        finding->vertex = vertex;
        finding->fans = input->fans.vertex_class_count[vertex];
    }
}

static void describe(struct finding *finding)
{
    char *text = finding->text;
    size_t room = sizeof finding->text, many = (size_t)finding->size;
    switch (finding->kind) {
    case FINDING_NONMANIFOLD_EDGE:
        snprintf(text, room,
                 many == 1
                     ? "%zu edge has more than two faces; delete the faces that are not surface"
                     : "%zu joined edges have more than two faces; delete the faces that are not surface",
                 many);
        break;
    case FINDING_FLIPPED_FACES:
        if (finding->form == FINDING_ONE_SIDED)
            snprintf(text, room,
                     "the surface is one-sided, so its faces cannot all agree; cut it here and join "
                     "it without the half turn");
        else
            snprintf(text, room,
                     many == 1 ? "%zu face runs against the faces around it; reverse it"
                               : "%zu faces run against the faces around them; reverse them",
                     many);
        break;
    case FINDING_DUPLICATE_FACES:
        snprintf(text, room,
                 many == 1 ? "%zu face repeats the vertices of another; delete the copy"
                           : "%zu faces repeat the vertices of others; delete the copies",
                 many);
        break;
    case FINDING_DEGENERATE_FACES:
        snprintf(text, room,
                 many == 1
                     ? "%zu face names a vertex twice or has no area; delete it or merge its corners"
                     : "%zu faces name a vertex twice or have no area; delete them or merge their corners",
                 many);
        break;
    case FINDING_OPEN_LOOP:
        snprintf(text, room,
                 "the surface is open along %zu edge%s; close it, or check that it is meant to be open",
                 finding->edges, finding->edges == 1 ? "" : "s");
        break;
    case FINDING_NONMANIFOLD_VERTEX:
        snprintf(
            text, room,
            "%zu separate fans of faces meet at vertex %zu alone; split the vertex or join the fans by faces",
            finding->fans, finding->vertex);
        break;
    case FINDING_STRAY_SHELL:
        snprintf(
            text, room,
            "a separate shell of %zu face%s is small beside the largest; delete it unless it belongs to the "
            "specimen",
            finding->faces_total, finding->faces_total == 1 ? "" : "s");
        break;
    case FINDING_LOST: /* finding_places.c */
    case FINDING_INVENTED:
    case FINDING_KIND_COUNT:
        break;
    }
}

static double size_in_file_units(const struct measure_input *input, enum finding_kind kind, double size)
{
    if (kind == FINDING_OPEN_LOOP)
        return finite_or_nan(size * input->unit);
    if (kind == FINDING_STRAY_SHELL)
        return finite_or_nan(size * input->unit * input->unit);
    return size;
}

static struct finding make_finding(const struct corner_group *place, enum finding_kind kind, double size,
                                   double score)
{
    struct finding finding = {.kind = kind,
                              .severity = severity_of(kind, place->input->kind),
                              .score = score,
                              .certain = kind != FINDING_STRAY_SHELL,
                              .distance = {NAN, NAN},
                              .size = size_in_file_units(place->input, kind, size),
                              .unit = finding_size_unit(kind)};
    locate(place, &finding);
    list_faces(place, &finding);
    tell_apart(place, &finding);
    describe(&finding);
    return finding;
}

/* The corners of the kept groups, gathered: those of kept group k are corners[begin[k]] ... [begin[k + 1]].
 */
static bool gather_corners(const struct measure_input *input, const struct finding_groups *groups,
                           const struct ranked *ranking, size_t kept, uint32_t *begin, uint32_t **corners,
                           struct arena *scratch, struct error *err)
{
    uint32_t *kept_place = ARENA_NEW(scratch, uint32_t, groups->count);
    *corners = ARENA_NEW(scratch, uint32_t, input->edges.corner_count);
    if (scratch->failed)
        return arena_error(err);
    memset(kept_place, 0xff, groups->count * sizeof *kept_place);
    for (uint32_t k = 0; k < kept; k++)
        kept_place[ranking[k].index] = k;
    for (size_t c = 0; c < input->edges.corner_count; c++) {
        uint32_t group = groups->corner_group[c];
        if (group != UINT32_MAX && kept_place[group] != UINT32_MAX)
            begin[kept_place[group] + 1]++;
    }
    for (size_t k = 0; k < kept; k++)
        begin[k + 1] += begin[k];
    for (uint32_t c = 0; c < input->edges.corner_count; c++) {
        uint32_t group = groups->corner_group[c];
        if (group != UINT32_MAX && kept_place[group] != UINT32_MAX)
            (*corners)[begin[kept_place[group]]++] = c;
    }
    memmove(begin + 1, begin, kept * sizeof *begin);
    begin[0] = 0;
    return true;
}

/* Whether the report counts anything from which findings of this kind are made. */
static bool is_there(const struct mesh_report *report, enum finding_kind kind)
{
    const size_t counted[FINDING_KIND_COUNT] = {
        [FINDING_NONMANIFOLD_EDGE] = report->topology.nonmanifold_edges,
        [FINDING_FLIPPED_FACES] = report->topology.inconsistent_edges,
        [FINDING_DUPLICATE_FACES] = report->counts.duplicate_faces,
        [FINDING_DEGENERATE_FACES] = report->counts.degenerate_faces,
        [FINDING_OPEN_LOOP] = report->topology.open_edges,
        [FINDING_NONMANIFOLD_VERTEX] = report->topology.nonmanifold_vertices,
        [FINDING_STRAY_SHELL] = report->topology.shells > 1,
    };
    return counted[kind] > 0;
}

/* Puts the worst groups of one kind into found, which has room for FINDING_PER_KIND_MAX. */
static bool find_kind(const struct measure_input *input, const struct mesh_report *report,
                      enum finding_kind kind, struct finding *found, struct mesh_findings *findings,
                      struct arena scratch, struct error *err)
{
    struct finding_groups groups;
    uint32_t begin[FINDING_PER_KIND_MAX + 1] = {0}, *corners;
    struct arena labels; /* one number a corner, two a group: never more groups than corners */
    if (!is_there(report, kind))
        return true;
    if (!arena_split(&scratch, 20 * input->edges.corner_count + 4096, &labels))
        return arena_error(err);
    if (!finding_groups_build(input, kind, &groups, &labels, scratch, err))
        return false;
    findings->total_by_kind[kind] = groups.count;
    findings->total_by_severity[severity_of(kind, input->kind)] += groups.count;
    if (groups.count == 0)
        return true;
    struct ranked *ranking = ARENA_NEW(&scratch, struct ranked, groups.count);
    if (scratch.failed)
        return arena_error(err);
    for (size_t g = 0; g < groups.count; g++)
        ranking[g] = (struct ranked){groups.score[g], g};
    ranking_sort(ranking, groups.count);
    size_t kept = groups.count < FINDING_PER_KIND_MAX ? groups.count : FINDING_PER_KIND_MAX;
    if (!gather_corners(input, &groups, ranking, kept, begin, &corners, &scratch, err))
        return false;
    for (size_t k = 0; k < kept; k++) {
        size_t g = ranking[k].index;
        struct corner_group place = {input, corners + begin[k], begin[k + 1] - begin[k], groups.are_sides};
        found[findings->kind_count[kind]++] = make_finding(&place, kind, groups.size[g], groups.score[g]);
    }
    return true;
}

bool mesh_findings_build(const struct measure_input *input, const struct mesh_report *report,
                         struct mesh_findings *findings, struct arena *keep, struct arena scratch,
                         struct error *err)
{
    size_t count = 0;
    memset(findings, 0, sizeof *findings);
    findings->found = ARENA_NEW(keep, struct finding, (size_t)FINDING_KIND_COUNT * FINDING_PER_KIND_MAX);
    if (keep->failed)
        return arena_error(err);
    for (size_t k = 0; k < FINDING_KIND_COUNT; k++) {
        if (!find_kind(input, report, (enum finding_kind)k, findings->found + count, findings, scratch, err))
            return false;
        count += findings->kind_count[k];
    }
    arena_trim(keep, findings->found, count, sizeof *findings->found);
    return true;
}

/* Findings of one kind on their way into the list. */
struct gathering {
    struct finding *found; /* [FINDING_PER_KIND_MAX] */
    size_t count;
};

/* Those of one mesh that there still is room for. */
static void gather_kind(const struct mesh_findings *own, enum finding_kind kind, enum finding_mesh mesh,
                        struct gathering *gathering)
{
    const struct finding *from = own->found;
    for (size_t k = 0; k < (size_t)kind; k++)
        from += own->kind_count[k];
    for (size_t i = 0; i < own->kind_count[kind] && gathering->count < FINDING_PER_KIND_MAX; i++) {
        gathering->found[gathering->count] = from[i];
        gathering->found[gathering->count++].mesh = mesh;
    }
}

static void add_totals(const struct mesh_findings *own, enum finding_mesh mesh, struct finding_list *findings)
{
    for (size_t k = 0; k < FINDING_KIND_COUNT; k++) {
        findings->total += own->total_by_kind[k];
        findings->total_by_kind[mesh][k] = own->total_by_kind[k];
    }
    for (size_t s = 0; s < FINDING_SEVERITY_COUNT; s++)
        findings->total_by_severity[mesh][s] = own->total_by_severity[s];
}

/* Appends found to the list, worst first; of equals the subject's come first, as they do in found. */
static bool append_worst_first(const struct finding *found, size_t count, struct finding *entries,
                               struct finding_list *findings, struct arena scratch, struct error *err)
{
    struct ranked *ranking = ARENA_NEW(&scratch, struct ranked, count);
    if (scratch.failed)
        return arena_error(err);
    for (size_t i = 0; i < count; i++)
        ranking[i] = (struct ranked){found[i].score, i};
    ranking_sort(ranking, count);
    for (size_t i = 0; i < count; i++)
        entries[findings->count++] = found[ranking[i].index];
    return true;
}

bool findings_build(const struct mesh_findings *subject, const struct mesh_findings *reference,
                    const struct finding_distances *distances, struct finding_list *findings,
                    struct arena *keep, struct arena scratch, struct error *err)
{
    struct finding *entries =
        ARENA_NEW(keep, struct finding, (size_t)FINDING_KIND_COUNT * FINDING_PER_KIND_MAX);
    struct gathering gathering = {ARENA_NEW(&scratch, struct finding, FINDING_PER_KIND_MAX), 0};
    memset(findings, 0, sizeof *findings);
    findings->level_lost = findings->level_invented = NAN;
    if (keep->failed || scratch.failed)
        return arena_error(err);
    findings->entries = entries;
    add_totals(subject, FINDING_SUBJECT, findings);
    if (reference)
        add_totals(reference, FINDING_REFERENCE, findings);
    for (size_t k = 0; k < FINDING_KIND_COUNT; k++) {
        enum finding_kind kind = (enum finding_kind)k;
        gathering.count = 0;
        gather_kind(subject, kind, FINDING_SUBJECT, &gathering);
        if (reference)
            gather_kind(reference, kind, FINDING_REFERENCE, &gathering);
        if (((kind == FINDING_LOST || kind == FINDING_INVENTED) && distances
             && !finding_places(distances, kind, gathering.found, &gathering.count, findings, scratch, err))
            || !append_worst_first(gathering.found, gathering.count, entries, findings, scratch, err))
            return false;
    }
    arena_trim(keep, entries, findings->count, sizeof *entries);
    return true;
}
