/* api_problem.h - an error as problem+json (RFC 9457). */
#ifndef JSON_API_PROBLEM_H
#define JSON_API_PROBLEM_H

#include "json/api_text.h"

struct api_problem {
    unsigned status;
    const char *title;       /* the status in words */
    const char *code;        /* error_word() or a word of http's own; also the end of "type" */
    const struct error *err; /* detail and place */
    const char *request_id;
};

bool api_problem_write(const struct api_problem *problem, struct api_text *text, struct error *err);

#endif
