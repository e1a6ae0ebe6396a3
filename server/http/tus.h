/* tus.h - the fields of the tus resumable upload protocol 1.0.0 (https://tus.io/protocols/resumable-upload):
 * read into values, and written. */
#ifndef HTTP_TUS_H
#define HTTP_TUS_H

#include "base/arena.h"
#include "base/digest.h"
#include "base/sha1.h"
#include "http/target.h"

#define TUS_VERSION "1.0.0"
#define TUS_EXTENSIONS "creation,creation-with-upload,expiration,termination,checksum"
#define TUS_ALGORITHMS "sha1,sha256"
#define TUS_PIECE_TYPE "application/offset+octet-stream"

/* Upload-Offset and Upload-Length: digits only. value may be NULL; ERROR_USAGE names the field. */
bool tus_number_parse(const char *field, const char *value, uint64_t *number, struct error *err);

/* Upload-Metadata: "key base64,key base64". The pairs as parameters of *metadata, whose strings are of keep;
 * a key without a value has "". value may be NULL: no pairs. ERROR_USAGE for a malformed one, a key given
 * twice, a value that holds a zero byte. */
bool tus_metadata_parse(const char *value, struct arena *keep, struct target *metadata, struct error *err);

/* Upload-Checksum: "algorithm base64", compared to bytes as they come. */
enum tus_algorithm { TUS_NO_CHECKSUM, TUS_SHA1, TUS_SHA256 };
struct tus_checksum {
    enum tus_algorithm algorithm;
    uint8_t stated[32];
    union {
        struct sha1 sha1;
        struct digest sha256;
    } so_far;
};
/* value may be NULL: TUS_NO_CHECKSUM, which matches everything. ERROR_USAGE for an unknown algorithm or a
 * value of the wrong length. */
bool tus_checksum_begin(const char *value, struct tus_checksum *checksum, struct error *err);
void tus_checksum_add(struct tus_checksum *checksum, const void *bytes, size_t count);
bool tus_checksum_matches(struct tus_checksum *checksum);

/* Upload-Expires: "2026-12-05T12:00:00Z" as "Sat, 05 Dec 2026 12:00:00 GMT" (RFC 9110 section 5.6.7). */
#define TUS_DATE_SIZE 30
void tus_date(const char *time, char date[TUS_DATE_SIZE]);

#endif
