/* readers.c - times what reading a file is made of, for `make bench`: the reader alone, the digest alone,
 * both as a run does them.
 *
 *   bench-readers FILE THREADS RUNS
 *
 * Every run reads into memory that nobody touched before, as a measurement does; giving it back is not timed.
 * The file is in the page cache: the reader and the digest alone find it mapped and touched, both together
 * map it themselves. `facets` are those of a binary STL decoded into an array of corners on one thread, none
 * merged. Prints JSON: bytes, and of each the least and the median of wall seconds, and the least processor
 * seconds of all threads. */
#include "io/format.h"
#include "io/mesh_bytes.h"
#include "io/stl.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define ARENA_BYTES ((size_t)16 << 30) /* reserved, not used: pages cost memory only when touched */
enum { RUNS_MAX = 99 };

struct bench {
    const char *name, *begin;
    size_t bytes, threads;
    int fd;
    struct arena keep, scratch;
};

struct times {
    size_t runs;
    double wall[RUNS_MAX], cpu[RUNS_MAX];
};

static double seconds_of(clockid_t clock)
{
    struct timespec now;

    clock_gettime(clock, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void give_up(const char *name, const char *why)
{
    fprintf(stderr, "%s: %s\n", name, why);
    exit(3);
}

static void read_alone(struct bench *bench)
{
    struct mesh mesh;
    struct mesh_file file = {.sha256 = ""};
    struct error err;

    if (!mesh_bytes_read(bench->begin, bench->bytes, bench->name, bench->threads, NULL, &mesh, &file,
                         &bench->keep, bench->scratch, &err))
        give_up(bench->name, err.text);
}

static void hash_alone(struct bench *bench)
{
    struct digest digest;
    char hex[DIGEST_HEX_SIZE];

    digest_begin(&digest);
    digest_add(&digest, bench->begin, bench->bytes);
    digest_end(&digest, hex);
}

static void read_and_hash(struct bench *bench)
{
    struct mesh mesh;
    struct mesh_file file;
    struct error err;

    if (!mesh_file_read(bench->fd, bench->name, bench->threads, NULL, &mesh, &file, &bench->keep,
                        bench->scratch, &err))
        give_up(bench->name, err.text);
}

static void decode_facets(struct bench *bench)
{
    size_t count = (bench->bytes - 84) / 50; /* stl_binary_fits: the file is exactly as long */
    vec3 *corners = ARENA_NEW(&bench->keep, vec3, 3 * count);

    if (!corners)
        give_up(bench->name, "too large");
    for (size_t f = 0; f < count; f += STL_AT_ONCE) {
        vec3 normals[STL_AT_ONCE];
        size_t facets = count - f < STL_AT_ONCE ? count - f : STL_AT_ONCE;
        if (!stl_binary_decode(bench->begin, f, facets, normals, corners + 3 * f))
            give_up(bench->name, "a corner is not finite");
    }
}

static void time_once(struct bench *bench, void (*work)(struct bench *bench), struct times *times)
{
    struct error err;

    if (!arena_open(&bench->keep, ARENA_BYTES, &err) || !arena_open(&bench->scratch, ARENA_BYTES, &err))
        give_up(bench->name, err.text);
    double wall = seconds_of(CLOCK_MONOTONIC), cpu = seconds_of(CLOCK_PROCESS_CPUTIME_ID);
    work(bench);
    times->wall[times->runs] = seconds_of(CLOCK_MONOTONIC) - wall;
    times->cpu[times->runs++] = seconds_of(CLOCK_PROCESS_CPUTIME_ID) - cpu;
    arena_close(&bench->keep);
    arena_close(&bench->scratch);
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void print_times(const char *what, struct times *times)
{
    if (times->runs == 0)
        return;
    qsort(times->wall, times->runs, sizeof *times->wall, compare);
    qsort(times->cpu, times->runs, sizeof *times->cpu, compare);
    printf(",\"%s\":{\"least\":%.6f,\"median\":%.6f,\"cpu_least\":%.6f}", what, times->wall[0],
           times->wall[(times->runs - 1) / 2], times->cpu[0]);
}

static void open_file(struct bench *bench)
{
    struct stat status;

    bench->fd = open(bench->name, O_RDONLY);
    if (bench->fd < 0 || fstat(bench->fd, &status) != 0 || status.st_size == 0)
        give_up(bench->name, "cannot be read");
    bench->bytes = (size_t)status.st_size;
    void *map = mmap(NULL, bench->bytes, PROT_READ, MAP_PRIVATE | MAP_POPULATE, bench->fd, 0);
    if (map == MAP_FAILED)
        give_up(bench->name, "cannot be mapped");
    bench->begin = map;
}

int main(int argc, char **argv)
{
    static struct times read, hash, both, facets;

    if (argc != 4) {
        fputs("usage: bench-readers FILE THREADS RUNS\n", stderr);
        return 2;
    }
    struct bench bench = {.name = argv[1], .threads = strtoul(argv[2], NULL, 10)};
    size_t runs = strtoul(argv[3], NULL, 10);
    runs = runs < 1 ? 1 : runs > RUNS_MAX ? RUNS_MAX : runs;
    open_file(&bench);
    bool is_stl = stl_binary_fits(bench.begin, bench.bytes);
    for (size_t run = 0; run < runs; run++) {
        time_once(&bench, read_alone, &read);
        time_once(&bench, hash_alone, &hash);
        time_once(&bench, read_and_hash, &both);
        if (is_stl)
            time_once(&bench, decode_facets, &facets);
    }
    printf("{\"bytes\":%zu,\"threads\":%zu", bench.bytes, bench.threads);
    print_times("read", &read);
    print_times("hash", &hash);
    print_times("both", &both);
    print_times("facets", &facets);
    puts("}");
    return 0;
}
