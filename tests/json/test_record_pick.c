/* test_record_pick.c
 *   places_*  paths become nested objects
 *   pick_*    what is kept, what is passed over, what is refused
 *   every_*   all measures read the same of what was picked as of the whole record */
#include "json/measures.h"
#include "json/record_pick.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

static json_t *places_of(const char *const *paths)
{
    json_t *places = json_object();
    for (; *paths; paths++)
        cr_assert(record_places_add(places, *paths), "%s", *paths);
    return places;
}

static void expect_text(json_t *tree, const char *text)
{
    char *found = tree ? json_dumps(tree, JSON_COMPACT) : NULL;
    cr_expect(found && strcmp(found, text) == 0, "%s instead of %s", found ? found : "nothing", text);
    free(found);
    json_decref(tree);
}

Test(record_pick, places_nest_and_the_shorter_path_has_all_below)
{
    expect_text(places_of((const char *const[]){"a.b.c", "a.d", NULL}),
                "{\"a\":{\"b\":{\"c\":true},\"d\":true}}");
    expect_text(places_of((const char *const[]){"a.b", "a.b.c", NULL}), "{\"a\":{\"b\":true}}");
    expect_text(places_of((const char *const[]){"a.b.c", "a.b", NULL}), "{\"a\":{\"b\":true}}");
}

Test(record_pick, pick_keeps_what_is_named)
{
    static const struct {
        const char *name, *text, *picked;
    } cases[] = {
        {"first", "{\"a\":{\"b\":1.5},\"x\":2}", "{\"a\":{\"b\":1.5}}"},
        {"last", "{\"x\":2,\"a\":{\"y\":3,\"b\":1}}", "{\"a\":{\"b\":1}}"},
        {"between", "{\"x\":[1,{\"a\":2}],\"a\":{\"y\":{\"b\":7},\"b\":null,\"z\":3},\"y\":{}}",
         "{\"a\":{\"b\":null}}"},
        {"all below", "{\"c\":[{\"x\":1},[2]],\"a\":{\"b\":{\"x\":{\"y\":3}}}}",
         "{\"c\":[{\"x\":1},[2]],\"a\":{\"b\":{\"x\":{\"y\":3}}}}"},
        {"no object there", "{\"a\":null,\"c\":\"b\"}", "{\"a\":null,\"c\":\"b\"}"},
        {"none", "{\"x\":1,\"y\":[]}", "{}"},
        {"empty", "{}", "{}"},
        {"brackets, quotes and commas in texts",
         "{\"x\":\"}],\\\"a\\\\\",\"c\":\"{\\\"b\\\":1,\\\\\",\"y}\":\"\\\"\"}",
         "{\"c\":\"{\\\"b\\\":1,\\\\\"}"},
        {"blanks", " { \"x\" : [ 1 , 2 ] ,\n\t\"a\" : { \"x\" : 1 , \"b\" : 2 } }\r\n", "{\"a\":{\"b\":2}}"},
    };
    json_t *places = places_of((const char *const[]){"a.b", "c", NULL});
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        json_t *picked = record_pick(cases[i].text, strlen(cases[i].text), places);
        cr_expect(picked, "%s", cases[i].name);
        expect_text(picked, cases[i].picked);
    }
    json_decref(places);
}

Test(record_pick, pick_refuses_what_is_no_object_or_ends_early)
{
    static const char whole[] = "{\"x\":[{\"y\":\"\\\"]\"}],\"a\":{\"x\":1,\"b\":\"\\u00e9\"},\"c\":[1,2]}";
    static const char *const wrong[] = {"[]", "1", "\"a\"", "{a:1}", "{\"a\" 1}", "{\"a\":}", "{\"c\":[1}"};
    json_t *places = places_of((const char *const[]){"a.b", "c", NULL});
    for (size_t size = 0; size < sizeof whole - 1; size++) {
        char *part = malloc(size + 1); /* of its own, so that the sanitizer sees a byte read too far */
        memcpy(part, whole, size);
        part = realloc(part, size ? size : 1);
        cr_expect_null(record_pick(part, size, places), "the first %zu bytes", size);
        free(part);
    }
    expect_text(record_pick(whole, sizeof whole - 1, places), "{\"a\":{\"b\":\"é\"},\"c\":[1,2]}");
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++)
        cr_expect_null(record_pick(wrong[i], strlen(wrong[i]), places), "%s", wrong[i]);
    json_decref(places);
}

static json_t *object_in(json_t *object, const char *key)
{
    if (!json_is_object(json_object_get(object, key)))
        json_object_set_new(object, key, json_object());
    return json_object_get(object, key);
}

/* Puts a number there, with something else beside each step of the way. */
static void put(json_t *record, const char *path, double value)
{
    char key[80];
    size_t length;
    for (json_t *node = record; *path; path += length + (path[length] == '.')) {
        length = strcspn(path, ".");
        snprintf(key, sizeof key, "%.*s", (int)length, path);
        json_object_set_new(node, "beside", json_pack("[{s:[i,i]}]", key, 1, 2));
        if (path[length])
            node = object_in(node, key);
        else
            json_object_set_new(node, key, json_real(value));
    }
}

/* A record with another number at every place that schema/measures.json names. */
static json_t *full_record(const struct measure_list *list)
{
    json_t *record = json_object();
    double value = 0.5;
    for (size_t m = 0; m < list->measure_count; m++) {
        const struct measure_definition *measure = &list->measures[m];
        const char *paths[] = {measure->path, measure->lower, measure->upper, measure->halfwidth,
                               measure->level};
        for (size_t i = 0; i < sizeof paths / sizeof *paths; i++)
            if (paths[i])
                put(record, paths[i], value++);
    }
    return record;
}

static void expect_alike(const struct measure_list *list, const json_t *whole, const char *which)
{
    char *text = json_dumps(whole, JSON_COMPACT);
    json_t *places = json_object();
    for (size_t m = 0; m < list->measure_count; m++)
        cr_assert(measure_add_places(&list->measures[m], places));
    json_t *picked = record_pick(text, strlen(text), places);
    cr_assert(picked);
    cr_expect_null(measure_node(picked, "subject.beside"));
    for (size_t m = 0; m < list->measure_count; m++) {
        const struct measure_definition *measure = &list->measures[m];
        const char *paths[] = {measure->path, measure->lower, measure->upper, measure->halfwidth,
                               measure->level};
        for (size_t i = 0; i < sizeof paths / sizeof *paths; i++)
            if (paths[i])
                cr_expect(json_equal(measure_node(picked, paths[i]), measure_node(whole, paths[i])), "%s",
                          paths[i]);
        cr_expect_eq(measure_is_sampled(picked, measure), measure_is_sampled(whole, measure), "%s, %s",
                     measure->path, which);
    }
    json_decref(places);
    json_decref(picked);
    free(text);
}

Test(record_pick, every_measure_reads_the_same)
{
    static const char *const sampled[] = {
        "deviation.reference_to_subject.sampled.N", "deviation.subject_to_reference.sampled.N",
        "deviation_limit.reference_to_subject.sampled.N", "deviation_limit.subject_to_reference.sampled.N"};
    struct measure_list list;
    struct error err;
    cr_assert(measures_open(&list, &err), "%s", err.text);
    json_t *record = full_record(&list);
    expect_alike(&list, record, "nothing sampled");
    for (size_t i = 0; i < sizeof sampled / sizeof *sampled; i++) {
        json_t *other = json_deep_copy(record);
        put(other, sampled[i], 1000);
        expect_alike(&list, other, sampled[i]);
        json_decref(other);
    }
    json_decref(record);
    measures_close(&list);
}
