/* fixture_shapes.h - meshes that tests build in code, with numbers known on paper.
 *
 * Every mesh comes from the arena given (cr_assert fails the test when it is too small) and is listed
 * counter-clockwise seen from outside, so closed ones have a positive volume. */
#ifndef SUPPORT_FIXTURE_SHAPES_H
#define SUPPORT_FIXTURE_SHAPES_H

#include "mesh/mesh.h"

/* Where the points of an index must lie. */
#define FIXTURE_FRAME ((aabb){{-1, -1, -1}, {1, 1, 1}})

/* An arena that lives to the end of the test's process, of 64 MiB of address space or of that many bytes. The
 * struct stands inside its own memory, so nothing is leaked. */
struct arena *fixture_arena(void);
struct arena *fixture_arena_of(size_t bytes);

/* From lists written out: faces hold their sizes one by one: size, corners..., size, corners..., and end with
 * a size of 0. */
struct mesh fixture_listed(struct arena *arena, const vec3 *positions, size_t vertex_count,
                           const uint32_t *faces);
/* An empty mesh with room for that many vertices, faces and corners; face_count and offsets grow by
 * fixture_add_face. vertex_count is set. */
struct mesh fixture_room(struct arena *arena, size_t vertex_count, size_t face_max, size_t corner_max);
void fixture_add_face(struct mesh *mesh, const uint32_t *corners, size_t size);
void fixture_add_quad(struct mesh *mesh, size_t a, size_t b, size_t c, size_t d);
void fixture_add_triangle(struct mesh *mesh, size_t a, size_t b, size_t c);

/* Flat grid of n x m unit squares in z = 0, normals up. */
struct mesh fixture_grid(struct arena *arena, size_t n, size_t m);
/* Torus grid: n around the axis z, m around the tube. */
struct mesh fixture_torus(struct arena *arena, size_t n, size_t m, double ring_radius, double tube_radius);
/* Unit sphere: n around, m along; 2n triangles at the poles. */
struct mesh fixture_uv_sphere(struct arena *arena, size_t n, size_t m);
/* Sphere of radius 1 from a cube with k x k quads a side. */
struct mesh fixture_cubed_sphere(struct arena *arena, size_t k);
/* Cylinder of radius 1 about z, n around, k along; with two n-gon caps or open. */
struct mesh fixture_cylinder(struct arena *arena, size_t n, size_t k, double height, bool capped);
/* Band of n quads with half a turn; vertices 2i and 2i + 1 are the two ends of cross line i. */
struct mesh fixture_moebius(struct arena *arena, size_t n);
/* Cube of six quads, centred at the origin. */
struct mesh fixture_cube(struct arena *arena, double side);
/* The five regular solids with 4, 6, 8, 12 or 20 faces, centred at the origin. Edge lengths: tetrahedron
 * 2 sqrt 2, cube 2, octahedron sqrt 2, dodecahedron sqrt 5 - 1, icosahedron 2. */
struct mesh fixture_platonic(struct arena *arena, int faces);

/* Copies: fanned into triangles; every face apart with vertices of its own; every face reversed; several
 * meshes as one, unwelded; positions p -> p * scale + shift. */
struct mesh fixture_fanned(struct arena *arena, const struct mesh *mesh);
struct mesh fixture_soup(struct arena *arena, const struct mesh *mesh);
struct mesh fixture_reversed(struct arena *arena, const struct mesh *mesh);
struct mesh fixture_joined(struct arena *arena, const struct mesh *a, const struct mesh *b);
struct mesh fixture_moved(struct arena *arena, const struct mesh *mesh, double scale, vec3 shift);
/* Vertices of equal position become one (quadratic, for small meshes); nothing else changes. */
struct mesh fixture_welded(struct arena *arena, const struct mesh *mesh);

/* A small repeatable generator (SplitMix64): next number, one below limit, one in [0, 1). */
uint64_t fixture_random(uint64_t *state);
size_t fixture_random_below(uint64_t *state, size_t limit);
double fixture_random_unit(uint64_t *state);

/* Control points of a bicubic Bezier piece, row by row: a sheet over the unit square whose points are moved
 * by up to `amount` any way. */
void fixture_random_piece(vec3 points[16], double amount, uint64_t *state);

#endif
