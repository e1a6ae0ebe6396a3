/* answer.h - a reply goes out: conditions, ranges, the headers that every answer has. */
#ifndef HTTP_ANSWER_H
#define HTTP_ANSWER_H

#include "http/request.h"

#include <microhttpd.h>

/* Hands the reply to the library. */
enum MHD_Result answer_queue(struct request *request);
/* Writes the reply to the socket in the midst of a body, where the library cannot; the connection must be
 * closed after it. */
void answer_directly(struct request *request);
/* Fills the reply with the page's file at the request's path; false where there is none. */
bool answer_page_file(struct request *request);

#endif
