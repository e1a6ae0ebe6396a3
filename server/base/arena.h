/* arena.h - the bounded memory of one run.
 *
 * An arena reserves address space once and hands it out from the bottom; pages cost memory only when
 * touched. It is never freed piecewise: arena_close gives all of it back. Passing an arena by value makes a
 * scratch arena: what the callee takes from the copy is gone when it returns, because the caller's own
 * position did not move. Two threads never take from one arena: arena_split gives each its own part.
 *
 * NULL from an allocation means that the run reached its limit; arena_failed tells it after several at once.
 */
#ifndef BASE_ARENA_H
#define BASE_ARENA_H

#include "base/error.h"

struct arena {
    unsigned char *begin; /* next free byte */
    unsigned char *end;   /* one past the last byte of this arena */
    unsigned char *base;  /* start of the reservation; NULL in a part made by arena_split */
    bool failed;          /* an allocation did not fit since the arena, or this copy, was made */
};

/* Reserves bytes (rounded up to whole pages) of zeroed memory. ERROR_MACHINE when the system refuses. */
bool arena_open(struct arena *arena, size_t bytes, struct error *err);
void arena_close(struct arena *arena);

/* count * size bytes aligned to align (a power of two), not cleared; NULL when they do not fit or the product
 * overflows. A count of 0 gives a valid pointer that must not be read. */
void *arena_alloc(struct arena *arena, size_t count, size_t size, size_t align);
/* The same, cleared to zero. */
void *arena_calloc(struct arena *arena, size_t count, size_t size, size_t align);
/* A copy; NULL as above. */
char *arena_text(struct arena *arena, const char *text);
/* Shortens the most recent allocation of this arena to count * size bytes. */
void arena_trim(struct arena *arena, void *last, size_t count, size_t size);
/* Gives what was touched of the part still to be had back to the system; it stays usable, at the cost of
 * fetching its pages anew. A copy's part counts as its own: nobody else may hold anything there. */
void arena_release(struct arena *arena);
/* Gives the whole pages of an allocation back to the system: what is in it is lost, and it is not had anew.
 */
void arena_forget(void *allocation, size_t bytes);
/* Bytes still to be had. */
size_t arena_left(const struct arena *arena);
/* Takes bytes off arena as an arena of their own (for one thread); false when they do not fit. */
bool arena_split(struct arena *arena, size_t bytes, struct arena *part);
/* Sets ERROR_LIMIT "the run needs more memory than its limit" and returns false. */
bool arena_error(struct error *err);

#define ARENA_NEW(arena, type, count) ((type *)arena_alloc((arena), (count), sizeof(type), _Alignof(type)))
#define ARENA_ZERO(arena, type, count) ((type *)arena_calloc((arena), (count), sizeof(type), _Alignof(type)))

#endif
