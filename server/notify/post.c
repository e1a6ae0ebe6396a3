/* post.c - the table of libcurl's functions, and one transfer. */
#include "notify/post.h"

#include "notify/address.h"

#include <curl/curl.h>
#include <dlfcn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct poster {
    void *library;
    CURLcode (*global_init)(long flags);
    void (*global_cleanup)(void);
    CURL *(*easy_init)(void);
    CURLcode (*easy_setopt)(CURL *handle, CURLoption option, ...);
    CURLcode (*easy_perform)(CURL *handle);
    CURLcode (*easy_getinfo)(CURL *handle, CURLINFO info, ...);
    void (*easy_cleanup)(CURL *handle);
    const char *(*easy_strerror)(CURLcode code);
    struct curl_slist *(*slist_append)(struct curl_slist *list, const char *text);
    void (*slist_free_all)(struct curl_slist *list);
    bool is_ready;
};

/* A function pointer cannot be assigned from dlsym's void * in ISO C; POSIX says that copying its bytes is
 * right. */
static bool find(struct poster *poster, const char *name, void *function)
{
    void *symbol = dlsym(poster->library, name);
    memcpy(function, &symbol, sizeof symbol);
    return symbol != NULL;
}

static bool find_all(struct poster *poster)
{
    return find(poster, "curl_global_init", &poster->global_init)
           && find(poster, "curl_global_cleanup", &poster->global_cleanup)
           && find(poster, "curl_easy_init", &poster->easy_init)
           && find(poster, "curl_easy_setopt", &poster->easy_setopt)
           && find(poster, "curl_easy_perform", &poster->easy_perform)
           && find(poster, "curl_easy_getinfo", &poster->easy_getinfo)
           && find(poster, "curl_easy_cleanup", &poster->easy_cleanup)
           && find(poster, "curl_easy_strerror", &poster->easy_strerror)
           && find(poster, "curl_slist_append", &poster->slist_append)
           && find(poster, "curl_slist_free_all", &poster->slist_free_all);
}

bool poster_open(struct poster **made, struct error *err)
{
    struct poster *poster = calloc(1, sizeof *poster);
    *made = poster;
    if (!poster)
        return error_set(err, ERROR_MACHINE, "memory is short; try again later");
    poster->library = dlopen("libcurl.so.4", RTLD_NOW | RTLD_LOCAL);
    poster->is_ready =
        poster->library && find_all(poster) && poster->global_init(CURL_GLOBAL_DEFAULT) == CURLE_OK;
    if (poster->is_ready)
        return true;
    poster_close(poster);
    *made = NULL;
    return error_set(err, ERROR_MACHINE, "libcurl.so.4 cannot be loaded; install the package libcurl4");
}

void poster_close(struct poster *poster)
{
    if (poster && poster->is_ready)
        poster->global_cleanup();
    if (poster && poster->library)
        dlclose(poster->library);
    free(poster);
}

/* --- what libcurl calls back --- */

struct transfer {
    const struct post *post;
    struct post_answer *answer;
    size_t kept, taken;
    bool was_private;
};

static size_t take_answer(char *bytes, size_t size, size_t count, void *context)
{
    enum { ANSWER_MOST = 64 << 10 };
    struct transfer *transfer = context;
    size_t room = POST_ANSWER_SIZE - 1 - transfer->kept, total = size * count,
           kept = total < room ? total : room;
    memcpy(transfer->answer->begin + transfer->kept, bytes, kept);
    transfer->kept += kept;
    transfer->taken += total;
    return transfer->taken > ANSWER_MOST ? 0 : total; /* its status is known; the rest is of no use */
}

/* After the name was resolved, so that no name can lead to where the number may not. */
static curl_socket_t open_socket(void *context, curlsocktype purpose, struct curl_sockaddr *address)
{
    struct transfer *transfer = context;
    (void)purpose;
    if (!transfer->post->to_private && !address_is_public(&address->addr)) {
        transfer->was_private = true;
        return CURL_SOCKET_BAD;
    }
    return socket(address->family, address->socktype | SOCK_CLOEXEC, address->protocol);
}

static int look(void *context, curl_off_t a, curl_off_t b, curl_off_t c, curl_off_t d)
{
    const struct transfer *transfer = context;
    (void)a;
    (void)b;
    (void)c;
    (void)d;
    return atomic_load(transfer->post->stop);
}

