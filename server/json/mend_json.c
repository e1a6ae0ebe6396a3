/* mend_json.c - what a mended scan changed: totals, then its regions. */
#include "json/tree.h"

static json_t *farthest_change_json(struct tree *tree, const struct deviation *deviation)
{
    const struct farthest_place *lost = &deviation->reference_to_subject.max,
                                *invented = &deviation->subject_to_reference.max;
    bool is_lost = lost->distance.upper > invented->distance.upper;
    const struct farthest_place *place = is_lost ? lost : invented;
    json_t *object = tree_interval(tree, deviation->hausdorff);

    tree_put_point(tree, object, "at", place->at);
    tree_put_text(tree, object, "mesh", is_lost ? "reference" : "subject");
    tree_put_count(tree, object, "face", place->face);
    return object;
}

static json_t *moves_json(struct tree *tree, const struct vertex_moves *moves)
{
    if (!moves->defined)
        return json_null();
    json_t *object = tree_object(tree);
    tree_put_count(tree, object, "count", moves->count);
    tree_put_real(tree, object, "largest", moves->largest);
    tree_put_integer(tree, object, "vertex", moves->vertex);
    return object;
}

static json_t *kinds_json(struct tree *tree, const struct mend *mend)
{
    json_t *object = tree_object(tree);
    for (int kind = 0; kind < MEND_KIND_COUNT; kind++)
        tree_put_integer(tree, object, mend_kind_name((enum mend_kind)kind), mend->by_kind[kind]);
    return object;
}

static json_t *move_json(struct tree *tree, const struct mend_move *move)
{
    if (isnan(move->distance.upper))
        return json_null();
    json_t *object = tree_interval(tree, move->distance);
    tree_put_point(tree, object, "at", move->at);
    return object;
}

static json_t *region_json(struct tree *tree, const struct mend_region *region)
{
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "kind", mend_kind_name(region->kind));
    tree_put_count(tree, object, "added_faces", region->added_faces);
    tree_put_count(tree, object, "removed_faces", region->removed_faces);
    tree_put_real(tree, object, "added_area", region->added_area);
    tree_put_real(tree, object, "removed_area", region->removed_area);
    tree_put_real(tree, object, "volume", region->volume);
    tree_put(tree, object, "move", move_json(tree, &region->move));
    tree_put_count(tree, object, "open_edges_gone", region->open_edges_gone);
    tree_put_count(tree, object, "open_edges_new", region->open_edges_new);
    tree_put_count(tree, object, "holes_filled", region->holes_filled);
    tree_put_count(tree, object, "holes_opened", region->holes_opened);
    tree_put_real(tree, object, "outline", region->outline);
    tree_put_point(tree, object, "centre", region->centre);
    tree_put_box(tree, object, "bounds", region->bounds);
    tree_put_integer(tree, object, "first_added", region->first_added);
    tree_put_integer(tree, object, "first_removed", region->first_removed);
    return object;
}

json_t *tree_mend(struct tree *tree, const struct run *run)
{
    const struct mend *mend = &run->mend;
    json_t *object = tree_object(tree), *regions = tree_array(tree);

    tree_put_count(tree, object, "shared_faces", mend->shared_faces);
    tree_put_count(tree, object, "turned_faces", mend->turned_faces);
    tree_put_count(tree, object, "added_faces", mend->added_faces);
    tree_put_count(tree, object, "removed_faces", mend->removed_faces);
    tree_put_real(tree, object, "shared_area", mend->shared_area);
    tree_put_real(tree, object, "subject_share", mend->subject_share);
    tree_put_real(tree, object, "reference_share", mend->reference_share);
    tree_put_real(tree, object, "added_area", mend->added_area);
    tree_put_real(tree, object, "removed_area", mend->removed_area);
    tree_put(tree, object, "farthest_change", farthest_change_json(tree, &run->deviation));
    tree_put(tree, object, "largest_move", move_json(tree, &mend->largest_move));
    tree_put(tree, object, "moved_vertices", moves_json(tree, &mend->moves));
    tree_put_real(tree, object, "volume_change", mend->volume_change);
    tree_put_integer(tree, object, "holes_filled", mend->holes_filled);
    tree_put_integer(tree, object, "holes_opened", mend->holes_opened);
    tree_put_real(tree, object, "filled_volume", mend->filled_volume);
    tree_put(tree, object, "regions_by_kind", kinds_json(tree, mend));
    for (size_t i = 0; i < mend->region_count; i++)
        tree_append(tree, regions, region_json(tree, &mend->regions[i]));
    tree_put(tree, object, "regions", regions);
    tree_put_count(tree, object, "regions_total", mend->region_total);
    return object;
}
