/* headers.h - what must hold of a request's header fields before anything else is looked at.
 *
 * libmicrohttpd 0.9.75 accepts requests that two parsers may read differently; those are refused here with
 * 400 and the connection is closed: Content-Length beside Transfer-Encoding, more than one Content-Length or
 * Host, any Transfer-Encoding but "chunked", Transfer-Encoding in HTTP/1.0, no Host in HTTP/1.1, control
 * bytes in a value (RFC 9112 sections 3.2, 6.1, 6.3; RFC 9110 section 5.5).
 *
 * Host must be a loopback name or address (421 otherwise): a page elsewhere that points its own name at
 * 127.0.0.1 is not answered. A changing request must not come from another site's page (403). */
#ifndef HTTP_HEADERS_H
#define HTTP_HEADERS_H

#include "base/error.h"

struct header_facts {
    unsigned hosts, content_lengths, transfer_encodings, origins;
    const char *host, *content_length, *transfer_encoding, *origin, *fetch_site;
    bool control_byte, broken_name;
    uint64_t body_bytes; /* from Content-Length, set by headers_check */
};

/* Called once per header field, in any order. */
void headers_note(struct header_facts *facts, const char *name, const char *value);
/* 0, or the status to refuse with, and why in err. */
unsigned headers_check(struct header_facts *facts, const char *protocol, const char *authority,
                       struct error *err);
/* For methods that change something: 0 or 403. */
unsigned headers_check_origin(const struct header_facts *facts, struct error *err);

/* Digits only, at most 18 of them. */
bool headers_parse_length(const char *text, uint64_t *length);

/* True for localhost, 127.x.y.z and [::1], each with or without a port. */
bool host_is_loopback(const char *host);

#endif
