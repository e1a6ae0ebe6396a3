/* net.c - reading a quad's surroundings off the cage by walks around its corners. */
#include "subdiv/net.h"

static double sharpness_of(const struct cage *cage, uint32_t side)
{
    return cage->sharpness[cage->edges.corner_edge[side]];
}

/* A corner with one or two of the quad's sides sharp: does a mirrored row give its rule? */
static bool sharp_corner_is_regular(const struct cage *cage, uint32_t c, bool next_sharp, bool previous_sharp)
{
    uint32_t v = cage->mesh.face_vertices[c];
    bool fixed = (cage->flags[v] & CAGE_FIXED) || cage->sharp_count[v] > 2;

    if (cage->flags[v] & (CAGE_SEMI_SHARP | CAGE_NOT_QUADS))
        return false;
    if (next_sharp && previous_sharp)
        return fixed;
    if (fixed || cage->sharp_count[v] != 2)
        return false;
    struct spoke s = cage_turn(cage, (struct spoke){c, next_sharp ? cage_previous(cage, c) : c});
    return isinf(sharpness_of(cage, s.leave));
}

enum net_kind net_classify(const struct cage *cage, uint32_t f, unsigned *corner)
{
    uint32_t begin = cage->mesh.face_offsets[f];
    unsigned smooth = 0, regular = 0;

    for (unsigned k = 0; k < 4; k++) {
        unsigned flags = cage->flags[cage->mesh.face_vertices[begin + k]];
        regular += (flags & CAGE_REGULAR) != 0;
        smooth += (flags & CAGE_SMOOTH) != 0;
        if ((flags & (CAGE_SMOOTH | CAGE_REGULAR)) == CAGE_SMOOTH)
            *corner = k;
    }
    if (regular == 4)
        return NET_REGULAR;
    if (smooth == 4)
        return regular == 3 ? NET_EXTRAORDINARY : NET_OTHER;
    for (unsigned k = 0; k < 4; k++) {
        uint32_t c = begin + k, previous = begin + ((k + 3) & 3);
        double s = sharpness_of(cage, c), t = sharpness_of(cage, previous);
        unsigned flags = cage->flags[cage->mesh.face_vertices[c]];
        if (s > 0 || t > 0) {
            if ((s > 0 && !isinf(s)) || (t > 0 && !isinf(t))
                || !sharp_corner_is_regular(cage, c, s > 0, t > 0))
                return NET_OTHER;
        } else if (!(flags & CAGE_REGULAR))
            return NET_OTHER;
    }
    return NET_REGULAR;
}

/* The quad's points in a frame turned so that the corner considered is (0, 0): [y + 1][x + 1] of the frame is
 * place PLACES[turns][...] of the net. */
static int place(unsigned turns, int x, int y)
{
    int i = x, j = y;
    for (unsigned k = 0; k < turns; k++) { /* (x, y) of the corner's frame -> one corner earlier */
        int old = i;
        i = 1 - j;
        j = old;
    }
    return 4 * (j + 1) + i + 1;
}

static uint32_t opposite(const struct cage *cage, uint32_t c)
{
    return cage->mesh.face_vertices[cage_next(cage, cage_next(cage, c))];
}

/* Across the side that starts at corner c, the row below it: points (0, -1) and (1, -1) of the corner's
 * frame, and
 * (-1, -1) where the side before is smooth too. */
static void gather_below(const struct cage *cage, uint32_t c, bool previous_smooth, unsigned turns,
                         vec3 net[16])
{
    const vec3 *p = cage->mesh.positions;
    struct spoke s = cage_turn(cage, (struct spoke){c, c});

    net[place(turns, 0, -1)] = p[cage_spoke_end(cage, s)];
    net[place(turns, 1, -1)] = p[opposite(cage, s.corner)];
    if (previous_smooth) {
        s = cage_turn(cage, s);
        net[place(turns, -1, -1)] = p[opposite(cage, s.corner)];
    }
}

static vec3 mirrored(vec3 edge, vec3 inner)
{
    return vec3_sub(vec3_add(edge, edge), inner);
}

void net_gather(const struct cage *cage, uint32_t f, unsigned first, vec3 net[16])
{
    uint32_t begin = cage->mesh.face_offsets[f];
    bool sharp[4];

    for (unsigned k = 0; k < 4; k++)
        sharp[k] = sharpness_of(cage, begin + ((first + k) & 3)) > 0;
    for (unsigned k = 0; k < 4; k++) {
        uint32_t c = begin + ((first + k) & 3);
        net[place(k, 0, 0)] = cage->mesh.positions[cage->mesh.face_vertices[c]];
        if (!sharp[k])
            gather_below(cage, c, !sharp[(k + 3) & 3], k, net);
    }
    for (int i = 0; i < 4; i++) {
        if (sharp[0])
            net[i] = mirrored(net[4 + i], net[8 + i]);
        if (sharp[2])
            net[12 + i] = mirrored(net[8 + i], net[4 + i]);
    }
    for (int j = 0; j < 4; j++) {
        if (sharp[3])
            net[4 * j] = mirrored(net[4 * j + 1], net[4 * j + 2]);
        if (sharp[1])
            net[4 * j + 3] = mirrored(net[4 * j + 2], net[4 * j + 1]);
    }
}
