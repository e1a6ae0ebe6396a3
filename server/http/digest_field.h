/* digest_field.h - Repr-Digest and Content-Digest (RFC 9530): sha-256 read and written. */
#ifndef HTTP_DIGEST_FIELD_H
#define HTTP_DIGEST_FIELD_H

#include "base/digest.h"
#include "base/error.h"

#define DIGEST_FIELD_SIZE 64

/* Finds sha-256 in the dictionary; found is false when it lists only other algorithms. ERROR_USAGE for a
 * value that is not a byte sequence of 32 bytes. */
bool digest_field_parse(const char *value, bool *found, char hex[DIGEST_HEX_SIZE], struct error *err);

/* "sha-256=:…:" of a digest in hex. */
void digest_field_write(const char *hex, char field[DIGEST_FIELD_SIZE]);

#endif
