/* key_file.c - a small file that is never half there: written under another name, synced, then linked. */
#include "seal/key_file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define NEW_NAME "seal.pem.new"

static bool machine(struct error *err, const char *what)
{
    return error_set(err, ERROR_MACHINE, "%s: %s", what, strerror(errno));
}

/* -1 with errno; *size is how many bytes came, of at most SEAL_PEM_SIZE. */
static int read_text(int folder_fd, char pem[SEAL_PEM_SIZE + 1], struct stat *status)
{
    int fd = openat(folder_fd, SEAL_FILE, O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
    if (fd < 0)
        return -1;
    ssize_t got = fstat(fd, status) == 0 ? read(fd, pem, SEAL_PEM_SIZE) : -1;
    int fault = errno;
    close(fd);
    errno = fault;
    pem[got > 0 ? got : 0] = '\0';
    return got < 0 ? -1 : 0;
}

bool seal_file_read(int folder_fd, struct seal_key *key, bool *found, struct error *err)
{
    char pem[SEAL_PEM_SIZE + 1];
    struct stat status;
    *found = false;
    if (read_text(folder_fd, pem, &status) != 0)
        return errno == ENOENT || machine(err, "the service's key " SEAL_FILE " cannot be read");
    bool ok = S_ISREG(status.st_mode) && !(status.st_mode & 077);
    if (!ok)
        error_set(err, ERROR_STORE,
                  "the service's key " SEAL_FILE
                  " may be read by others than its owner: chmod 600 it, and make "
                  "another where somebody may have");
    else if (!(ok = seal_key_read(pem, key)))
        error_set(err, ERROR_STORE,
                  "the service's key " SEAL_FILE " is damaged: put back the one of a backup");
    explicit_bzero(pem, sizeof pem);
    *found = ok;
    return ok;
}

static bool write_whole(int fd, const char *text)
{
    size_t size = strlen(text);
    for (size_t at = 0; at < size;) {
        ssize_t put = write(fd, text + at, size - at);
        if (put <= 0)
            return false;
        at += (size_t)put;
    }
    return fsync(fd) == 0;
}

static bool write_new(int folder_fd, const struct seal_key *key, struct error *err)
{
    char pem[SEAL_PEM_SIZE];
    unlinkat(folder_fd, NEW_NAME, 0); /* of an attempt that was broken off */
    int fd = openat(folder_fd, NEW_NAME, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (fd < 0)
        return machine(err, "the service's key cannot be kept");
    seal_key_write(key, pem);
    bool ok = write_whole(fd, pem) || machine(err, "the service's key cannot be kept");
    close(fd);
    explicit_bzero(pem, sizeof pem);
    return ok;
}

bool seal_file_make(int folder_fd, const struct seal_key *key, struct error *err)
{
    bool ok = write_new(folder_fd, key, err)
              && (linkat(folder_fd, NEW_NAME, folder_fd, SEAL_FILE, 0) == 0
                  || machine(err, "the service's key cannot be kept"));
    unlinkat(folder_fd, NEW_NAME, 0);
    return ok && (fsync(folder_fd) == 0 || machine(err, "the service's key cannot be made durable"));
}

bool seal_file_copy(int folder_fd, int dest_fd, struct error *err)
{
    struct seal_key key;
    bool found;
    if (!seal_file_read(folder_fd, &key, &found, err))
        return false;
    if (!found)
        return true;
    bool ok = write_new(dest_fd, &key, err)
              && ((renameat(dest_fd, NEW_NAME, dest_fd, SEAL_FILE) == 0 && fsync(dest_fd) == 0)
                  || machine(err, "the service's key cannot be put into the backup"));
    seal_key_forget(&key);
    if (!ok)
        unlinkat(dest_fd, NEW_NAME, 0);
    return ok;
}