/* --- one transfer --- */

static bool set_options(const struct poster *poster, CURL *handle, struct transfer *transfer,
                        struct curl_slist *headers)
{
    const struct post *post = transfer->post;
    CURLcode (*set)(CURL *, CURLoption, ...) = poster->easy_setopt;
    return !set(handle, CURLOPT_URL, post->url) && !set(handle, CURLOPT_PROTOCOLS_STR, "http,https")
           && !set(handle, CURLOPT_FOLLOWLOCATION, 0L) && !set(handle, CURLOPT_PROXY, "")
           && !set(handle, CURLOPT_NOSIGNAL, 1L) && !set(handle, CURLOPT_POST, 1L)
           && !set(handle, CURLOPT_POSTFIELDS, post->body)
           && !set(handle, CURLOPT_POSTFIELDSIZE, (long)strlen(post->body))
           && !set(handle, CURLOPT_HTTPHEADER, headers)
           && !set(handle, CURLOPT_CONNECTTIMEOUT_MS, post->connect_ms)
           && !set(handle, CURLOPT_TIMEOUT_MS, post->total_ms)
           && !set(handle, CURLOPT_WRITEFUNCTION, take_answer) && !set(handle, CURLOPT_WRITEDATA, transfer)
           && !set(handle, CURLOPT_OPENSOCKETFUNCTION, open_socket)
           && !set(handle, CURLOPT_OPENSOCKETDATA, transfer) && !set(handle, CURLOPT_XFERINFOFUNCTION, look)
           && !set(handle, CURLOPT_XFERINFODATA, transfer) && !set(handle, CURLOPT_NOPROGRESS, 0L);
}

/* Replaces control characters, and ends the text before what is no UTF-8 or was cut within a letter. */
static void tidy(char *text)
{
    unsigned char *at = (unsigned char *)text;
    while (*at) {
        int more = *at < 0x80 ? 0 : *at >= 0xf0 && *at < 0xf5 ? 3 : *at >= 0xe0 ? 2 : *at >= 0xc2 ? 1 : -1;
        if (*at >= 0xf5)
            more = -1;
        for (int i = 1; i <= more; i++)
            if ((at[i] & 0xc0) != 0x80)
                more = -1;
        if (more < 0) {
            *at = '\0';
            return;
        }
        if (*at < 0x20 || *at == 0x7f)
            *at = ' ';
        at += 1 + more;
    }
}

static void perform(const struct poster *poster, CURL *handle, struct transfer *transfer)
{
    struct post_answer *answer = transfer->answer;
    CURLcode code = poster->easy_perform(handle);
    poster->easy_getinfo(handle, CURLINFO_RESPONSE_CODE, &answer->status);
    answer->was_stopped = atomic_load(transfer->post->stop) && code == CURLE_ABORTED_BY_CALLBACK;
    tidy(answer->begin);
    if (code == CURLE_OK || (code == CURLE_WRITE_ERROR && answer->status))
        return;
    answer->status = 0;
    snprintf(
        answer->error, sizeof answer->error, "%s",
        transfer->was_private
            ? "the address is in a private network; the keeper allows those by --hooks-to-private-networks"
            : poster->easy_strerror(code));
}

static struct curl_slist *make_headers(const struct poster *poster, const struct post *post, bool *ok)
{
    struct curl_slist *list = NULL;
    *ok = true;
    for (size_t i = 0; i < POST_HEADERS_MAX && post->headers[i]; i++) {
        struct curl_slist *longer = poster->slist_append(list, post->headers[i]);
        *ok = *ok && longer;
        list = longer ? longer : list;
    }
    return list;
}

void poster_send(struct poster *poster, const struct post *post, struct post_answer *answer)
{
    struct transfer transfer = {.post = post, .answer = answer};
    bool ok;
    memset(answer, 0, sizeof *answer);
    CURL *handle = poster->easy_init();
    struct curl_slist *headers = make_headers(poster, post, &ok);
    if (handle && ok && set_options(poster, handle, &transfer, headers))
        perform(poster, handle, &transfer);
    else
        snprintf(answer->error, sizeof answer->error, "memory is short, or the address cannot be used");
    poster->slist_free_all(headers);
    if (handle)
        poster->easy_cleanup(handle);
}
