/* ply.c - a PLY file from its header to the mesh; the rows are read by ply_ascii.c and ply_binary.c. */
#include "io/ply.h"

/* The face rows' room for indices, from the bytes of the whole body: an index takes a byte or more in binary,
 * two characters in ASCII. */
static size_t most_corners(const struct source *source, const struct ply_header *header)
{
    size_t left = (size_t)(source->end - header->body), size = 2;
    if (header->form != PLY_ASCII)
        for (size_t p = 0; p < header->face->property_count; p++)
            if (header->face->properties[p].role == PLY_INDICES)
                size = ply_type_size[header->face->properties[p].type];
    return left / size + 1 < MESH_MAX_CORNERS ? left / size + 1 : MESH_MAX_CORNERS;
}

bool ply_body_reserve(struct ply_body *body, size_t corners, struct error *err)
{
    if (body->corner_room - body->corner_count >= corners)
        return true;
    return source_refuse_full(body->source, body->corner_room, MESH_MAX_CORNERS, "corners of faces", err);
}

void ply_body_add_face(struct ply_body *body, size_t corners)
{
    if (corners < 3) {
        source_note_dropped_face(body->source, corners);
        return;
    }
    if (corners > SOURCE_LARGE_POLYGON)
        source_note_large_polygon(body->source, corners);
    body->corner_count += corners;
    body->mesh->face_offsets[++body->mesh->face_count] = (uint32_t)body->corner_count;
}

bool ply_read(const struct source *source, struct mesh *mesh, struct arena *keep, struct arena scratch,
              struct error *err)
{
    static const char *const formats[] = {
        [PLY_ASCII] = "ply-ascii", [PLY_LITTLE] = "ply-binary-little", [PLY_BIG] = "ply-binary-big"};
    struct ply_header header;

    if (!ply_header_read(source, &header, &scratch, err))
        return false;
    source->file->format = formats[header.form];
    if (header.vertex->count > MESH_MAX_VERTICES)
        return source_refuse_full(source, header.vertex->count, MESH_MAX_VERTICES, "vertices", err);
    if (header.face->count > MESH_MAX_CORNERS)
        return source_refuse_full(source, header.face->count, MESH_MAX_CORNERS, "faces", err);

    mesh->vertex_count = header.vertex->count;
    mesh->face_count = 0;
    mesh->positions = ARENA_NEW(keep, vec3, header.vertex->count);
    mesh->face_offsets = ARENA_NEW(keep, uint32_t, header.face->count + 1);
    if (!mesh->positions || !mesh->face_offsets)
        return arena_error(err);
    mesh->face_offsets[0] = 0;
    struct ply_body body = {.source = source, .header = &header, .mesh = mesh};
    body.corner_room = source_room(keep, most_corners(source, &header), sizeof *mesh->face_vertices, 0.9);
    mesh->face_vertices = ARENA_NEW(keep, uint32_t, body.corner_room);
    if (!mesh->face_vertices)
        return arena_error(err);

    if (!(header.form == PLY_ASCII ? ply_ascii_read(&body, err) : ply_binary_read(&body, err)))
        return false;
    arena_trim(keep, mesh->face_vertices, body.corner_count, sizeof *mesh->face_vertices);
    if (mesh->face_count == 0)
        return error_set_byte(err, ERROR_EMPTY, "ply", source_byte(source, source->end),
                              "no face of three or more corners; there is nothing to measure");
    return true;
}
