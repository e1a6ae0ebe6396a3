/* mesh_bytes.h - the whole way from bytes in memory to a checked mesh; mesh_file.h maps a file and calls it.
 */
#ifndef IO_MESH_BYTES_H
#define IO_MESH_BYTES_H

#include "io/mesh_file.h"

/* file->sha256 is set by the caller (it seeds hashing; "" is allowed), everything else in file is set here.
 * Other arguments and errors as mesh_file_read. bytes may be 0. */
bool mesh_bytes_read(const char *begin, size_t bytes, const char *name, size_t threads,
                     const struct progress *progress, struct mesh *mesh, struct mesh_file *file,
                     struct arena *keep, struct arena scratch, struct error *err);

#endif
