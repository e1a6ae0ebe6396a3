/* qemu_exec.c - lets the unit tests for arm64 start themselves anew under qemu-user.
 *
 * Criterion runs each test in a process of its own, made by execve of the same program; the machine
 * underneath cannot run that. Linked into the tests for arm64 alone, this execve puts $QEMU_RUN (the words of
 * a command, with blanks between them) in front. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <unistd.h>

enum { WORDS_MAX = 64, TEXT_MAX = 4096 };

__attribute__((visibility("default"))) int execve(const char *path, char *const argv[], char *const envp[])
{
    static char text[TEXT_MAX];
    char *words[WORDS_MAX];
    size_t count = 0;
    const char *run = getenv("QEMU_RUN");
    if (!run || strlen(run) >= sizeof text) {
        errno = ENOEXEC;
        return -1;
    }
    for (char *word = strtok(strcpy(text, run), " "); word && count < WORDS_MAX / 2; word = strtok(NULL, " "))
        words[count++] = word;
    words[count++] = (char *)path;
    for (size_t i = 1; argv[0] && argv[i] && count < WORDS_MAX - 1; i++)
        words[count++] = argv[i];
    words[count] = NULL;
    return (int)syscall(SYS_execve, words[0], words, envp);
}
