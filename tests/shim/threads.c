/* A system that gives few threads: stands between a program and pthread_create (LD_PRELOAD). As many as
 * MIDDLEWATCH_THREADS says are made, and all of them until the file MIDDLEWATCH_NO_MORE_THREADS is there; after that none,
 * as where a limit is reached. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <unistd.h>

static atomic_int made;

int pthread_create(pthread_t *thread, const pthread_attr_t *attributes, void *(*run)(void *), void *argument) {
    int (*create)(pthread_t *, const pthread_attr_t *, void *(*)(void *), void *) = dlsym(RTLD_NEXT, "pthread_create");
    const char *most = getenv("MIDDLEWATCH_THREADS");
    const char *stop = getenv("MIDDLEWATCH_NO_MORE_THREADS");
    if (stop && access(stop, F_OK) == 0) return EAGAIN;
    if (most && atomic_fetch_add(&made, 1) >= atoi(most)) return EAGAIN;
    return create(thread, attributes, run, argument);
}
