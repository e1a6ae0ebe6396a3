/* signature.h - what proves to a receiver that a delivery is ours, and fresh. */
#ifndef NOTIFY_SIGNATURE_H
#define NOTIFY_SIGNATURE_H

#include <stdint.h>

enum { SIGNATURE_SIZE = 72 };

/* "sha256=" and the HMAC-SHA-256 by the secret of: the seconds since 1970 in decimal, ".", the body. A
 * receiver makes the same of the headers Fettle-Timestamp and Fettle-Signature, compares in constant time and
 * refuses old timestamps. */
void signature_make(const char *secret, int64_t timestamp_s, const char *body, char out[SIGNATURE_SIZE]);

#endif
