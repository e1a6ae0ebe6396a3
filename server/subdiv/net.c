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

/* At corner c, whose quad has the side `leave` there, sharp by s: does the crease go straight on, and is all
 * else smooth? */
static bool crease_goes_on(const struct cage *cage, uint32_t c, uint32_t leave, double s)
{
    uint32_t v = cage->mesh.face_vertices[c];
    struct spoke at = {c, leave};

    if (!(cage->flags[v] & CAGE_CLOSED_FAN) || (cage->flags[v] & (CAGE_FIXED | CAGE_NOT_QUADS))
        || cage->corner_begin[v + 1] - cage->corner_begin[v] != 4)
        return false;
    for (unsigned k = 1; k < 4; k++) {
        at = cage_turn(cage, at);
        if (sharpness_of(cage, at.leave) != (k == 2 ? s : 0))
            return false;
    }
    return true;
}

static bool is_creased(const struct cage *cage, uint32_t f, unsigned *corner)
{
    uint32_t begin = cage->mesh.face_offsets[f];
    unsigned sharp = 0;

    for (unsigned k = 0; k < 4; k++)
        if (sharpness_of(cage, begin + k) > 0) {
            *corner = k;
            sharp++;
        }
    uint32_t from = begin + *corner, to = begin + ((*corner + 1) & 3);
    double s = sharpness_of(cage, from);
    const uint32_t *vertices = cage->mesh.face_vertices + begin;
    return sharp == 1 && !isinf(s) && (cage->flags[vertices[(*corner + 2) & 3]] & CAGE_REGULAR)
           && (cage->flags[vertices[(*corner + 3) & 3]] & CAGE_REGULAR) && crease_goes_on(cage, from, from, s)
           && crease_goes_on(cage, to, from, s);
}

/* Whether each corner is regular, or lies on edges that are sharp for ever in a way that a mirrored row of
 * points gives. */
static bool is_regular(const struct cage *cage, uint32_t f)
{
    uint32_t begin = cage->mesh.face_offsets[f];

    for (unsigned k = 0; k < 4; k++) {
        uint32_t c = begin + k, previous = begin + ((k + 3) & 3);
        double s = sharpness_of(cage, c), t = sharpness_of(cage, previous);
        if (s > 0 || t > 0) {
            if ((s > 0 && !isinf(s)) || (t > 0 && !isinf(t))
                || !sharp_corner_is_regular(cage, c, s > 0, t > 0))
                return false;
        } else if (!(cage->flags[cage->mesh.face_vertices[c]] & CAGE_REGULAR))
            return false;
    }
    return true;
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
    if (is_regular(cage, f))
        return NET_REGULAR;
    *corner = 0;
    return is_creased(cage, f, corner) ? NET_CREASED : NET_OTHER;
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
        sharp[k] = isinf(sharpness_of(cage, begin + ((first + k) & 3)));
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

void crease_gather(const struct cage *cage, uint32_t f, unsigned corner, struct crease_net *crease)
{
    net_gather(cage, f, corner, crease->net);
    crease->sharpness = sharpness_of(cage, cage->mesh.face_offsets[f] + corner);
}

static vec3 old_point(const vec3 *p)
{
    return vec3_scale(vec3_add(vec3_add(p[-4], p[4]), vec3_scale(p[0], 6)), 0.125);
}

void crease_refine(struct crease_net *crease, vec3 far[16])
{
    double sharp = crease->sharpness < 1 ? crease->sharpness : 1;

    for (int i = 0; i < 4; i++) {
        const vec3 *p = crease->net + i;
        const vec3 rows[5] = {vec3_scale(vec3_add(p[0], p[4]), 0.5), vec3_lerp(old_point(p + 4), p[4], sharp),
                              vec3_scale(vec3_add(p[4], p[8]), 0.5), old_point(p + 8),
                              vec3_scale(vec3_add(p[8], p[12]), 0.5)};
        for (int j = 0; j < 4; j++) {
            crease->net[4 * j + i] = rows[j];
            far[4 * j + i] = rows[j + 1];
        }
    }
    crease->sharpness = sharpness_after_step(crease->sharpness);
}
