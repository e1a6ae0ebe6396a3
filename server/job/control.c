/* control.c - both ends of the local socket. The address is the data folder's own descriptor in /proc,
 * because the path of a socket may have 107 bytes only. */
#include "job/control.h"

#include "store/backup.h"
#include "store/runs.h"
#include "json/sign_off_text.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#define LINE_MAX_BYTES 8192 /* a sign-off may have 2,400 bytes of text, some of them escaped */
#define ANSWER_MAX_BYTES 400
#define SOCKET_NAME "control"

struct control {
    struct store *store;
    int socket_fd, stop_fd;
    pthread_t thread;
    bool has_thread;
};

static void address_in(int folder_fd, struct sockaddr_un *address)
{
    memset(address, 0, sizeof *address);
    address->sun_family = AF_UNIX;
    snprintf(address->sun_path, sizeof address->sun_path, "/proc/self/fd/%d/" SOCKET_NAME, folder_fd);
}

/* --- the server's side --- */

/* Receives one line and, with it, at most one descriptor. */
static bool receive(int fd, char line[LINE_MAX_BYTES], int *passed_fd)
{
    char room[CMSG_SPACE(sizeof(int))];
    struct iovec piece = {line, LINE_MAX_BYTES - 1};
    struct msghdr message = {
        .msg_iov = &piece, .msg_iovlen = 1, .msg_control = room, .msg_controllen = sizeof room};
    ssize_t got = recvmsg(fd, &message, MSG_CMSG_CLOEXEC);

    *passed_fd = -1;
    for (struct cmsghdr *part = CMSG_FIRSTHDR(&message); got > 0 && part; part = CMSG_NXTHDR(&message, part))
        if (part->cmsg_level == SOL_SOCKET && part->cmsg_type == SCM_RIGHTS)
            memcpy(passed_fd, CMSG_DATA(part), sizeof *passed_fd);
    if (got <= 0 || line[got - 1] != '\n')
        return false;
    line[got - 1] = '\0';
    return true;
}

static bool back_up(struct control *control, int passed_fd, char *answer, size_t size, struct error *err)
{
    struct store_backup_figures figures;
    if (passed_fd < 0)
        return error_set(err, ERROR_USAGE, "the destination is missing");
    if (!store_backup(control->store, passed_fd, &figures, err))
        return false;
    snprintf(answer, size, "%lld files copied (%llu bytes), %lld were there already",
             (long long)figures.blobs_copied, (unsigned long long)figures.bytes_copied,
             (long long)figures.blobs_present);
    return true;
}

static bool remeasure(struct control *control, const char *arguments, char *answer, size_t size,
                      struct error *err)
{
    long long specimen;
    int again;
    int64_t queued;
    if (sscanf(arguments, "%lld %d", &specimen, &again) != 2)
        return error_set(err, ERROR_USAGE, "which specimen is missing");
    if (!store_remeasure(control->store, specimen, again != 0, &queued, err))
        return false;
    snprintf(answer, size, "%lld", (long long)queued);
    return true;
}

static void serve_one(struct control *control, int fd)
{
    struct ucred peer;
    socklen_t peer_size = sizeof peer;
    const struct timeval patience = {.tv_sec = 10};
    char line[LINE_MAX_BYTES], answer[ANSWER_MAX_BYTES] = "", reply[ANSWER_MAX_BYTES + 32];
    struct error err = {0};
    int passed_fd = -1;
    bool ok = false;

    setsockopt(fd, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
    if (getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &peer, &peer_size) != 0
        || (peer.uid != geteuid() && peer.uid != 0))
        error_set(&err, ERROR_USAGE, "only the user who runs the server may ask it");
    else if (!receive(fd, line, &passed_fd))
        error_set(&err, ERROR_USAGE, "the request cannot be read");
    else if (strcmp(line, "backup") == 0)
        ok = back_up(control, passed_fd, answer, sizeof answer, &err);
    else if (strncmp(line, "remeasure ", 10) == 0)
        ok = remeasure(control, line + 10, answer, sizeof answer, &err);
    else if (strncmp(line, "sign-off ", 9) == 0)
        ok = sign_off_tell_line(control->store, line + 9, answer, sizeof answer, &err);
    else
        error_set(&err, ERROR_USAGE, "the server does not know this request");
    if (passed_fd >= 0)
        close(passed_fd);
    int size = ok ? snprintf(reply, sizeof reply, "ok %s\n", answer)
                  : snprintf(reply, sizeof reply, "error %s %s\n", error_word(err.code), err.text);
    if (size > 0)
        send(fd, reply, (size_t)size, MSG_NOSIGNAL);
}

static void *run_thread(void *context)
{
    struct control *control = context;
    struct pollfd fds[] = {{.fd = control->stop_fd, .events = POLLIN},
                           {.fd = control->socket_fd, .events = POLLIN}};
    for (;;) {
        if (poll(fds, 2, -1) < 0 && errno != EINTR)
            return NULL;
        if (fds[0].revents)
            return NULL;
        int fd = fds[1].revents ? accept4(control->socket_fd, NULL, NULL, SOCK_CLOEXEC) : -1;
        if (fd < 0)
            continue;
        serve_one(control, fd);
        close(fd);
    }
}

