/* mesh_file.h - untrusted bytes become a valid mesh, or an error with a line or byte offset.
 *
 * Formats: OBJ, STL (binary and ASCII), PLY (ASCII and binary of both byte orders), OFF; each also gzip- or
 * zstd-compressed. Content decides the format; a name that disagrees is a warning. The mesh is as stored: STL
 * corners with bit-equal coordinates become one vertex (+0 = -0, counted in merged_vertices), nothing else is
 * merged, reordered or dropped without a count. Numbers are correctly rounded in any locale. Nothing named
 * inside a file is ever opened. */
#ifndef IO_MESH_FILE_H
#define IO_MESH_FILE_H

#include "base/digest.h"
#include "base/progress.h"
#include "mesh/mesh.h"
#include "mesh/warning.h"

#define MESH_FILE_NAME_SIZE 1024

/* What a record says of the file itself. */
struct mesh_file {
    char name[MESH_FILE_NAME_SIZE]; /* as given, made valid UTF-8; shown, never opened */
    char sha256[DIGEST_HEX_SIZE];   /* of the bytes as uploaded, before inflating */
    size_t bytes;                   /* as uploaded */
    const char *compression;        /* NULL, "gzip" or "zstd" */
    size_t inflated_bytes;          /* equal to bytes where not compressed */
    const char *format;             /* "obj", "stl-binary", "stl-ascii", "ply-ascii", "ply-binary-little",
                                     * "ply-binary-big", "off" */
    size_t merged_vertices;         /* STL corners that became one vertex with an earlier one */
    size_t dropped_faces;           /* faces of fewer than three corners, left out and warned of */
    struct warning_list warnings;
};

/* Reads the whole of fd (a regular file, from offset 0; mapped, never written). name only serves the warnings
 * and the record. The result is the same for any number of threads. The mesh's arrays come from keep; scratch
 * must not overlap keep. Of a file of n bytes (inflated) the arrays take at most 8 n in keep and 5 n + 1 MiB
 * in scratch, pages being used only as far as the mesh needs them; a compressed one needs twice its inflated
 * size in scratch besides. A file that changes meanwhile is ERROR_DATA, as long as it does not shrink between
 * two calls of progress (once a MiB), where the mapping ends the process with SIGBUS. Errors: ERROR_SYNTAX,
 * _DATA, _LIMIT, _TYPE, _EMPTY with format and place; ERROR_MACHINE; ERROR_CANCELLED.
 */
bool mesh_file_read(int fd, const char *name, size_t threads, const struct progress *progress,
                    struct mesh *mesh, struct mesh_file *file, struct arena *keep, struct arena scratch,
                    struct error *err);

#endif
