/* source.c - places, progress and notes that the readers share. */
#include "io/source.h"

/* Hashing and inflating come first and take about this share of the stage "read". */
static const double before_parsing = 0.4;

bool source_tell(const struct source *source, const char *at, struct error *err)
{
    double share = source->end > source->begin
                       ? (double)(at - source->begin) / (double)(source->end - source->begin)
                       : 1.0;
    if (progress_tell(source->progress, "read", before_parsing + (1.0 - before_parsing) * share))
        return true;
    return error_set(err, ERROR_CANCELLED, "cancelled while reading the file");
}

size_t source_line(const struct source *source, const char *at)
{
    size_t line = 1;
    for (const char *p = source->begin; p < at; p++)
        if (*p == '\n' || (*p == '\r' && (p + 1 >= source->end || p[1] != '\n')))
            line++;
    return line;
}

bool source_refuse_full(const struct source *source, size_t count, size_t max, const char *what,
                        struct error *err)
{
    if (count < max)
        return arena_error(err);
    return error_set_byte(err, ERROR_LIMIT, source->format, 0,
                          "more than %zu %s; split the mesh or make it coarser", max, what);
}

void source_note_dropped_face(const struct source *source, size_t corners)
{
    source->file->dropped_faces++;
    warning_add(&source->file->warnings, "dropped_faces", 1,
                "faces of fewer than three corners were left out; the first has %zu", corners);
}

void source_note_large_polygon(const struct source *source, size_t corners)
{
    warning_add(&source->file->warnings, "large_polygons", 1,
                "faces of more than %zu corners were read as they are; the first has %zu",
                SOURCE_LARGE_POLYGON, corners);
}

void source_note_trailing(const struct source *source, size_t bytes)
{
    warning_add(&source->file->warnings, "trailing_data", 1,
                "%zu bytes follow the end of the mesh and were not read", bytes);
}

size_t source_room(const struct arena *arena, size_t wanted, size_t size, double share)
{
    size_t have = (size_t)((double)arena_left(arena) / (double)size * share);
    size_t room = wanted < have ? wanted : have;
    return room ? room : 1;
}
