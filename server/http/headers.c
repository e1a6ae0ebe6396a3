/* headers.c - the framing, Host and Origin rules. */
#include "http/headers.h"

#include <arpa/inet.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

static bool has_control_byte(const char *value)
{
    for (; *value; value++)
        if (((unsigned char)*value < 0x20 && *value != '\t') || *value == 0x7f)
            return true;
    return false;
}

/* RFC 9110 section 5.6.2. */
static bool is_token(const char *name)
{
    static const char others[] = "!#$%&'*+-.^_`|~";
    for (const char *c = name; *c; c++)
        if (!((*c >= '0' && *c <= '9') || ((*c | 32) >= 'a' && (*c | 32) <= 'z') || strchr(others, *c)))
            return false;
    return *name;
}

void headers_note(struct header_facts *facts, const char *name, const char *value)
{
    value = value ? value : "";
    if (has_control_byte(value))
        facts->control_byte = true;
    if (!is_token(name))
        facts->broken_name = true;
    if (!strcasecmp(name, "Host")) {
        facts->hosts++;
        facts->host = value;
    } else if (!strcasecmp(name, "Content-Length")) {
        facts->content_lengths++;
        facts->content_length = value;
    } else if (!strcasecmp(name, "Transfer-Encoding")) {
        facts->transfer_encodings++;
        facts->transfer_encoding = value;
    } else if (!strcasecmp(name, "Origin")) {
        facts->origins++;
        facts->origin = value;
    } else if (!strcasecmp(name, "Sec-Fetch-Site")) {
        facts->fetch_site = value;
    }
}

bool headers_parse_length(const char *text, uint64_t *length)
{
    *length = 0;
    if (!*text || strlen(text) > 18)
        return false;
    for (; *text; text++) {
        if (*text < '0' || *text > '9')
            return false;
        *length = *length * 10 + (uint64_t)(*text - '0');
    }
    return true;
}

static unsigned refuse(unsigned status, struct error *err, const char *text)
{
    error_set(err, ERROR_USAGE, "%s", text);
    return status;
}

unsigned headers_check(struct header_facts *facts, const char *protocol, const char *authority,
                       struct error *err)
{
    bool one_zero = !strcmp(protocol, "HTTP/1.0");
    if (strcmp(protocol, "HTTP/1.1") && !one_zero)
        return refuse(505, err, "only HTTP/1.1 and HTTP/1.0 are spoken here");
    if (facts->control_byte)
        return refuse(400, err, "a header field holds a control character");
    if (facts->broken_name)
        return refuse(400, err, "the name of a header field is not a token");
    if (facts->content_lengths && facts->transfer_encodings)
        return refuse(400, err, "Content-Length and Transfer-Encoding exclude each other");
    if (facts->content_lengths > 1)
        return refuse(400, err, "Content-Length is given more than once");
    if (facts->content_lengths && !headers_parse_length(facts->content_length, &facts->body_bytes))
        return refuse(400, err, "Content-Length is not a whole number");
    if (facts->transfer_encodings > 1
        || (facts->transfer_encodings && strcasecmp(facts->transfer_encoding, "chunked")))
        return refuse(400, err, "the only Transfer-Encoding here is chunked");
    if (facts->transfer_encodings && one_zero)
        return refuse(400, err, "HTTP/1.0 has no Transfer-Encoding");
    if (facts->hosts > 1 || (!facts->hosts && !one_zero))
        return refuse(400, err, "a request names its Host exactly once");
    if (authority && facts->host && strcasecmp(authority, facts->host))
        return refuse(400, err, "the request target names another host than the Host field");
    if (facts->host && !host_is_loopback(facts->host))
        return refuse(421, err, "this service answers under localhost, 127.0.0.1 or [::1] only");
    return 0;
}

bool host_is_loopback(const char *host)
{
    char name[64];
    size_t size = *host == '[' ? strcspn(host, "]") + 1 : strcspn(host, ":");
    if (size >= sizeof name || size > strlen(host))
        return false;
    memcpy(name, host, size);
    name[size] = '\0';
    const char *port = host + size;
    if (*port && (*port != ':' || strspn(port + 1, "0123456789") != strlen(port + 1)))
        return false;
    struct in_addr address;
    if (inet_pton(AF_INET, name, &address) == 1)
        return ntohl(address.s_addr) >> 24 == 127;
    return !strcasecmp(name, "localhost") || !strcmp(name, "[::1]");
}

unsigned headers_check_origin(const struct header_facts *facts, struct error *err)
{
    if (facts->fetch_site && strcmp(facts->fetch_site, "same-origin") && strcmp(facts->fetch_site, "none"))
        return refuse(403, err, "a page of another site may not change anything here");
    if (!facts->origins)
        return 0;
    const char *authority = !strncmp(facts->origin, "http://", 7)    ? facts->origin + 7
                            : !strncmp(facts->origin, "https://", 8) ? facts->origin + 8
                                                                     : NULL;
    if (facts->origins > 1 || !authority || !facts->host || strcasecmp(authority, facts->host))
        return refuse(403, err, "the Origin of the request is not this service");
    return 0;
}
