/* run_json.h - a run as its record: the JSON object that the command line prints and the server stores. */
#ifndef JSON_RUN_JSON_H
#define JSON_RUN_JSON_H

#include "run/run.h"

struct json_t;

/* The record as a tree, every key of the contract present; the caller owes json_decref. NULL with
 * ERROR_MACHINE when memory is out. */
struct json_t *run_to_json(const struct run *run, struct error *err);
/* json_decref for callers that do not include jansson; NULL is fine. */
void run_json_release(struct json_t *record);

/* The bytes of the record: the compact text and a newline, the same at every door. The caller frees *text;
 * *size does not count the terminator. */
bool run_record_text(const struct run *run, char **text, size_t *size, struct error *err);

#endif
