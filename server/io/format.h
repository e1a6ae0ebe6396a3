/* format.h - what kind of file some bytes are: by their content, and only where that leaves it open by name.
 */
#ifndef IO_FORMAT_H
#define IO_FORMAT_H

#include "base/error.h"

enum format {
    FORMAT_NONE,
    FORMAT_OBJ,
    FORMAT_STL_BINARY,
    FORMAT_STL_ASCII,
    FORMAT_PLY,
    FORMAT_OFF,
    FORMAT_GZIP,
    FORMAT_ZSTD
};

/* Decides the format. Binary STL comes first, by 84 + 50 * count == size, since its header may imitate
 * anything; then the signatures of PLY, OFF, ASCII STL and of what is not read; then statements of OBJ. Where
 * none decides, the name's extension does, if the bytes can be that at all. ERROR_TYPE names what the content
 * is instead; ERROR_EMPTY when there is no content. name may be NULL. */
bool format_detect(const char *begin, size_t bytes, const char *name, enum format *format, struct error *err);

/* The compression alone (FORMAT_GZIP, FORMAT_ZSTD), FORMAT_NONE for anything else. */
enum format format_compression(const char *begin, size_t bytes);

/* What the name's extension says, a final .gz or .zst put aside: "obj", "stl", "ply", "off", another kind of
 * mesh file in lower case ("glb", "3mf", ...), or NULL when it says nothing of meshes. */
const char *format_of_name(const char *name);
/* FORMAT_GZIP or FORMAT_ZSTD when the name ends so, else FORMAT_NONE. */
enum format format_compression_of_name(const char *name);

/* The length of the UTF-8 byte-order mark at begin: 3 or 0. */
size_t format_mark_bytes(const char *begin, size_t bytes);

#endif
