/* fixture_sample.c - opens and reads a sample mesh. */
#include "support/fixture_sample.h"

#include <criterion/criterion.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "io/mesh_file.h"
#include "support/fixture_shapes.h"

const char *fixture_shared_folder(void)
{
    const char *folder = getenv("FETTLE_SHARED");
    return folder && *folder ? folder : "../shared";
}

struct mesh fixture_sample(const char *name)
{
    struct arena *keep = fixture_arena_of((size_t)128 << 20), *scratch = fixture_arena_of((size_t)128 << 20);
    struct mesh mesh;
    struct mesh_file file;
    struct error err;
    char path[4096];

    snprintf(path, sizeof path, "%s/data/%s", fixture_shared_folder(), name);
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        cr_skip("sample mesh %s not found: set FETTLE_SHARED", name);
    cr_assert(mesh_file_read(fd, name, 2, NULL, &mesh, &file, keep, *scratch, &err), "%s", err.text);
    close(fd);
    return mesh;
}