static bool open_socket(struct control *control, struct error *err)
{
    struct sockaddr_un address;
    int folder_fd = store_folder_fd(control->store);

    control->stop_fd = eventfd(0, EFD_CLOEXEC);
    control->socket_fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (control->stop_fd < 0 || control->socket_fd < 0)
        return error_set(err, ERROR_MACHINE, "no local socket: %s", strerror(errno));
    unlinkat(folder_fd, SOCKET_NAME, 0); /* of an earlier server: the folder's lock is ours */
    address_in(folder_fd, &address);
    fchmod(control->socket_fd, 0600); /* the name gets this mode */
    if (bind(control->socket_fd, (const struct sockaddr *)&address, sizeof address) != 0
        || listen(control->socket_fd, 4) != 0)
        return error_set(err, ERROR_MACHINE, "the local socket cannot be made: %s", strerror(errno));
    return true;
}

bool control_start(struct store *store, struct control **out, struct error *err)
{
    sigset_t all, before;
    struct control *control = calloc(1, sizeof *control);
    if (!control)
        return error_set(err, ERROR_MACHINE, "out of memory");
    control->store = store;
    control->socket_fd = control->stop_fd = -1;
    if (open_socket(control, err)) {
        sigfillset(&all);
        pthread_sigmask(SIG_SETMASK, &all, &before);
        control->has_thread = pthread_create(&control->thread, NULL, run_thread, control) == 0;
        pthread_sigmask(SIG_SETMASK, &before, NULL);
        if (control->has_thread) {
            *out = control;
            return true;
        }
        error_set(err, ERROR_MACHINE, "the thread of the local socket cannot be started");
    }
    control_stop(control);
    return false;
}

void control_stop(struct control *control)
{
    uint64_t one = 1;
    if (!control)
        return;
    if (control->has_thread && write(control->stop_fd, &one, sizeof one) == sizeof one)
        pthread_join(control->thread, NULL);
    if (control->socket_fd >= 0) {
        close(control->socket_fd);
        unlinkat(store_folder_fd(control->store), SOCKET_NAME, 0);
    }
    if (control->stop_fd >= 0)
        close(control->stop_fd);
    free(control);
}

/* --- the other side --- */

static bool send_request(int fd, const char *request, int pass_fd)
{
    char room[CMSG_SPACE(sizeof(int))] = {0}, line[LINE_MAX_BYTES];
    int size = snprintf(line, sizeof line, "%s\n", request);
    struct iovec piece = {line, (size_t)size};
    struct msghdr message = {.msg_iov = &piece, .msg_iovlen = 1};
    if (pass_fd >= 0) {
        message.msg_control = room;
        message.msg_controllen = sizeof room;
        struct cmsghdr *part = CMSG_FIRSTHDR(&message);
        part->cmsg_level = SOL_SOCKET;
        part->cmsg_type = SCM_RIGHTS;
        part->cmsg_len = CMSG_LEN(sizeof pass_fd);
        memcpy(CMSG_DATA(part), &pass_fd, sizeof pass_fd);
    }
    return size > 0 && (size_t)size < sizeof line && sendmsg(fd, &message, MSG_NOSIGNAL) == size;
}

/* "error WORD TEXT" */
static bool take_error(char *reply, struct error *err)
{
    char *word = reply + 6, *text = strchr(word, ' ');
    if (!text)
        return error_set(err, ERROR_MACHINE, "the server's answer makes no sense");
    *text++ = '\0';
    for (int code = ERROR_NONE + 1; code < ERROR_CODE_COUNT; code++)
        if (strcmp(error_word((enum error_code)code), word) == 0)
            return error_set(err, (enum error_code)code, "%s", text);
    return error_set(err, ERROR_MACHINE, "%s", text);
}

bool control_ask(const char *folder, const char *request, int pass_fd, bool *reached, char *answer,
                 size_t answer_size, struct error *err)
{
    struct sockaddr_un address;
    char reply[ANSWER_MAX_BYTES + 32];
    size_t size = 0;
    ssize_t got;
    int folder_fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    bool ok = false;

    *reached = false;
    if (folder_fd < 0) {
        error_set(err, ERROR_NOT_FOUND, "the data folder cannot be opened: %s", strerror(errno));
        goto out;
    }
    address_in(folder_fd, &address);
    if (fd < 0 || connect(fd, (const struct sockaddr *)&address, sizeof address) != 0) {
        error_set(err, ERROR_NOT_FOUND, "no server has this data folder open");
        goto out;
    }
    *reached = true;
    if (!send_request(fd, request, pass_fd)) {
        error_set(err, ERROR_MACHINE, "the server cannot be asked: %s", strerror(errno));
        goto out;
    }
    while (size < sizeof reply - 1 && (got = read(fd, reply + size, sizeof reply - 1 - size)) > 0)
        size += (size_t)got;
    reply[size] = '\0';
    reply[strcspn(reply, "\n")] = '\0';
    if (strncmp(reply, "ok ", 3) == 0) {
        snprintf(answer, answer_size, "%s", reply + 3);
        ok = true;
    } else if (strncmp(reply, "error ", 6) == 0)
        ok = take_error(reply, err);
    else
        error_set(err, ERROR_MACHINE, "the server ended before it answered");
out:
    if (fd >= 0)
        close(fd);
    if (folder_fd >= 0)
        close(folder_fd);
    return ok;
}
