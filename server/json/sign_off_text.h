/* sign_off_text.h - asking for a sign-off in one line of text, and its answer in one: between the command
 * line and a running server. */
#ifndef JSON_SIGN_OFF_TEXT_H
#define JSON_SIGN_OFF_TEXT_H

#include "json/sign_off.h"

/* before, then one line of JSON; the caller frees *line. ERROR_USAGE where a text is not UTF-8. */
bool sign_off_request_write(const struct sign_off_request *request, const char *before, char **line,
                            struct error *err);
/* Makes it and tells: "sign-off 3 of audit 7: signed by one of two". */
bool sign_off_tell(struct store *store, const struct sign_off_request *request, char *answer, size_t size,
                   struct error *err);
/* The same for a line of JSON as above. */
bool sign_off_tell_line(struct store *store, const char *line, char *answer, size_t size, struct error *err);

#endif
