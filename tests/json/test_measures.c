/* test_measures.c
 *   list_*  schema/measures.json as the program carries it: complete, no path twice, groups together
 *   path_*  the way along a dotted path */
#include "json/measures.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <string.h>

static struct measure_list opened(void)
{
    struct measure_list list;
    struct error err;
    cr_assert(measures_open(&list, &err), "%s", err.text);
    return list;
}

Test(measures, list_has_every_text_and_no_path_twice)
{
    struct measure_list list = opened();

    cr_expect_geq(list.measure_count, 60u);
    for (size_t i = 0; i < list.measure_count; i++) {
        const struct measure_definition *measure = &list.measures[i];
        cr_assert(measure->path && measure->name && measure->unit && measure->group, "entry %zu", i);
        cr_expect(measure->definition && strlen(measure->definition) > 10, "%s", measure->path);
        cr_expect(measure->source && *measure->source, "%s", measure->path);
        cr_expect(measure->of_scan || measure->of_cage, "%s", measure->path);
        cr_expect_eq(measures_find(&list, measure->path), measure, "%s is there twice", measure->path);
        cr_expect_eq(!measure->lower, !measure->upper, "%s has one end only", measure->path);
        cr_expect(!measure->upper || strcmp(measure->upper, measure->path) == 0,
                  "%s: the path is not the upper end", measure->path);
    }
    measures_close(&list);
}

Test(measures, list_keeps_groups_together_in_their_order)
{
    struct measure_list list = opened();
    size_t group = 0;

    for (size_t i = 0; i < list.measure_count; i++) {
        while (group < list.group_count && strcmp(list.groups[group].id, list.measures[i].group) != 0)
            group++;
        cr_assert_lt(group, list.group_count, "%s: its group is unknown or came before",
                     list.measures[i].path);
    }
    cr_expect_eq(group, list.group_count - 1);
    measures_close(&list);
}

Test(measures, list_is_the_file_itself)
{
    size_t size;
    const char *text = measures_text(&size);
    cr_expect_eq(text[0], '{');
    cr_expect_eq(text[size - 1], '\n');
}

Test(measures, path_leads_through_objects_only)
{
    json_t *record = json_pack("{s:{s:{s:f,s:n,s:b}},s:[i]}", "a", "b", "c", 2.5, "d", "e", 1, "f", 7);
    double value = 0;

    cr_expect(measure_number(record, "a.b.c", &value));
    cr_expect_eq(value, 2.5);
    cr_expect_not(measure_number(record, "a.b.d", &value));
    cr_expect_not(measure_number(record, "a.b.e", &value));
    cr_expect_not(measure_number(record, "a.b", &value));
    cr_expect_not(measure_number(record, "a.b.c.d", &value));
    cr_expect_not(measure_number(record, "f.0", &value));
    cr_expect_null(measure_node(record, "a.x.c"));
    cr_expect_eq(value, 2.5);
    json_decref(record);
}
