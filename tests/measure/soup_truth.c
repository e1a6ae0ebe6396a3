/* soup_truth.c - the largest distance from one soup to another, by bisection in long double. */
#include "measure/soup_pair.h"

#include <math.h>
#include <string.h>

typedef long double real;

struct point {
    real x, y, z;
};

static struct point minus(struct point a, struct point b)
{
    return (struct point){a.x - b.x, a.y - b.y, a.z - b.z};
}
static real dot(struct point a, struct point b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}
/* a + t b */
static struct point plus(struct point a, real t, struct point b)
{
    return (struct point){a.x + t * b.x, a.y + t * b.y, a.z + t * b.z};
}
static real length(struct point a)
{
    return sqrtl(dot(a, a));
}

/* A triangle of the other soup: a and the longest side's direction e, the direction f of the height over it,
 * and the shape in that plane: b = (base, 0), c = (shift, height). */
struct face {
    struct point a, b, c, e, f;
    real base, shift, height;
};

static struct face face_of(struct point a, struct point b, struct point c)
{
    real ab = length(minus(b, a)), bc = length(minus(c, b)), ca = length(minus(a, c));

    if (bc > ab && bc >= ca)
        return face_of(b, c, a);
    if (ca > ab && ca > bc)
        return face_of(c, a, b);
    struct face face = {.a = a, .b = b, .c = c, .base = ab};
    if (!(ab > 0))
        return face;
    struct point ac = minus(c, a), zero = {0, 0, 0};
    face.e = plus(zero, 1 / ab, minus(b, a));
    face.e = plus(zero, 1 / length(face.e), face.e);
    face.shift = dot(ac, face.e);
    struct point up = plus(ac, -face.shift, face.e);
    up = plus(up, -dot(up, face.e), face.e);
    face.height = length(up);
    if (face.height > 0)
        face.f = plus(zero, 1 / face.height, up);
    return face;
}

/* Squared distances. */
static real to_segment(struct point p, struct point a, struct point b)
{
    struct point ab = minus(b, a), ap = minus(p, a);
    real square = dot(ab, ab), t = square > 0 ? dot(ap, ab) / square : 0;
    struct point way = t >= 1 ? minus(p, b) : t <= 0 ? ap : plus(ap, -t, ab);

    return dot(way, way);
}

static real lesser(real a, real b)
{
    return a < b ? a : b;
}

static real larger(real a, real b)
{
    return a > b ? a : b;
}

/* Always the distance to some point of the triangle, so never too small; the foot over the inside is one only
 * when it is inside. */
static real to_face(struct point p, const struct face *face)
{
    real best = lesser(to_segment(p, face->a, face->b),
                       lesser(to_segment(p, face->b, face->c), to_segment(p, face->c, face->a)));

    if (!(face->height > 0))
        return sqrtl(best);
    struct point ap = minus(p, face->a);
    real x = dot(ap, face->e), y = dot(plus(ap, -x, face->e), face->f), w = y / face->height,
         left = w * face->shift, right = face->base + w * (face->shift - face->base);
    if (y > 0 && w < 1 && x > left && x < right) {
        struct point way = plus(plus(ap, -x, face->e), -y, face->f);
        best = lesser(best, dot(way, way));
    }
    return sqrtl(best);
}

/* Seen from a point of the soups: midpoints of sides far from the origin would be off by half a digit of
 * where they are, which is more than the engine's own rounding. */
static struct point point_of(vec3 p, vec3 origin)
{
    return (struct point){(real)p.x - origin.x, (real)p.y - origin.y, (real)p.z - origin.z};
}

static size_t faces_of(const struct soup *soup, vec3 origin, struct face *faces)
{
    for (size_t t = 0; t < soup->triangle_count; t++) {
        const uint32_t *corner = soup->triangles[t];
        faces[t] =
            face_of(point_of(soup->points[corner[0]], origin), point_of(soup->points[corner[1]], origin),
                    point_of(soup->points[corner[2]], origin));
    }
    return soup->triangle_count;
}

long double soup_distance(vec3 p, const struct soup *to)
{
    struct face faces[SOUP_TRIANGLES_MAX];
    size_t count = faces_of(to, p, faces);
    real best = HUGE_VALL;

    for (size_t k = 0; k < count; k++)
        best = lesser(best, to_face(point_of(p, p), &faces[k]));
    return best;
}

/* A place asked about, with its distance to every face. */
struct site {
    struct point at;
    real least, distances[SOUP_TRIANGLES_MAX];
    size_t nearest;
};

struct part {
    real upper;
    uint32_t sites[3];
};

struct bisection {
    struct face faces[SOUP_TRIANGLES_MAX];
    size_t face_count, site_count, part_count;
    real lower;
    struct part parts[SOUP_PARTS_MAX]; /* a heap, the largest bound first */
    struct site sites[SOUP_PARTS_MAX];
};

