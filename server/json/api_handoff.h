/* api_handoff.h - handoffs and checks of handoffs as API bodies. */
#ifndef JSON_API_HANDOFF_H
#define JSON_API_HANDOFF_H

#include "store/handoffs.h"
#include "json/api_text.h"

bool api_handoff_write(const struct store_handoff *handoff, struct api_text *text, struct error *err);
/* {"items":[...],"total":n} */
bool api_handoffs_write(const struct store_handoff_list *list, struct api_text *text, struct error *err);

struct api_handoff_check {
    int64_t id;
    const char *name;
    bool running;
    const char *result; /* JSON from a process that may have been taken over; NULL: none, fault says why */
    size_t result_size;
    const struct error *fault;
};
/* A result that is no JSON object is told as a fault. */
bool api_handoff_check_write(const struct api_handoff_check *check, struct api_text *text, struct error *err);

#endif
