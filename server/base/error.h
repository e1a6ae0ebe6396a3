/* error.h - what went wrong, for whom, and where in the input.
 *
 * A function that can fail returns bool and takes struct error *err last. The lowest function that
 * understands the fault fills err; everyone above passes it on untouched. The code says who can mend it;
 * http and cli each turn codes into statuses in one table. */
#ifndef BASE_ERROR_H
#define BASE_ERROR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum error_code {
    ERROR_NONE = 0,
    ERROR_SYNTAX,    /* the file breaks its format */
    ERROR_DATA,      /* the syntax holds but a value is impossible: an index, a checksum */
    ERROR_LIMIT,     /* a documented limit is hit: size, count, ratio, memory of a run */
    ERROR_TYPE,      /* not a supported format, variant or version */
    ERROR_EMPTY,     /* no faces to measure */
    ERROR_USAGE,     /* the request itself is wrong: an option, a parameter, a body */
    ERROR_NOT_FOUND, /* no such specimen, version, run, file */
    ERROR_CONFLICT,  /* the state does not allow it, or somebody changed it first */
    ERROR_BUSY,      /* try again later: locked database, full queue */
    ERROR_STORE,     /* the database or the blob folder refused or is damaged */
    ERROR_MACHINE,   /* disk full, out of memory, a system call that failed */
    ERROR_CANCELLED, /* the caller asked to stop */
    ERROR_CODE_COUNT
};

struct error {
    enum error_code code;
    char
        format[12]; /* "obj", "stl", "ply", "off", "gzip", ... of the input at fault, "" when there is none */
    size_t line;    /* 1-based line of the input at fault, 0 when there is none */
    bool has_byte;  /* the place is a byte offset */
    size_t byte;    /* 0-based offset into the (inflated) input */
    char text[240]; /* one sentence: what, and what to do; without the caller's context or any path */
};

/* Fills err and returns false, so that a caller can write: return error_set(err, ...).
 * Text is cut at the size of err->text and made safe: control bytes become '?'. */
bool error_set(struct error *err, enum error_code code, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* The same with a place in an input: format name and line (1-based), or byte offset. */
bool error_set_line(struct error *err, enum error_code code, const char *input_format, size_t line,
                    const char *format, ...) __attribute__((format(printf, 5, 6)));
bool error_set_byte(struct error *err, enum error_code code, const char *input_format, size_t byte,
                    const char *format, ...) __attribute__((format(printf, 5, 6)));

/* "reject-syntax", "reject-data", "reject-limit", "reject-type", "reject-empty", "usage", "not-found",
 * "conflict", "busy", "store", "machine", "cancelled": the word that command line and API print. */
const char *error_word(enum error_code code);

/* True for the five codes that refuse an input file. */
bool error_is_reject(enum error_code code);

/* "OBJ: line 12: text", "STL: byte 84: text" or the text alone, into out (always terminated). */
void error_describe(const struct error *err, char *out, size_t out_size);

#endif
