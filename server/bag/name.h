/* name.h - the paths of files in a bag: which are safe to have, and how manifests write them.
 *
 * A handoff's paths are printable ASCII, parted by '/'. So no two of them are one file where letters may be
 * written in several ways (RFC 8493, section 6.1: Unicode normalisation), and none can lead out of the bag.
 */
#ifndef BAG_NAME_H
#define BAG_NAME_H

#include "base/error.h"

#define BAG_PATH_MAX 1000 /* bytes, without the terminator */

/* ERROR_DATA naming the path, and why, where it is absolute, leads upwards, holds an empty part, a backslash,
 * a colon, a control byte, a byte beyond ASCII, a part with a blank at an end or a dot at its end, or is too
 * long. */
bool bag_path_check(const char *path, size_t size, struct error *err);

/* A file's name as one safe part: letters, digits, '-', '_' and '.' stay, each run of others becomes '_';
 * never empty, never begins with a dot or a hyphen, ends with the last 80 bytes where it is longer. */
void bag_name_safe(const char *name, char *out, size_t out_size);

/* As a manifest writes a path: CR, LF and '%' percent-encoded (RFC 8493, section 2.1.3). False where it does
 * not fit. */
bool bag_path_encode(const char *path, char *out, size_t out_size);
/* Back: only %0D, %0A and %25 stand for something, in either case. */
void bag_path_decode(char *path);

/* Ordering in which two paths that differ only in the case of letters are equal. */
int bag_path_compare_folded(const char *a, const char *b);

#endif
