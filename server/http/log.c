/* log.c - writing of log lines. */
#include "http/log.h"

#include <stdbool.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define TAIL 8      /* kept free for the closing characters */
#define RESERVE 320 /* kept free by long texts for the short values after them */
#define SHORT 64    /* a key with a number, or with a text cut to nothing */

static void put(struct log_line *line, const char *bytes, size_t count)
{
    if (line->size + count + TAIL <= sizeof line->text) {
        memcpy(line->text + line->size, bytes, count);
        line->size += count;
    }
}

/* JSON string; bytes outside printable ASCII become \u00xx, which keeps every terminal calm. */
static void put_string(struct log_line *line, const char *value)
{
    put(line, "\"", 1);
    for (const unsigned char *c = (const unsigned char *)value; *c; c++) {
        char escaped[8];
        if (line->size + sizeof escaped + RESERVE > sizeof line->text)
            break; /* cut, but closed */
        if (*c == '"' || *c == '\\')
            put(line, escaped, (size_t)snprintf(escaped, sizeof escaped, "\\%c", *c));
        else if (*c < 0x20 || *c > 0x7e)
            put(line, escaped, (size_t)snprintf(escaped, sizeof escaped, "\\u%04x", *c));
        else
            put(line, (const char *)c, 1);
    }
    put(line, "\"", 1);
}

/* Keys are our own words: nothing to escape. */
static void put_key(struct log_line *line, const char *key)
{
    put(line, ",\"", 2);
    put(line, key, strlen(key));
    put(line, "\":", 2);
}

void log_time(int64_t seconds, char out[LOG_TIME_SIZE])
{
    time_t when = (time_t)seconds;
    struct tm parts;
    gmtime_r(&when, &parts);
    strftime(out, LOG_TIME_SIZE, "%Y-%m-%dT%H:%M:%SZ", &parts);
}

void log_begin(struct log_line *line, const char *event)
{
    char now[LOG_TIME_SIZE];
    line->size = 0;
    log_time((int64_t)time(NULL), now);
    put(line, "{\"time\":", 8);
    put_string(line, now);
    put_key(line, "event");
    put_string(line, event);
}

static bool has_room(const struct log_line *line)
{
    return line->size + SHORT + TAIL <= sizeof line->text;
}

void log_text(struct log_line *line, const char *key, const char *value)
{
    if (!has_room(line))
        return;
    put_key(line, key);
    put_string(line, value);
}

void log_number(struct log_line *line, const char *key, int64_t value)
{
    char digits[24];
    if (!has_room(line))
        return;
    put_key(line, key);
    put(line, digits, (size_t)snprintf(digits, sizeof digits, "%lld", (long long)value));
}

void log_end(struct log_line *line)
{
    memcpy(line->text + line->size, "}\n", 2);
    /* Nobody can be told that the log is gone. */
    ssize_t written = write(STDERR_FILENO, line->text, line->size + 2);
    (void)written;
}

void log_event(const char *event, const char *key, const char *value)
{
    struct log_line line;
    log_begin(&line, event);
    log_text(&line, key, value);
    log_end(&line);
}
