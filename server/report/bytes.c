/* bytes.c - growing memory for cairo. */
#include "report/bytes.h"

#include <stdlib.h>
#include <string.h>

cairo_status_t bytes_take(void *closure, const unsigned char *data, unsigned length)
{
    struct bytes *bytes = closure;
    if (bytes->room - bytes->size < length) {
        size_t room = 2 * bytes->room + length + 4096;
        unsigned char *grown = realloc(bytes->bytes, room);
        if (!grown)
            return CAIRO_STATUS_NO_MEMORY;
        bytes->bytes = grown;
        bytes->room = room;
    }
    memcpy(bytes->bytes + bytes->size, data, length);
    bytes->size += length;
    return CAIRO_STATUS_SUCCESS;
}
