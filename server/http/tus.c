/* tus.c - fields of the protocol: numbers, metadata, checksums, dates. */
#include "http/tus.h"

#include "http/base64.h"
#include "http/headers.h"

#include <stdio.h>
#include <string.h>
#include <time.h>

bool tus_number_parse(const char *field, const char *value, uint64_t *number, struct error *err)
{
    *number = 0;
    if (!value)
        return error_set(err, ERROR_USAGE, "%s is missing", field);
    return headers_parse_length(value, number)
           || error_set(err, ERROR_USAGE, "%s must be a whole number of bytes: digits only", field);
}

/* --- metadata --- */

static bool bad_metadata(struct error *err)
{
    return error_set(
        err, ERROR_USAGE,
        "Upload-Metadata must be keys, each with a blank and its value in Base64, parted by commas");
}

static bool parse_pair(const char *pair, size_t size, struct arena *keep, struct target *metadata,
                       struct error *err)
{
    size_t key_size = 0, count;
    while (key_size < size && pair[key_size] > ' ' && pair[key_size] <= '~')
        key_size++;
    bool has_value = key_size < size;
    const char *text = pair + key_size + has_value;
    size_t text_size = size - key_size - has_value;
    char *key = ARENA_NEW(keep, char, key_size + 1), *value = ARENA_NEW(keep, char, text_size / 4 * 3 + 1);

    if (!key || !value)
        return arena_error(err);
    if (!key_size || (has_value && pair[key_size] != ' ')
        || !base64_decode(text, text_size, (unsigned char *)value, &count))
        return bad_metadata(err);
    memcpy(key, pair, key_size);
    key[key_size] = value[count] = '\0';
    if (memchr(value, '\0', count))
        return error_set(err, ERROR_USAGE, "the %s in Upload-Metadata holds a zero byte", key);
    if (target_parameter(metadata, key))
        return error_set(err, ERROR_USAGE, "Upload-Metadata gives \"%s\" twice", key);
    if (metadata->parameter_count == TARGET_PARAMETERS_MAX)
        return error_set(err, ERROR_USAGE, "Upload-Metadata has more than %d keys", TARGET_PARAMETERS_MAX);
    metadata->parameters[metadata->parameter_count++] = (struct target_parameter){key, value};
    return true;
}

bool tus_metadata_parse(const char *value, struct arena *keep, struct target *metadata, struct error *err)
{
    memset(metadata, 0, sizeof *metadata);
    for (const char *at = value ? value : ""; *at;) {
        at += strspn(at, " \t");
        size_t size = strcspn(at, ",");
        if (!parse_pair(at, size, keep, metadata, err))
            return false;
        at += size;
        if (*at == ',' && !*++at)
            return bad_metadata(err);
    }
    return true;
}

/* --- checksums --- */

static const struct {
    const char *name;
    size_t bytes;
} algorithms[] = {[TUS_SHA1] = {"sha1", SHA1_SIZE}, [TUS_SHA256] = {"sha256", 32}};

bool tus_checksum_begin(const char *value, struct tus_checksum *checksum, struct error *err)
{
    unsigned char raw[36];
    size_t count;

    checksum->algorithm = TUS_NO_CHECKSUM;
    if (!value)
        return true;
    size_t name_size = strcspn(value, " ");
    for (int a = TUS_SHA1; a <= TUS_SHA256; a++)
        if (strlen(algorithms[a].name) == name_size && !memcmp(algorithms[a].name, value, name_size))
            checksum->algorithm = (enum tus_algorithm)a;
    if (!checksum->algorithm)
        return error_set(err, ERROR_USAGE,
                         "Upload-Checksum names an unknown algorithm; there are: " TUS_ALGORITHMS);
    const char *text = value + name_size + (value[name_size] == ' ');
    size_t bytes = algorithms[checksum->algorithm].bytes;
    if (strlen(text) != (bytes + 2) / 3 * 4 || !base64_decode(text, strlen(text), raw, &count)
        || count != bytes)
        return error_set(err, ERROR_USAGE, "Upload-Checksum must hold %zu bytes in Base64 after %s", bytes,
                         algorithms[checksum->algorithm].name);
    memcpy(checksum->stated, raw, bytes);
    if (checksum->algorithm == TUS_SHA1)
        sha1_begin(&checksum->so_far.sha1);
    else
        digest_begin(&checksum->so_far.sha256);
    return true;
}

void tus_checksum_add(struct tus_checksum *checksum, const void *bytes, size_t count)
{
    if (checksum->algorithm == TUS_SHA1)
        sha1_add(&checksum->so_far.sha1, bytes, count);
    else if (checksum->algorithm == TUS_SHA256)
        digest_add(&checksum->so_far.sha256, bytes, count);
}

bool tus_checksum_matches(struct tus_checksum *checksum)
{
    uint8_t raw[32];
    if (checksum->algorithm == TUS_NO_CHECKSUM)
        return true;
    if (checksum->algorithm == TUS_SHA1)
        sha1_end(&checksum->so_far.sha1, raw);
    else
        digest_end_raw(&checksum->so_far.sha256, raw);
    return !memcmp(raw, checksum->stated, algorithms[checksum->algorithm].bytes);
}

/* --- dates --- */

void tus_date(const char *time, char date[TUS_DATE_SIZE])
{
    static const char days[] = "SunMonTueWedThuFriSat", months[] = "JanFebMarAprMayJunJulAugSepOctNovDec";
    struct tm utc = {.tm_mday = 1};
    if (sscanf(time, "%4d-%2d-%2dT%2d:%2d:%2dZ", &utc.tm_year, &utc.tm_mon, &utc.tm_mday, &utc.tm_hour,
               &utc.tm_min, &utc.tm_sec)
        == 6) {
        utc.tm_year -= 1900;
        utc.tm_mon -= 1;
    }
    timegm(&utc); /* for the day of the week */
    snprintf(date, TUS_DATE_SIZE, "%.3s, %02u %.3s %04u %02u:%02u:%02u GMT", days + 3 * utc.tm_wday,
             (unsigned)utc.tm_mday % 100, months + 3 * utc.tm_mon, (unsigned)(utc.tm_year + 1900) % 10000,
             (unsigned)utc.tm_hour % 100, (unsigned)utc.tm_min % 100, (unsigned)utc.tm_sec % 100);
}
