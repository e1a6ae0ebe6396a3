/* test_mesh.c
 *   valid_*    what mesh_is_valid accepts
 *   invalid_*  each single fault it must see
 *   warning_*  the list of remarks counts by code and never overflows
 */
#include "mesh/mesh.h"
#include "mesh/warning.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>

static vec3 positions[4];
static uint32_t offsets[3];
static uint32_t corners[7];

/* A triangle and a quad over four points of the unit square. */
static struct mesh sound_mesh(void)
{
    positions[0] = (vec3){0, 0, 0};
    positions[1] = (vec3){1, 0, 0};
    positions[2] = (vec3){1, 1, 0};
    positions[3] = (vec3){0, 1, 0};
    offsets[0] = 0;
    offsets[1] = 3;
    offsets[2] = 7;
    for (uint32_t c = 0; c < 3; c++)
        corners[c] = c;
    for (uint32_t c = 0; c < 4; c++)
        corners[3 + c] = c;
    return (struct mesh){4, 2, positions, offsets, corners, {0}};
}

Test(mesh, valid_mesh_and_empty_mesh)
{
    struct mesh mesh = sound_mesh(), empty = {0};
    cr_expect(mesh_is_valid(&mesh));
    cr_expect(mesh_is_valid(&empty));
    cr_expect(eq(sz, mesh_corner_count(&mesh), 7));
    cr_expect(eq(sz, mesh_face_size(&mesh, 1), 4));
    cr_expect(eq(sz, mesh_corner_count(&empty), 0));
}

Test(mesh, invalid_corner_beyond_the_vertices)
{
    struct mesh mesh = sound_mesh();
    corners[6] = 4;
    cr_expect(not(mesh_is_valid(&mesh)));
}

Test(mesh, invalid_face_of_two_corners)
{
    struct mesh mesh = sound_mesh();
    offsets[1] = 2;
    cr_expect(not(mesh_is_valid(&mesh)));
}

Test(mesh, invalid_offsets_that_descend_or_start_late)
{
    struct mesh mesh = sound_mesh();
    offsets[1] = 8;
    cr_expect(not(mesh_is_valid(&mesh)));
    mesh = sound_mesh();
    offsets[0] = 1;
    cr_expect(not(mesh_is_valid(&mesh)));
}

Test(mesh, invalid_position_that_is_not_finite)
{
    struct mesh mesh = sound_mesh();
    positions[2].y = (double)NAN;
    cr_expect(not(mesh_is_valid(&mesh)));
    positions[2].y = (double)INFINITY;
    cr_expect(not(mesh_is_valid(&mesh)));
}

Test(mesh, warning_of_one_code_is_one_entry_with_its_first_text)
{
    struct warning_list list = {0};
    warning_add(&list, "trailing_data", 2, "%d bytes", 17);
    warning_add(&list, "compressed", 1, "gzip");
    warning_add(&list, "trailing_data", 3, "later\n");
    cr_expect(eq(sz, list.count, 2));
    cr_expect(eq(sz, list.entries[0].count, 5));
    cr_expect(eq(str, list.entries[0].text, "17 bytes"));
}

Test(mesh, warning_list_that_is_full_drops_new_codes_only)
{
    static char names[WARNING_MAX + 5][16];
    struct warning_list list = {0};
    for (int i = 0; i < WARNING_MAX + 5; i++) {
        snprintf(names[i], sizeof names[i], "c%d", i);
        warning_add(&list, names[i], 1, "%s", "\x01");
    }
    warning_add(&list, names[0], 1, "again");
    cr_expect(eq(sz, list.count, WARNING_MAX));
    cr_expect(eq(sz, list.entries[0].count, 2));
    cr_expect(eq(str, list.entries[0].text, "?"));
}
