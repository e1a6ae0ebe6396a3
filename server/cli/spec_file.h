/* spec_file.h - the spec that --spec names: one that comes with the program, or a file. */
#ifndef CLI_SPEC_FILE_H
#define CLI_SPEC_FILE_H

#include "json/spec_json.h"

struct spec_file {
    struct measure_list measures;
    struct spec spec;
};

/* name: "print", "cage", "archive", "cast", or a path (what holds a slash or a point always is one). On
 * success the caller owes spec_file_close. */
bool spec_file_open(const char *name, struct spec_file *file, struct error *err);
void spec_file_close(struct spec_file *file);

/* Today in Greenwich, "2026-11-28": the day for which waivers are looked at. */
void today(char day[11]);

#endif
