/* access.h - libmicrohttpd's callbacks: a request from its first byte to its last, step by step.
 *
 *   header complete   framing, Host, Origin, target, route, length: refused at once where wrong
 *   (upload)          suspended while a worker judges what can be judged before the body
 *   body              pieces go to the store's upload or to a bounded JSON buffer
 *   body complete     suspended while a worker makes the answer
 *   answered          conditional and range requests, headers that every answer has, the log */
#ifndef HTTP_ACCESS_H
#define HTTP_ACCESS_H

#include "http/request.h"

#include <microhttpd.h>

void *access_target(void *context, const char *target, struct MHD_Connection *connection);
size_t access_unescape(void *service, struct MHD_Connection *connection, char *text);
enum MHD_Result access_step(void *service, struct MHD_Connection *connection, const char *url,
                            const char *method, const char *protocol, const char *piece, size_t *piece_size,
                            void **context);
void access_completed(void *context, struct MHD_Connection *connection, void **request_context,
                      enum MHD_RequestTerminationCode how);
void access_connection(void *context, struct MHD_Connection *connection, void **socket_context,
                       enum MHD_ConnectionNotificationCode what);

#endif
