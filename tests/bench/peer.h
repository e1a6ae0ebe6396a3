/* peer.h - what the programs around other libraries share: the triangles of a file as we cut it, the clock,
 * the answer.
 *
 * Reading and cutting are ours, so that every library measures the same triangles, and are not timed. */
#ifndef BENCH_PEER_H
#define BENCH_PEER_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

struct peer_mesh {
    size_t vertex_count, triangle_count;
    const double (*positions)[3];
    const uint32_t (*corners)[3];
};

/* Lives as long as the process. Ends the program with status 3 and a sentence where the file cannot be read.
 */
void peer_mesh_read(const char *name, struct peer_mesh *mesh);

/* Starts the clocks. After `limit` seconds SIGALRM ends the process. */
void peer_begin(unsigned limit);
/* Stops them and prints the answer as JSON: seconds, cpu_seconds, and both distances. */
void peer_end(double subject_to_reference, double reference_to_subject);

#ifdef __cplusplus
}
#endif

#endif
