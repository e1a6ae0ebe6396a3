/* source.h - the bytes that a reader reads, and whom it tells: shared by the readers of this room.
 *
 * Readers go over [begin, end) once, never past end, never write there, and keep no pointer into it. A place
 * in the file is told as a 1-based line (counted only when an error needs it) or as a byte offset from begin.
 */
#ifndef IO_SOURCE_H
#define IO_SOURCE_H

#include "io/mesh_file.h"

struct source {
    const char *begin, *end; /* the inflated file; a byte-order mark, if any, is at begin */
    const char *text;        /* begin, or what follows the UTF-8 byte-order mark */
    const char *format;      /* "obj", "stl", "ply" or "off", for errors */
    size_t threads;          /* that may read at the same time */
    uint64_t seed;           /* for hashing: from the file's own digest, so that nobody can plan collisions */
    const struct progress *progress;
    struct mesh_file *file; /* takes warnings and counts */
};

#define SOURCE_TELL_BYTES ((size_t)1 << 20)  /* bytes read between two calls of source_tell */
#define SOURCE_LARGE_POLYGON ((size_t)10000) /* corners; common practice, no source */

/* Tells how far the reader is. False with ERROR_CANCELLED when it should stop. */
bool source_tell(const struct source *source, const char *at, struct error *err);
/* Calls it when at has passed *tell_at, and moves *tell_at on. */
static inline bool source_pass(const struct source *source, const char *at, const char **tell_at,
                               struct error *err)
{
    if (at < *tell_at)
        return true;
    *tell_at = source->end - at > (ptrdiff_t)SOURCE_TELL_BYTES ? at + SOURCE_TELL_BYTES : source->end;
    return source_tell(source, at, err);
}

/* The 1-based line of at; a line ends with LF, CR or CRLF. */
size_t source_line(const struct source *source, const char *at);
static inline size_t source_byte(const struct source *source, const char *at)
{
    return (size_t)(at - source->begin);
}

/* Refuses a mesh whose array is full: beyond MESH_MAX_* (what = "vertices" or "corners") or out of memory. */
bool source_refuse_full(const struct source *source, size_t count, size_t max, const char *what,
                        struct error *err);

/* A face of too few corners was left out; a face has very many. */
void source_note_dropped_face(const struct source *source, size_t corners);
void source_note_large_polygon(const struct source *source, size_t corners);
/* bytes of data follow what the format defines. */
void source_note_trailing(const struct source *source, size_t bytes);

/* room = min(wanted, the share (0..1) of what the arena has left), at least 1: for arrays of unknown length,
 * shortened with arena_trim afterwards. */
size_t source_room(const struct arena *arena, size_t wanted, size_t size, double share);

#endif
