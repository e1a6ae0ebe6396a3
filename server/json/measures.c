/* measures.c - schema/measures.json inside the program, and the way along a dotted path. */
#include "json/measures.h"

#include "json/record_pick.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

/* The bytes of the file, put here by the assembler; the Makefile makes this object anew when they change. */
__asm__(".section .rodata\n"
        ".global measures_bytes\n"
        ".global measures_bytes_end\n"
        "measures_bytes:\n"
        ".incbin \"schema/measures.json\"\n"
        "measures_bytes_end:\n"
        ".previous\n");
extern const char measures_bytes[] __attribute__((visibility("hidden")));
extern const char measures_bytes_end[] __attribute__((visibility("hidden")));

const char *measures_text(size_t *size)
{
    *size = (uintptr_t)measures_bytes_end - (uintptr_t)measures_bytes;
    return measures_bytes;
}

static const char *text_at(const json_t *entry, const char *key)
{
    return json_string_value(json_object_get(entry, key));
}

static bool lists(const json_t *array, const char *word)
{
    for (size_t i = 0; i < json_array_size(array); i++)
        if (strcmp(json_string_value(json_array_get(array, i)), word) == 0)
            return true;
    return false;
}

static enum measure_direction direction_named(const char *word)
{
    return strcmp(word, "lower") == 0    ? MEASURE_LOWER_IS_BETTER
           : strcmp(word, "higher") == 0 ? MEASURE_HIGHER_IS_BETTER
                                         : MEASURE_NO_DIRECTION;
}

static enum measure_certainty certainty_named(const char *word)
{
    return strcmp(word, "certified") == 0 ? MEASURE_CERTIFIED
           : strcmp(word, "sampled") == 0 ? MEASURE_SAMPLED
                                          : MEASURE_EXACT;
}

static struct measure_definition definition_of(const json_t *entry)
{
    return (struct measure_definition){
        .path = text_at(entry, "path"),
        .name = text_at(entry, "name"),
        .group = text_at(entry, "group"),
        .unit = text_at(entry, "unit"),
        .definition = text_at(entry, "definition"),
        .source = text_at(entry, "source"),
        .direction = direction_named(text_at(entry, "direction")),
        .certainty = certainty_named(text_at(entry, "certified")),
        .of_scan = lists(json_object_get(entry, "kinds"), "scan"),
        .of_cage = lists(json_object_get(entry, "kinds"), "cage"),
        .stored = json_is_true(json_object_get(entry, "stored")),
        .lower = text_at(entry, "lower"),
        .upper = text_at(entry, "upper"),
        .halfwidth = text_at(entry, "halfwidth"),
        .level = text_at(entry, "level"),
        .per_tolerance = json_object_get(entry, "per") != NULL,
    };
}

bool measures_open(struct measure_list *list, struct error *err)
{
    size_t size;
    const char *text = measures_text(&size);

    memset(list, 0, sizeof *list);
    list->document = json_loadb(text, size, JSON_REJECT_DUPLICATES, NULL);
    const json_t *groups = json_object_get(list->document, "groups");
    const json_t *measures = json_object_get(list->document, "measures");
    list->groups = calloc(json_array_size(groups) + 1, sizeof *list->groups);
    list->measures = calloc(json_array_size(measures) + 1, sizeof *list->measures);
    if (!list->document || !list->groups || !list->measures) {
        measures_close(list);
        return error_set(err, ERROR_MACHINE, "memory is out while reading the list of measures");
    }
    list->definitions = (int)json_integer_value(json_object_get(list->document, "definitions"));
    list->group_count = json_array_size(groups);
    for (size_t i = 0; i < list->group_count; i++) {
        const json_t *group = json_array_get(groups, i);
        list->groups[i] = (struct measure_group){text_at(group, "id"), text_at(group, "title")};
    }
    list->measure_count = json_array_size(measures);
    for (size_t i = 0; i < list->measure_count; i++)
        list->measures[i] = definition_of(json_array_get(measures, i));
    return true;
}

