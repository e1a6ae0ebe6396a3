/* report.c - writing and reading the lines of a worker's pipe. */
#include "job/report.h"

#include "job/reason.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void report_write(int fd, const char *format, ...)
{
    char line[REPORT_LINE_MAX];
    va_list args;
    va_start(args, format);
    int count = vsnprintf(line, sizeof line - 1, format, args);
    va_end(args);
    if (count < 0)
        return;
    size_t size = (size_t)count < sizeof line - 1 ? (size_t)count : sizeof line - 2;
    line[size++] = '\n';
    ssize_t put = write(fd, line, size); /* one piece: a pipe takes up to 4096 bytes whole */
    (void)put;
}

void report_begin(struct report *report)
{
    memset(report, 0, sizeof *report);
}

/* Copies a word of letters, digits and "_-." that fits. */
static bool take_word(char *out, size_t out_size, const char *word)
{
    size_t size = strspn(word, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-.");
    if (size == 0 || word[size] != '\0' || size >= out_size)
        return false;
    memcpy(out, word, size + 1);
    return true;
}

static bool take_number(const char *word, uint64_t *number)
{
    size_t digits = strspn(word, "0123456789");
    if (digits == 0 || digits > 18 || word[digits] != '\0')
        return false;
    *number = strtoull(word, NULL, 10);
    return true;
}

/* Decimal only; worker and parent both run in the C locale, as the program never sets one. */
static bool take_real(const char *word, double *value)
{
    char *end;
    if (word[strspn(word, "0123456789+-.e")] != '\0')
        return false;
    *value = strtod(word, &end);
    return end != word && *end == '\0' && isfinite(*value);
}

static bool take_progress(struct report *report, const char *stage, const char *fraction)
{
    double value;
    if (!take_word(report->stage, sizeof report->stage, stage) || !take_real(fraction, &value))
        return false;
    report->fraction = fmax(report->fraction, fmin(fmax(value, 0), 1));
    return true;
}

static bool take_measure(struct report *report, const char *path, const char *value)
{
    struct report_measure *measure = &report->measures[report->measure_count];
    if (report->measure_count == REPORT_MEASURES_MAX || !take_word(measure->path, sizeof measure->path, path))
        return false;
    measure->value = NAN;
    if (strcmp(value, "null") != 0 && !take_real(value, &measure->value))
        return false;
    report->measure_count++;
    return true;
}

static bool take_field(struct report *report, const char *name, const char *per, const char *count)
{
    struct report_field *field = &report->fields[report->field_count];
    if (report->field_count == REPORT_FIELDS_MAX || !take_word(field->name, sizeof field->name, name)
        || !take_number(count, &field->count) || field->count > (uint64_t)1 << 32)
        return false;
    field->per_face = strcmp(per, "face") == 0;
    report->field_count++;
    return true;
}

static bool take_error(struct report *report, char *words[5])
{
    uint64_t line, byte = 0;
    char format[sizeof report->error.format] = "";
    bool has_byte = strcmp(words[3], "-") != 0;
    if (!take_word(report->code, sizeof report->code, words[0]) || !reason_is_known(report->code)
        || (strcmp(words[1], "-") != 0 && !take_word(format, sizeof format, words[1]))
        || !take_number(words[2], &line) || (has_byte && !take_number(words[3], &byte)))
        return false;
    error_set(&report->error, ERROR_MACHINE, "%s", words[4]); /* makes the text printable */
    memcpy(report->error.format, format, sizeof format);
    report->error.line = line;
    report->error.has_byte = has_byte;
    report->error.byte = byte;
    report->has_error = true;
    return true;
}

/* Cuts line at its first blanks into at most max words; the last one keeps the rest. */
static size_t split(char *line, char **words, size_t max)
{
    size_t count = 0;
    while (count < max && *line) {
        words[count++] = line;
        char *blank = count < max ? strchr(line, ' ') : NULL;
        if (!blank)
            break;
        *blank = '\0';
        line = blank + 1;
    }
    return count;
}

static bool take_line(struct report *report, char *line, bool *moved)
{
    char *words[6];
    bool is_error = strncmp(line, "error ", 6) == 0;
    size_t count = split(line, words, is_error ? 6 : 4);
    uint64_t abi;

    if (count == 1 && strcmp(words[0], "done") == 0)
        return report->done = true;
    if (count == 6 && is_error)
        return take_error(report, words + 1);
    if (count == 2 && strcmp(words[0], "format") == 0)
        return take_word(report->format, sizeof report->format, words[1]);
    if (count == 4 && strcmp(words[0], "field") == 0)
        return take_field(report, words[1], words[2], words[3]);
    if (count != 3)
        return false;
    if (strcmp(words[0], "pictures") == 0)
        return report->done && take_number(words[1], &report->surface_bytes)
               && take_number(words[2], &report->thumbnail_bytes);
    if (strcmp(words[0], "progress") == 0)
        return *moved = take_progress(report, words[1], words[2]);
    if (strcmp(words[0], "measure") == 0)
        return take_measure(report, words[1], words[2]);
    if (strcmp(words[0], "sandbox") != 0 || !take_number(words[1], &abi) || abi > 1000)
        return false;
    report->landlock_abi = (int)abi;
    report->seccomp = strcmp(words[2], "1") == 0;
    return true;
}

bool report_take(struct report *report, const char *bytes, size_t count)
{
    bool moved = false;
    for (size_t i = 0; i < count && !report->broken; i++) {
        if (bytes[i] != '\n' && report->line_bytes < sizeof report->line - 1) {
            report->line[report->line_bytes++] = bytes[i];
            continue;
        }
        report->line[report->line_bytes] = '\0';
        report->broken = bytes[i] != '\n' || !take_line(report, report->line, &moved);
        report->line_bytes = 0;
    }
    if (report->broken)
        report->done = false;
    return moved;
}
