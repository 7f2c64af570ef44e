/* A network disk that hangs: stands between a program and open (LD_PRELOAD). While the file that HUNG names with `.hung`
 * behind its name is there, opening the file itself never ends. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static void wait_for(const char *path) {
    const char *hung = getenv("HUNG");
    char mark[PATH_MAX];
    if (!hung || strcmp(path, hung)) return;
    snprintf(mark, sizeof mark, "%s.hung", hung);
    if (!access(mark, F_OK)) for (;;) pause();
}

#define OPEN(name)                                                          \
    int name(const char *path, int flags, ...) {                            \
        static int (*real)(const char *, int, ...);                         \
        if (!real) real = (int (*)(const char *, int, ...))dlsym(RTLD_NEXT, #name); \
        va_list rest;                                                       \
        va_start(rest, flags);                                              \
        mode_t mode = (flags & (O_CREAT | O_TMPFILE)) ? va_arg(rest, mode_t) : 0; \
        va_end(rest);                                                       \
        wait_for(path);                                                     \
        return real(path, flags, mode);                                     \
    }

OPEN(open)
OPEN(open64)
