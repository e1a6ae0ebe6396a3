/* log.h - one JSON line per event on standard error.
 *
 * Every line has "time" (RFC 3339, UTC), "event" and what the event adds. Text from outside is escaped, so
 * that it can neither break the line nor steer a terminal. */
#ifndef HTTP_LOG_H
#define HTTP_LOG_H

#include <stdint.h>
#include <stdio.h>

/* A line being written; it goes out in one write(2). */
struct log_line {
    char text[2048];
    size_t size;
};

void log_begin(struct log_line *line, const char *event);
void log_text(struct log_line *line, const char *key, const char *value);
void log_number(struct log_line *line, const char *key, int64_t value);
void log_end(struct log_line *line);

/* A line with one text. */
void log_event(const char *event, const char *key, const char *value);

/* RFC 3339 UTC with seconds, of the seconds since 1970. */
#define LOG_TIME_SIZE 32
void log_time(int64_t seconds, char out[LOG_TIME_SIZE]);

#endif
