/* fonts.h - the files that the PDF is set in: named, hashed, and nothing else is taken.
 *
 * They lie where Debian's fonts-dejavu-core puts them, or in the folder that the variable FETTLE_FONTS names.
 */
#ifndef REPORT_FONTS_H
#define REPORT_FONTS_H

#include "base/digest.h"
#include "base/error.h"

enum font { FONT_SANS, FONT_SANS_BOLD, FONT_SERIF, FONT_SERIF_BOLD, FONT_MONO, FONT_COUNT };

#define FONT_PATH_SIZE 4200

/* "DejaVuSans.ttf" */
const char *font_file(enum font font);
void font_path(enum font font, char path[FONT_PATH_SIZE]);
/* ERROR_MACHINE, with the package to install, where a file is missing or cannot be read. */
bool font_digest(enum font font, char sha256[DIGEST_HEX_SIZE], struct error *err);

#endif
