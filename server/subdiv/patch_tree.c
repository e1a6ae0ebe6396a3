/* patch_tree.c - growing the tree: around one extraordinary corner without a mesh, elsewhere by local cages.
 */
#include "subdiv/patch_tree.h"

#include "subdiv/bezier.h"
#include "subdiv/limit.h"
#include "subdiv/refine.h"

bool patch_tree_open(struct patch_tree *tree, size_t capacity, double rest_radius, unsigned level_max,
                     struct arena *keep)
{
    tree->count = 0;
    tree->capacity = capacity;
    tree->rest_radius = rest_radius;
    tree->level_max = level_max;
    tree->is_wanted = NULL;
    tree->work = 0;
    tree->patches = ARENA_NEW(keep, struct patch, capacity);
    tree->eye = ARENA_NEW(keep, struct eye, 1);
    return !keep->failed;
}

/* What all steps of one tree share. */
struct grower {
    struct patch_tree *tree;
    struct arena temporary;
    struct error *err;
};

static bool can_grow(const struct patch_tree *tree, vec3 centre, double radius, unsigned level)
{
    return radius > tree->rest_radius && level < tree->level_max && tree->capacity - tree->count >= 4
           && (!tree->is_wanted || tree->is_wanted(tree->context, centre, radius));
}

static uint32_t add_children(struct patch_tree *tree, uint32_t at)
{
    struct patch *patch = &tree->patches[at];

    patch->kind = PATCH_INNER;
    patch->child = (uint32_t)tree->count;
    tree->count += 4;
    return patch->child;
}

static void set_piece(struct patch *patch, const vec3 net[16], unsigned turns)
{
    patch->kind = PATCH_PIECE;
    patch->turns = turns & 3;
    bezier_from_net(net, patch->points);
}

/* The quad at an extraordinary vertex, which is its corner `turns`: each step makes three pieces and a
 * smaller quad of the same kind. */
static void grow_eye(struct patch_tree *tree, uint32_t at, unsigned turns, unsigned level)
{
    vec3 centre, limits[4], nets[3][16];
    double radius;

    for (;; level++) {
        eye_ball(tree->eye, &centre, &radius);
        tree->work += tree->eye->valence;
        if (!can_grow(tree, centre, radius, level))
            break;
        eye_refine(tree->eye, nets);
        uint32_t child = add_children(tree, at);
        for (unsigned k = 0; k < 3; k++)
            set_piece(&tree->patches[child + ((k + 1 + turns) & 3)], (const vec3 *)nets[k], turns);
        at = child + (turns & 3);
    }
    struct patch *rest = &tree->patches[at];
    rest->kind = PATCH_REST;
    rest->centre = centre;
    rest->radius = radius;
    eye_limits(tree->eye, limits);
    for (unsigned j = 0; j < 4; j++)
        rest->corners[(j + turns) & 3] = limits[j];
}

/* The rest of a quad on a crease: its ends along the crease after all steps, and those across after one. */
static void set_crease_rest(struct patch *rest, struct crease_net crease, unsigned turns)
{
    vec3 far[16], points[16], ends[4];
    aabb box = aabb_empty();

    rest->kind = PATCH_REST;
    rest->radius = 0;
    for (int i = 0; i < 16; i++)
        box = aabb_include(box, crease.net[i]);
    rest->centre = aabb_centre(box);
    for (int i = 0; i < 16; i++)
        rest->radius = fmax(rest->radius, vec3_distance(crease.net[i], rest->centre));
    crease_refine(&crease, far);
    bezier_from_net(far, points);
    bezier_corners(points, ends);
    for (unsigned j = 2; j < 4; j++)
        rest->corners[(j + turns) & 3] = ends[j];
    while (crease.sharpness > 0)
        crease_refine(&crease, far);
    bezier_from_net(crease.net, points);
    bezier_corners(points, ends);
    for (unsigned j = 0; j < 2; j++)
        rest->corners[(j + turns) & 3] = ends[j];
}

/* The quad on a crease that begins at its corner `turns`: each step makes a piece and a narrower quad of the
 * same kind, until it is a piece too. */
static void grow_crease(struct patch_tree *tree, uint32_t at, struct crease_net *crease, unsigned turns)
{
    vec3 far[16];

    while (crease->sharpness > 0) {
        struct patch *patch = &tree->patches[at];
        if (tree->capacity - tree->count < 2) {
            set_crease_rest(patch, *crease, turns);
            return;
        }
        patch->kind = PATCH_HALVED;
        patch->turns = turns & 3;
        patch->child = (uint32_t)tree->count;
        tree->count += 2;
        crease_refine(crease, far);
        set_piece(&tree->patches[patch->child + 1], far, turns);
        at = patch->child;
    }
    set_piece(&tree->patches[at], crease->net, turns);
}

static bool set_rest(struct grower *grower, uint32_t at, const struct cage *local, vec3 centre, double radius)
{
    struct patch *rest = &grower->tree->patches[at];
    struct arena temporary = grower->temporary;
    struct ring ring;

    if (!ring_open(&ring, local, &temporary))
        return arena_error(grower->err);
    rest->kind = PATCH_REST;
    rest->centre = centre;
    rest->radius = radius;
    for (uint32_t j = 0; j < 4; j++)
        rest->corners[j] = limit_position(local, NULL, j, &ring);
    return true;
}

