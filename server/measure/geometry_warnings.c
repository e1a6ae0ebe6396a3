/* geometry_warnings.c - each remark and when it is made. */
#include "measure/geometry_warnings.h"

#include <string.h>

#include "measure/face_geometry.h"
#include "measure/quality.h"

static bool is_said(const struct warning_list *warnings, const char *code)
{
    for (size_t i = 0; i < warnings->count; i++)
        if (strcmp(warnings->entries[i].code, code) == 0)
            return true;
    return false;
}

static double largest_coordinate(aabb bounds)
{
    return fmax(largest_component(bounds.min), largest_component(bounds.max));
}

static void warn_of_place(const struct measure_input *input, struct warning_list *warnings)
{
    double largest = largest_coordinate(input->bounds), diagonal = input->diagonal;
    if (diagonal > 0 && largest / diagonal > FAR_FROM_ORIGIN_RATIO)
        warning_add(
            warnings, "far_from_origin", 1,
            "the mesh lies %.3g of its box diagonals from the origin, which costs precision; move it to "
            "the origin before export",
            largest / diagonal);
}

static void warn_of_extents(const struct measure_input *input, struct warning_list *warnings)
{
    /* guarded, so that the extents of the largest boxes do not overflow */
    vec3 extent =
        vec3_sub(vec3_scale(input->bounds.max, input->guard), vec3_scale(input->bounds.min, input->guard));
    const double extents[3] = {extent.x, extent.y, extent.z};
    double least = INFINITY, largest = 0;
    size_t flat = 0;
    for (size_t i = 0; i < 3; i++) {
        flat += extents[i] == 0;
        least = extents[i] > 0 ? fmin(least, extents[i]) : least;
        largest = fmax(largest, extents[i]);
    }
    if (flat > 0)
        warning_add(warnings, "flat_extent", flat,
                    "the box has no extent along %zu of its 3 axes; check that the right part was exported",
                    flat);
    if (flat < 3 && largest / least > ANISOTROPIC_EXTENT_RATIO)
        warning_add(warnings, "anisotropic_extent", 1,
                    "the longest side of the box is %.3g times the shortest; check the scale of each axis",
                    largest / least);
}

static void warn_of_size(const struct measure_input *input, const struct mesh_report *report,
                         struct warning_list *warnings)
{
    bool overflows = isnan(report->area) || isnan(report->diagonal)
                     || (isnan(report->volume) && report->topology.closed && report->topology.oriented);
    bool extreme =
        input->diagonal > EXTREME_DIAGONAL || (input->diagonal > 0 && input->diagonal < 1 / EXTREME_DIAGONAL);
    if ((overflows || extreme) && !is_said(warnings, "extreme_coordinates"))
        warning_add(
            warnings, "extreme_coordinates", 1,
            "the box diagonal of %.3g is no plausible length in any unit%s; check the unit of the export",
            input->diagonal, overflows ? ", and some measures exceed the range of numbers" : "");
}

/* Farthest corner from the plane through the mean corner across the Newell normal, against the longest side.
 */
static double departure_from_plane(const struct measure_input *input, size_t f)
{
    const uint32_t *face = mesh_face(input->mesh, f);
    size_t size = mesh_face_size(input->mesh, f);
    vec3 normal = {0, 0, 0}, mean = {0, 0, 0};
    double longest = 0, farthest = 0;
    for (size_t i = 0; i < size; i++) {
        vec3 p = centred_position(input, face[i]), q = centred_position(input, face[(i + 1) % size]);
        vec3 first = centred_position(input, face[0]);
        normal = vec3_add(normal, vec3_cross(vec3_sub(p, first), vec3_sub(q, first)));
        mean = vec3_add(mean, vec3_scale(p, 1 / (double)size));
        longest = fmax(longest, vec3_distance(p, q));
    }
    double length = safe_length(normal);
    if (length == 0 || longest == 0)
        return 0;
    for (size_t i = 0; i < size; i++) {
        vec3 from_mean = vec3_sub(centred_position(input, face[i]), mean);
        farthest = fmax(farthest, fabs(vec3_dot(from_mean, vec3_scale(normal, 1 / length))));
    }
    return farthest / longest;
}

static void warn_of_polygons(const struct measure_input *input, struct warning_list *warnings)
{
    for (size_t f = 0; f < input->mesh->face_count; f++)
        if (mesh_face_size(input->mesh, f) > 4 && departure_from_plane(input, f) > NONPLANAR_POLYGON)
            warning_add(
                warnings, "nonplanar_polygons", 1,
                "face %zu has %zu corners far from one plane, so its area depends on how it is cut; split "
                "it into quads",
                f, mesh_face_size(input->mesh, f));
}

void geometry_warnings(const struct measure_input *input, const struct mesh_report *report,
                       size_t needle_faces, struct warning_list *warnings)
{
    if (aabb_is_empty(input->bounds))
        return;
    warn_of_place(input, warnings);
    warn_of_extents(input, warnings);
    warn_of_size(input, report, warnings);
    if (needle_faces > 0)
        warning_add(warnings, "needle_faces", needle_faces,
                    "%zu faces are needles with an aspect ratio above %.0e; collapse their short sides",
                    needle_faces, QUALITY_NEEDLE_ASPECT);
    warn_of_polygons(input, warnings);
}
