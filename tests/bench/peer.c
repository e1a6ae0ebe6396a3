/* peer.c - files, clocks and the answer for the programs around other libraries. */
#include "tests/bench/peer.h"

#include "io/mesh_file.h"
#include "mesh/triangulation.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#define ARENA_BYTES ((size_t)16 << 30) /* reserved, not used: pages cost memory only when touched */

static double seconds_of(clockid_t clock)
{
    struct timespec now;

    clock_gettime(clock, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

void peer_mesh_read(const char *name, struct peer_mesh *mesh)
{
    struct arena keep, scratch = {0};
    struct mesh read;
    struct mesh_file file;
    struct triangulation cut;
    struct error err = {0};
    int fd = open(name, O_RDONLY);

    if (fd < 0) {
        perror(name);
        exit(3);
    }
    if (!arena_open(&keep, ARENA_BYTES, &err) || !arena_open(&scratch, ARENA_BYTES, &err)
        || !mesh_file_read(fd, name, 2, NULL, &read, &file, &keep, scratch, &err)
        || !triangulation_build(&read, &cut, &keep, scratch, &err)) {
        fprintf(stderr, "%s: %s\n", name, err.text);
        exit(3);
    }
    arena_close(&scratch);
    close(fd);
    *mesh = (struct peer_mesh){read.vertex_count, cut.triangle_count, (const double(*)[3])read.positions,
                               (const uint32_t(*)[3])cut.corners};
}

/* The only state of these programs: when their clocks began. */
static struct {
    double wall, cpu;
} begun;

void peer_begin(unsigned limit)
{
    begun.wall = seconds_of(CLOCK_MONOTONIC);
    begun.cpu = seconds_of(CLOCK_PROCESS_CPUTIME_ID);
    alarm(limit);
}

void peer_end(double subject_to_reference, double reference_to_subject)
{
    printf("{\"seconds\":%.6f,\"cpu_seconds\":%.6f,\"subject_to_reference\":%.17g,\"reference_to_subject\":%."
           "17g}\n",
           seconds_of(CLOCK_MONOTONIC) - begun.wall, seconds_of(CLOCK_PROCESS_CPUTIME_ID) - begun.cpu,
           subject_to_reference, reference_to_subject);
}
