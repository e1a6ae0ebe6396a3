/* bytes.h - what cairo writes, collected in memory. */
#ifndef REPORT_BYTES_H
#define REPORT_BYTES_H

#include <cairo/cairo.h>
#include <stddef.h>

struct bytes {
    unsigned char *bytes; /* the owner frees it */
    size_t size, room;
};

/* A cairo_write_func_t; closure: struct bytes. */
cairo_status_t bytes_take(void *closure, const unsigned char *data, unsigned length);

#endif
