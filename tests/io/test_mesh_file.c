/* test_mesh_file.c
 *   fd_*       what a descriptor may be, and what may happen to it meanwhile
 *   shared_*   published counts of real meshes (skipped without the shared folder)
 */
#include "reading.h"
#include "support/fixture_sample.h"

#include <criterion/criterion.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char triangle[] = "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n";

static int temporary_file(const char *bytes, size_t count)
{
    char path[] = "/tmp/fettle-test-XXXXXX";
    int fd = mkstemp(path);
    cr_assert(fd >= 0);
    unlink(path);
    cr_assert_eq(write(fd, bytes, count), (ssize_t)count);
    return fd;
}

static struct reading *read_fd(int fd, const char *name, const struct progress *progress)
{
    struct reading *r = calloc(1, sizeof *r);
    struct error err;
    cr_assert(arena_open(&r->keep, 64 << 20, &err) && arena_open(&r->scratch, 64 << 20, &err));
    r->ok = mesh_file_read(fd, name, 1, progress, &r->mesh, &r->file, &r->keep, r->scratch, &r->err);
    if (!r->ok)
        error_describe(&r->err, r->refusal, sizeof r->refusal);
    return r;
}

Test(io_mesh_file, fd_gives_mesh_and_digest_of_the_bytes)
{
    int fd = temporary_file(triangle, sizeof triangle - 1);
    struct reading *r = read_fd(fd, "a.obj", NULL);
    cr_assert(r->ok, "%s", r->refusal);
    cr_expect_eq(r->mesh.face_count, 1);
    cr_expect_eq(r->file.bytes, sizeof triangle - 1);
    cr_expect_eq(r->file.inflated_bytes, sizeof triangle - 1);
    cr_expect_null(r->file.compression);
    /* printf 'v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n' | sha256sum */
    cr_expect_str_eq(r->file.sha256, "697b00ab13410c52a542d2e9c63711fcc04e9cbf6c0d3439a9b43cc812e6e713");
    cr_expect_str_eq(r->file.name, "a.obj");
    close(fd);
    reading_close(r);
}

Test(io_mesh_file, fd_may_be_empty)
{
    int fd = temporary_file("", 0);
    struct reading *r = read_fd(fd, "a.stl", NULL);
    cr_expect_eq(r->err.code, ERROR_EMPTY);
    /* SHA-256 of no bytes: FIPS 180-4 examples */
    cr_expect_str_eq(r->file.sha256, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    close(fd);
    reading_close(r);
}

Test(io_mesh_file, fd_must_be_a_regular_file)
{
    int ends[2];
    cr_assert_eq(pipe(ends), 0);
    int folder = open("/", O_RDONLY | O_DIRECTORY);
    int fds[] = {ends[0], folder};
    for (int i = 0; i < 2; i++) {
        struct reading *r = read_fd(fds[i], "a.obj", NULL);
        cr_expect_eq(r->err.code, ERROR_TYPE, "%s", r->refusal);
        reading_close(r);
    }
    close(ends[0]);
    close(ends[1]);
    close(folder);
}

struct meddler {
    int fd;
    off_t size;
    int calls;
    double last;
    bool stop;
};

static bool meddle(void *context, const char *stage, double fraction)
{
    struct meddler *meddler = context;
    cr_expect_str_eq(stage, "read");
    cr_expect(fraction >= meddler->last && fraction <= 1.0, "%g after %g", fraction, meddler->last);
    meddler->last = fraction;
    if (++meddler->calls == 2 && meddler->size >= 0)
        cr_assert_eq(ftruncate(meddler->fd, meddler->size), 0);
    return !meddler->stop;
}

Test(io_mesh_file, fd_that_changes_meanwhile_is_refused_not_a_crash)
{
    static const off_t sizes[] = {0, 10, 5000000};
    for (int i = 0; i < 3; i++) {
        int fd = temporary_file(triangle, sizeof triangle - 1);
        struct meddler meddler = {fd, sizes[i], 0, 0.0, false};
        struct progress progress = {meddle, &meddler};
        struct reading *r = read_fd(fd, "a.obj", &progress);
        cr_expect(!r->ok);
        cr_expect_eq(r->err.code, ERROR_DATA);
        cr_expect_not_null(strstr(r->refusal, "changed while it was read"), "%s", r->refusal);
        close(fd);
        reading_close(r);
    }
}

Test(io_mesh_file, fd_reading_tells_progress_and_stops_when_told)
{
    size_t count = 9 << 20;
    char *bytes = malloc(count);
    memset(bytes, '\n', count);
    memcpy(bytes, triangle, sizeof triangle - 1);
    memcpy(bytes + count - 9, "\nf 1 2 3\n", 9);
    int fd = temporary_file(bytes, count);

    struct meddler listener = {fd, -1, 0, 0.0, false};
    struct progress progress = {meddle, &listener};
    struct reading *r = read_fd(fd, "a.obj", &progress);
    cr_expect(r->ok, "%s", r->refusal);
    cr_expect_gt(listener.calls, 3);
    cr_expect_eq(r->mesh.face_count, 2);
    reading_close(r);

    listener = (struct meddler){fd, -1, 0, 0.0, true};
    r = read_fd(fd, "a.obj", &progress);
    cr_expect_eq(r->err.code, ERROR_CANCELLED);
    cr_expect_eq(listener.calls, 1);
    reading_close(r);
    close(fd);
    free(bytes);
}

Test(io_mesh_file, shared_meshes_have_their_published_counts)
{
    /* shared/data/README.md, table of facts: vertices, faces, faces of 3, 4 and 5 corners */
    static const struct {
        const char *name;
        size_t vertices, faces, by_size[3];
    } facts[] = {{"spot_control_mesh.obj", 188, 180, {4, 160, 16}},
                 {"spot_quadrangulated.obj", 2930, 2928, {0, 2928, 0}},
                 {"fish.obj", 10786, 21568, {21568, 0, 0}},
                 {"catmark_rook.obj", 768, 777, {44, 733, 0}},
                 {"catmark_nonman_verts.obj", 49, 20, {1, 19, 0}}};
    for (size_t i = 0; i < sizeof facts / sizeof facts[0]; i++) {
        char path[1000];
        size_t by_size[6] = {0};
        snprintf(path, sizeof path, "%s/data/%s", fixture_shared_folder(), facts[i].name);
        int fd = open(path, O_RDONLY);
        if (fd < 0)
            cr_skip_test("no shared test data");
        struct reading *r = read_fd(fd, facts[i].name, NULL);
        cr_assert(r->ok, "%s: %s", facts[i].name, r->refusal);
        cr_expect_eq(r->mesh.vertex_count, facts[i].vertices, "%s", facts[i].name);
        cr_expect_eq(r->mesh.face_count, facts[i].faces, "%s", facts[i].name);
        for (size_t f = 0; f < r->mesh.face_count; f++)
            by_size[mesh_face_size(&r->mesh, f)]++;
        cr_expect_arr_eq(by_size + 3, facts[i].by_size, sizeof facts[i].by_size, "%s", facts[i].name);
        close(fd);
        reading_close(r);
    }
}
