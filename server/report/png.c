/* png.c - cairo's image writer. */
#include "report/png.h"

#include "report/bytes.h"

#include <stdlib.h>

bool png_write(const struct document_panel *panel, unsigned char **out, size_t *size, struct error *err)
{
    struct bytes bytes = {NULL, 0, 0};
    cairo_surface_t *image =
        cairo_image_surface_create_for_data((unsigned char *)panel->pixels, CAIRO_FORMAT_RGB24,
                                            (int)panel->width, (int)panel->height, (int)(4 * panel->width));
    cairo_status_t status = cairo_surface_write_to_png_stream(image, bytes_take, &bytes);
    cairo_surface_destroy(image);
    if (status != CAIRO_STATUS_SUCCESS) {
        free(bytes.bytes);
        return error_set(err, ERROR_MACHINE, "a picture of the report cannot be made: %s",
                         cairo_status_to_string(status));
    }
    *out = bytes.bytes;
    *size = bytes.size;
    return true;
}
