/* fonts.c - where the fonts are, and their digests. */
#include "report/fonts.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const files[FONT_COUNT] = {[FONT_SANS] = "DejaVuSans.ttf",
                                              [FONT_SANS_BOLD] = "DejaVuSans-Bold.ttf",
                                              [FONT_SERIF] = "DejaVuSerif.ttf",
                                              [FONT_SERIF_BOLD] = "DejaVuSerif-Bold.ttf",
                                              [FONT_MONO] = "DejaVuSansMono.ttf"};

const char *font_file(enum font font)
{
    return files[font];
}

void font_path(enum font font, char path[FONT_PATH_SIZE])
{
    const char *folder = getenv("FETTLE_FONTS");
    snprintf(path, FONT_PATH_SIZE, "%.4000s/%s",
             folder && *folder ? folder : "/usr/share/fonts/truetype/dejavu", files[font]);
}

bool font_digest(enum font font, char sha256[DIGEST_HEX_SIZE], struct error *err)
{
    unsigned char piece[1 << 14];
    char path[FONT_PATH_SIZE];
    struct digest digest;
    size_t got;
    font_path(font, path);
    FILE *file = fopen(path, "rbe");
    if (!file)
        return error_set(err, ERROR_MACHINE,
                         "the font %s is missing: install the package fonts-dejavu-core (%s)", files[font],
                         strerror(errno));
    digest_begin(&digest);
    while ((got = fread(piece, 1, sizeof piece, file)) > 0)
        digest_add(&digest, piece, got);
    bool ok = !ferror(file);
    fclose(file);
    digest_end(&digest, sha256);
    return ok || error_set(err, ERROR_MACHINE, "the font %s cannot be read", files[font]);
}