void measures_close(struct measure_list *list)
{
    json_decref(list->document);
    free(list->groups);
    free(list->measures);
    memset(list, 0, sizeof *list);
}

const struct measure_definition *measures_find(const struct measure_list *list, const char *path)
{
    for (size_t i = 0; i < list->measure_count; i++)
        if (strcmp(list->measures[i].path, path) == 0)
            return &list->measures[i];
    return NULL;
}

const struct measure_definition *measures_find_place(const struct measure_list *list, const char *path)
{
    static const char reference[] = "reference.";
    bool of_reference = strncmp(path, reference, sizeof reference - 1) == 0;
    char name[160];

    snprintf(name, sizeof name, "%s%s", of_reference ? "subject." : "",
             path + (of_reference ? sizeof reference - 1 : 0));
    const struct measure_definition *found = measures_find(list, name);
    if (found)
        return found;
    size_t length = strlen(name);
    snprintf(name + length, sizeof name - length, ".upper");
    return measures_find(list, name);
}

struct json_t *measure_node(const struct json_t *record, const char *path)
{
    json_t *node = (json_t *)record;
    while (node && *path) {
        size_t length = strcspn(path, ".");
        node = json_object_getn(node, path, length);
        path += length + (path[length] == '.');
    }
    return node;
}

enum { SAMPLED_PLACES_MAX = 2 };

/* The statistics on whose samples a measure rests where they have some: a list of paths. */
struct sampled_places {
    size_t count;
    char paths[SAMPLED_PLACES_MAX][160];
};

static void add_sampled(struct sampled_places *places, const char *deviation, const char *way,
                        ptrdiff_t bytes)
{
    snprintf(places->paths[places->count++], sizeof places->paths[0], "%s%.*s.sampled.N", deviation,
             (int)bytes, way);
}

static struct sampled_places sampled_places(const struct measure_definition *measure)
{
    static const char excess[] = "control_excess.";
    struct sampled_places places = {.count = 0};
    const char *path = measure->path, *way = path + sizeof excess - 1;
    bool is_excess = strncmp(path, excess, sizeof excess - 1) == 0;

    if (measure->halfwidth || measure->per_tolerance) {
        add_sampled(&places, "", path, strrchr(path, '.') - path);
    } else if (is_excess && strstr(way, ".mean.")) {
        ptrdiff_t bytes = strstr(way, ".mean.") - way;
        add_sampled(&places, "deviation.", way, bytes);
        add_sampled(&places, "deviation_limit.", way, bytes);
    }
    return places;
}

bool measure_certified_path(const struct measure_definition *measure, char *path, size_t size)
{
    const char *slot = strrchr(measure->path, '.');

    if (!measure->halfwidth || measure->certainty != MEASURE_CERTIFIED || !slot)
        return false;
    snprintf(path, size, "%.*s.certified%s", (int)(slot - measure->path), measure->path, slot);
    return true;
}

bool measure_is_sampled(const struct json_t *record, const struct measure_definition *measure)
{
    double count;

    if (measure->certainty == MEASURE_SAMPLED)
        return true;
    struct sampled_places places = sampled_places(measure);
    for (size_t i = 0; i < places.count; i++)
        if (measure_number(record, places.paths[i], &count))
            return true;
    return false;
}

bool measure_add_places(const struct measure_definition *measure, struct json_t *places)
{
    const char *paths[] = {measure->path, measure->lower, measure->upper, measure->halfwidth, measure->level};
    struct sampled_places sampled = sampled_places(measure);

    for (size_t i = 0; i < sizeof paths / sizeof *paths; i++)
        if (paths[i] && !record_places_add(places, paths[i]))
            return false;
    for (size_t i = 0; i < sampled.count; i++)
        if (!record_places_add(places, sampled.paths[i]))
            return false;
    return true;
}

bool measure_number(const struct json_t *record, const char *path, double *value)
{
    const json_t *node = measure_node(record, path);
    if (!json_is_number(node))
        return false;
    *value = json_number_value(node);
    return true;
}