static bool grow(struct grower *grower, uint32_t at, const struct cage *cage, uint32_t f, unsigned first,
                 struct local_marks *marks, unsigned level, struct arena scratch);

/* Quad f with all its neighbours becomes a local cage, that is refined, and each child of the quad grows from
 * there. */
static bool grow_locally(struct grower *grower, uint32_t at, const struct cage *cage, uint32_t f,
                         unsigned first, struct local_marks *marks, unsigned level, struct arena scratch)
{
    struct cage local, fine;
    struct local_marks fine_marks;
    vec3 centre;
    double radius;

    if (!local_cage_build(cage, f, first, marks, &local, &scratch, grower->temporary, grower->err))
        return false;
    local_cage_ball(&local, &centre, &radius);
    grower->tree->work += local.mesh.face_count;
    if (!can_grow(grower->tree, centre, radius, level))
        return set_rest(grower, at, &local, centre, radius);
    if (!refine_build(&local, &fine, &scratch, grower->temporary, grower->err))
        return false;
    if (!local_marks_open(&fine_marks, &fine, &scratch))
        return arena_error(grower->err);
    uint32_t child = add_children(grower->tree, at);
    for (unsigned i = 0; i < 4; i++)
        if (!grow(grower, child + i, &fine, i, (4 - i) & 3, &fine_marks, level + 1, scratch))
            return false;
    return true;
}

static bool grow(struct grower *grower, uint32_t at, const struct cage *cage, uint32_t f, unsigned first,
                 struct local_marks *marks, unsigned level, struct arena scratch)
{
    unsigned corner = 0;
    struct crease_net crease;
    vec3 net[16];

    switch (net_classify(cage, f, &corner)) {
    case NET_REGULAR:
        net_gather(cage, f, first, net);
        set_piece(&grower->tree->patches[at], net, 0);
        return true;
    case NET_EXTRAORDINARY:
        eye_gather(cage, f, corner, grower->tree->eye);
        grow_eye(grower->tree, at, (corner - first) & 3, level);
        return true;
    case NET_CREASED:
        crease_gather(cage, f, corner, &crease);
        grow_crease(grower->tree, at, &crease, (corner - first) & 3);
        return true;
    default:
        return grow_locally(grower, at, cage, f, first, marks, level, scratch);
    }
}

bool patch_tree_build(struct patch_tree *tree, const struct cage *cage, uint32_t f, unsigned first,
                      struct local_marks *marks, struct arena scratch, struct arena more_scratch,
                      struct error *err)
{
    struct grower grower = {tree, more_scratch, err};

    tree->count = 1;
    bool ok = grow(&grower, 0, cage, f, first, marks, 0, scratch);
    tree->work += tree->count;
    return ok;
}

vec3 patch_corner(const struct patch_tree *tree, uint32_t patch, unsigned corner)
{
    static const unsigned PLACES[4] = {0, 3, 15, 12};
    const struct patch *p = &tree->patches[patch];

    while (p->kind == PATCH_INNER || p->kind == PATCH_HALVED)
        p = &tree->patches[p->child + (p->kind == PATCH_INNER ? corner : ((corner - p->turns) & 3) / 2)];
    return p->kind == PATCH_PIECE ? p->points[PLACES[(corner - p->turns) & 3]] : p->corners[corner];
}

/* A bound as it grows; no more is added once it is too large. */
struct fitting {
    struct patch_tree *tree;
    struct quad_fit fit;
    double most_sq;
};

static void add_to_fit(struct fitting *fitting, uint32_t at, const struct quad_part *part)
{
    const struct patch *p = &fitting->tree->patches[at];
    struct quad_part child;

    if (quad_fit_is_over(&fitting->fit, fitting->most_sq))
        return;
    fitting->tree->work++;
    switch (p->kind) {
    case PATCH_REST:
        quad_fit_add_ball(&fitting->fit, p->centre, p->radius, part);
        return;
    case PATCH_PIECE:
        child = quad_fit_turned(part, p->turns);
        quad_fit_add_bezier(&fitting->fit, p->points, &child);
        return;
    case PATCH_HALVED:
        for (unsigned i = 0; i < 2; i++) {
            child = quad_fit_half(part, p->turns, i == 1);
            add_to_fit(fitting, p->child + i, &child);
        }
        return;
    case PATCH_INNER:
        for (unsigned i = 0; i < 4; i++) {
            child = quad_fit_quarter(&fitting->fit, part, i);
            add_to_fit(fitting, p->child + i, &child);
        }
        return;
    }
}

double patch_eps(struct patch_tree *tree, uint32_t patch, const vec3 corners[4], enum quad_cut cut,
                 double most)
{
    struct fitting fitting = {.tree = tree, .most_sq = most * most};

    quad_fit_begin(&fitting.fit, corners, cut);
    const struct quad_part whole = quad_fit_whole(&fitting.fit);
    add_to_fit(&fitting, patch, &whole);
    return quad_fit_is_over(&fitting.fit, fitting.most_sq) ? INFINITY : quad_fit_eps(&fitting.fit);
}
