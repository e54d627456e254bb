/* Stands between the program and what makes a disk keep things: waits, fails or lies there, as the environment says.
 *
 * FAULT_GATE   a file; as long as it is there, nothing is made durable
 * FAULT_WAIT   milliseconds that each such call takes longer
 * FAULT_NTH    the number of the call, from 1, that answers "input/output error" instead
 * FAULT_LIE    if set, such calls do nothing and answer that all is well
 * FAULT_COUNT  a file that gets one byte for each call
 * FAULT_ONLY   part of a path; calls for other files are none of this
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static void pause_ms(long ms) {
    struct timespec left = {ms / 1000, (ms % 1000) * 1000000L};
    while (nanosleep(&left, &left) != 0 && errno == EINTR) {
    }
}

/* True where this file is none of ours. */
static int is_other(int file) {
    const char *only = getenv("FAULT_ONLY");
    char name[64], path[4096];
    if (!only) {
        return 0;
    }
    snprintf(name, sizeof name, "/proc/self/fd/%d", file);
    ssize_t len = readlink(name, path, sizeof path - 1);
    path[len < 0 ? 0 : len] = 0;
    return strstr(path, only) == NULL;
}

/* True where the call is answered here; the answer is in `answer`. */
static int stands_between(int file, int *answer) {
    static int calls;
    if (is_other(file)) {
        return 0;
    }
    const char *gate = getenv("FAULT_GATE"), *wait = getenv("FAULT_WAIT"), *nth = getenv("FAULT_NTH");
    const char *count = getenv("FAULT_COUNT");
    int call = __atomic_add_fetch(&calls, 1, __ATOMIC_SEQ_CST);
    if (count) {
        int list = open(count, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
        if (list >= 0) {
            ssize_t written = write(list, ".", 1);
            (void)written;
            close(list);
        }
    }
    while (gate && access(gate, F_OK) == 0) {
        pause_ms(5);
    }
    if (wait) {
        pause_ms(atol(wait));
    }
    if (nth && atoi(nth) == call) {
        errno = EIO;
        *answer = -1;
        return 1;
    }
    *answer = 0;
    return getenv("FAULT_LIE") != NULL;
}

int fsync(int file) {
    int answer;
    int (*real)(int) = (int (*)(int))dlsym(RTLD_NEXT, "fsync");
    return stands_between(file, &answer) ? answer : real(file);
}

int fdatasync(int file) {
    int answer;
    int (*real)(int) = (int (*)(int))dlsym(RTLD_NEXT, "fdatasync");
    return stands_between(file, &answer) ? answer : real(file);
}

int sync_file_range(int file, off64_t from, off64_t bytes, unsigned int flags) {
    int answer;
    int (*real)(int, off64_t, off64_t, unsigned int) =
        (int (*)(int, off64_t, off64_t, unsigned int))dlsym(RTLD_NEXT, "sync_file_range");
    return stands_between(file, &answer) ? answer : real(file, from, bytes, flags);
}