static uint32_t add_site(struct bisection *b, struct point at)
{
    struct site *site = &b->sites[b->site_count];

    site->at = at;
    site->least = HUGE_VALL;
    for (size_t k = 0; k < b->face_count; k++) {
        site->distances[k] = to_face(at, &b->faces[k]);
        if (site->distances[k] < site->least) {
            site->least = site->distances[k];
            site->nearest = k;
        }
    }
    b->lower = larger(b->lower, site->least);
    return (uint32_t)b->site_count++;
}

/* max over the corners of w d_j + (1 - w) d_k, which is convex and not less than the least distance */
static real weighted(const struct site *const *corners, size_t j, size_t k, real w)
{
    real worst = 0;

    for (int i = 0; i < 3; i++)
        worst = larger(worst, w * corners[i]->distances[j] + (1 - w) * corners[i]->distances[k]);
    return worst;
}

/* The largest of three lines over w is least where two of them meet, or at an end; any w gives a bound. */
static real best_weighted(const struct site *const *corners, size_t j, size_t k)
{
    real best = HUGE_VALL, rise[3];

    for (int i = 0; i < 3; i++)
        rise[i] = corners[i]->distances[j] - corners[i]->distances[k];
    for (int i = 0; i < 3; i++) {
        int next = (i + 1) % 3;
        real w = (corners[next]->distances[k] - corners[i]->distances[k]) / (rise[i] - rise[next]);
        if (w > 0 && w < 1)
            best = lesser(best, weighted(corners, j, k, w));
    }
    return best;
}

static real bound_of(const struct bisection *b, const uint32_t *sites)
{
    const struct site *corners[3] = {&b->sites[sites[0]], &b->sites[sites[1]], &b->sites[sites[2]]};
    real upper = HUGE_VALL;

    for (size_t k = 0; k < b->face_count; k++)
        upper = lesser(upper, larger(corners[0]->distances[k],
                                     larger(corners[1]->distances[k], corners[2]->distances[k])));
    for (int i = 0; i < 3; i++) {
        size_t j = corners[i]->nearest, k = corners[(i + 1) % 3]->nearest;
        if (j != k && upper > b->lower)
            upper = lesser(upper, best_weighted(corners, j, k));
    }
    return upper;
}

static void add_part(struct bisection *b, uint32_t s0, uint32_t s1, uint32_t s2)
{
    struct part part = {0, {s0, s1, s2}};
    size_t at = b->part_count++;

    part.upper = bound_of(b, part.sites);
    for (; at > 0 && b->parts[(at - 1) / 2].upper < part.upper; at = (at - 1) / 2)
        b->parts[at] = b->parts[(at - 1) / 2];
    b->parts[at] = part;
}

static struct part take_part(struct bisection *b)
{
    struct part top = b->parts[0], last = b->parts[--b->part_count];
    size_t at = 0;

    for (;;) {
        size_t child = 2 * at + 1;
        if (child >= b->part_count)
            break;
        child += child + 1 < b->part_count && b->parts[child + 1].upper > b->parts[child].upper;
        if (b->parts[child].upper <= last.upper)
            break;
        b->parts[at] = b->parts[child];
        at = child;
    }
    b->parts[at] = last;
    return top;
}

static void split_part(struct bisection *b)
{
    struct part part = take_part(b);
    int longest = 0;
    real side = -1;

    for (int i = 0; i < 3; i++) {
        real way = length(minus(b->sites[part.sites[(i + 1) % 3]].at, b->sites[part.sites[i]].at));
        if (way > side) {
            side = way;
            longest = i;
        }
    }
    uint32_t s = part.sites[longest], t = part.sites[(longest + 1) % 3], u = part.sites[(longest + 2) % 3];
    struct point from = b->sites[s].at;
    uint32_t middle = add_site(b, plus(from, 0.5L, minus(b->sites[t].at, from)));
    add_part(b, s, middle, u);
    add_part(b, middle, t, u);
}

struct soup_truth soup_truth(const struct soup *from, const struct soup *to, long double width,
                             size_t parts_max)
{
    static struct bisection bisection;
    struct bisection *b = &bisection;
    const vec3 origin = from->points[from->triangles[0][0]];
    size_t splits = 0;

    b->site_count = b->part_count = 0;
    b->lower = 0;
    b->face_count = faces_of(to, origin, b->faces);
    for (size_t v = 0; v < from->point_count; v++) {
        real lower = b->lower;
        add_site(b, point_of(from->points[v], origin));
        b->lower = lower; /* not every point is of a triangle */
    }
    for (size_t t = 0; t < from->triangle_count; t++)
        for (int i = 0; i < 3; i++)
            b->lower = larger(b->lower, b->sites[from->triangles[t][i]].least);
    for (size_t t = 0; t < from->triangle_count; t++)
        add_part(b, from->triangles[t][0], from->triangles[t][1], from->triangles[t][2]);
    while (b->parts[0].upper > b->lower + width && splits < parts_max && b->site_count < SOUP_PARTS_MAX
           && b->part_count + 1 < SOUP_PARTS_MAX) {
        split_part(b);
        splits++;
    }
    return (struct soup_truth){b->lower, larger(b->lower, b->parts[0].upper), splits};
}
