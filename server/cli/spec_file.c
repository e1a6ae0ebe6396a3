/* spec_file.c - finding and reading a spec. */
#include "cli/spec_file.h"

#include "cli/inputs.h"
#include "json/spec_builtin.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

static const size_t spec_bytes_max = (size_t)1 << 20;

static bool read_spec(const char *name, struct spec_file *file, struct error *err)
{
    struct spec_builtin builtin;
    char *bytes;
    size_t size;
    if (!strpbrk(name, "/.") && spec_builtin_find(name, &builtin))
        return spec_open(builtin.bytes, builtin.size, &file->measures, &file->spec, err);
    if (!input_read(name, spec_bytes_max, &bytes, &size, err)) {
        if (!strpbrk(name, "/."))
            error_set(
                err, ERROR_NOT_FOUND,
                "there is no spec '%s' here and no file of that name; there are print, cage, archive, cast",
                name);
        return false;
    }
    bool ok = spec_open(bytes, size, &file->measures, &file->spec, err);
    free(bytes);
    return ok;
}

bool spec_file_open(const char *name, struct spec_file *file, struct error *err)
{
    memset(file, 0, sizeof *file);
    if (!measures_open(&file->measures, err))
        return false;
    if (read_spec(name, file, err))
        return true;
    measures_close(&file->measures);
    return false;
}

void spec_file_close(struct spec_file *file)
{
    spec_close(&file->spec);
    measures_close(&file->measures);
}

void today(char day[11])
{
    time_t now = time(NULL);
    struct tm parts;
    gmtime_r(&now, &parts);
    strftime(day, 11, "%Y-%m-%d", &parts);
}
