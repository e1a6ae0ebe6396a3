/* ply.h - the polygons of a PLY 1.0 file, ASCII or binary in either byte order.
 *
 * Of any number of elements and properties, in any order, only x, y, z of `vertex` and vertex_indices (or
 * vertex_index) of `face` are kept; the others are stepped over by their declared types. Coordinates may have
 * any scalar type (ASCII text is read as double), indices any integer type. In ASCII each row is one line,
 * with neither too few nor too many values; blank lines between rows are passed over. Header lines may end
 * with LF, CRLF or CR, and a UTF-8 byte-order mark before the magic is passed over. */
#ifndef IO_PLY_H
#define IO_PLY_H

#include "io/source.h"

bool ply_read(const struct source *source, struct mesh *mesh, struct arena *keep, struct arena scratch,
              struct error *err);

/* From here on: between the files of this format. */

enum ply_form { PLY_ASCII, PLY_LITTLE, PLY_BIG };
enum ply_type {
    PLY_NONE,
    PLY_INT8,
    PLY_UINT8,
    PLY_INT16,
    PLY_UINT16,
    PLY_INT32,
    PLY_UINT32,
    PLY_FLOAT32,
    PLY_FLOAT64,
    PLY_TYPE_COUNT
};
enum ply_role { PLY_SKIPPED, PLY_X, PLY_Y, PLY_Z, PLY_INDICES };

struct ply_property {
    const char *name; /* within the file, not terminated */
    size_t name_size;
    enum ply_type type;
    enum ply_type length_type; /* of a list; PLY_NONE for a scalar */
    enum ply_role role;
};

struct ply_element {
    const char *name;
    size_t name_size;
    const char *line; /* where it was declared */
    size_t count;
    struct ply_property *properties;
    size_t property_count;
    size_t least_bytes; /* of a binary row: scalars and list lengths */
    bool has_list;
};

struct ply_header {
    enum ply_form form;
    struct ply_element *elements;
    size_t element_count;
    struct ply_element *vertex, *face; /* both are there, with what they need, and have a count above 0 */
    const char *body;
};

/* What the rows fill; the room was allocated from the checked counts. */
struct ply_body {
    const struct source *source;
    const struct ply_header *header;
    struct mesh *mesh; /* positions [vertex_count], face_offsets [face count + 1]; face_count grows */
    size_t corner_count, corner_room;
};

extern const size_t ply_type_size[PLY_TYPE_COUNT];

/* Reads and checks everything up to end_header; what it points to comes from scratch. */
bool ply_header_read(const struct source *source, struct ply_header *header, struct arena *scratch,
                     struct error *err);
bool ply_ascii_read(struct ply_body *body, struct error *err);
bool ply_binary_read(struct ply_body *body, struct error *err);

/* Reads all rows of the element at *at and moves that behind them, where all have one simple form; else, and
 * where anything is wrong with them, leaves both for the general reader and sets *settled to false. False
 * only when cancelled. */
bool ply_rows_read(struct ply_body *body, const struct ply_element *element, const char **at, bool *settled,
                   struct error *err);

/* The rows of `face` go through these: room for one face's corners, and the face itself once they are set. */
bool ply_body_reserve(struct ply_body *body, size_t corners, struct error *err);
void ply_body_add_face(struct ply_body *body, size_t corners);

#endif
