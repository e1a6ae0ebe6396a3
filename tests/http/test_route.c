/* test_route.c
 *   find_*   addresses and methods
 *   table_*  what must hold of every route */
#include "http/route.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>

static struct route_match find(const char *method, const char *raw)
{
    static struct target target; /* stays for match.name */
    struct error err;
    target_close(&target);
    cr_assert(target_parse(raw, &target, &err));
    return route_find(method, &target);
}

Test(route, find_takes_id_and_name)
{
    struct route_match match = find("GET", "/api/v1/runs/42/fields/distance");

    cr_assert(match.route != NULL);
    cr_expect(eq(str, (char *)match.route->pattern, "/api/v1/runs/{id}/fields/{name}"));
    cr_expect(eq(i64, match.id, 42));
    cr_expect(eq(str, (char *)match.name, "distance"));
}

Test(route, find_answers_head_where_there_is_get)
{
    cr_expect(find("HEAD", "/api/v1/runs/1").route == find("GET", "/api/v1/runs/1").route);
    cr_expect(find("HEAD", "/api/v1/jobs/1/cancel").route == NULL);
}

Test(route, find_prefers_a_head_of_its_own)
{
    struct route_match match = find("HEAD", "/api/v1/uploads/a");
    cr_assert(match.route != NULL);
    cr_expect(eq(str, (char *)match.route->method, "HEAD"));
    cr_expect(eq(str, find("PUT", "/api/v1/uploads/a").allow, "HEAD, GET, PATCH, DELETE"));
}

Test(route, find_tells_the_methods_of_a_known_address)
{
    struct route_match match = find("DELETE", "/api/v1/specimens/7");

    cr_expect(match.route == NULL);
    cr_expect(match.is_known);
    cr_expect(eq(str, match.allow, "GET, HEAD, PATCH"));
}

Test(route, find_knows_no_other_address)
{
    static const char *const raws[] = {"/",
                                       "/api",
                                       "/api/v1",
                                       "/api/v1/",
                                       "/api/v1/runs/",
                                       "/api/v1/runs/0",
                                       "/api/v1/runs/01",
                                       "/api/v1/runs/-1",
                                       "/api/v1/runs/1x",
                                       "/api/v1/runs/1/fields",
                                       "/api/v1/runs/9999999999999999999",
                                       "/api/v1/Runs",
                                       "/healthz/",
                                       "/api/v2/runs"};
    for (size_t i = 0; i < sizeof raws / sizeof *raws; i++)
        cr_expect(not(find("GET", raws[i]).is_known), "%s", raws[i]);
}

Test(route, table_has_each_route_once)
{
    for (size_t i = 0; i < route_count(); i++)
        for (size_t k = 0; k < i; k++)
            cr_expect(strcmp(route_at(i)->pattern, route_at(k)->pattern)
                          || strcmp(route_at(i)->method, route_at(k)->method),
                      "%s %s", route_at(i)->method, route_at(i)->pattern);
}

Test(route, table_takes_no_body_where_it_only_reads)
{
    for (size_t i = 0; i < route_count(); i++)
        if (!strcmp(route_at(i)->method, "GET"))
            cr_expect(route_at(i)->body == ROUTE_NO_BODY, "%s", route_at(i)->pattern);
}
