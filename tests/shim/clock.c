/* Steady time and UTC stand still at what a file says: two counts of nanoseconds, of CLOCK_BOOTTIME and of
 * CLOCK_REALTIME. Whoever writes the file moves both; all other clocks run on. */
#define _GNU_SOURCE
#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

static volatile int64_t *told;

__attribute__((constructor)) static void begin(void) {
    const char *path = getenv("CLOCK_FILE");
    int file = path ? open(path, O_RDONLY | O_CLOEXEC) : -1;
    if (file < 0) return;
    void *page = mmap(NULL, 16, PROT_READ, MAP_SHARED, file, 0);
    close(file);
    if (page != MAP_FAILED) told = page;
}

int clock_gettime(clockid_t clock, struct timespec *at) {
    if (!told || (clock != CLOCK_BOOTTIME && clock != CLOCK_REALTIME))
        return (int)syscall(SYS_clock_gettime, clock, at);
    int64_t ns = told[clock == CLOCK_REALTIME];
    at->tv_sec = ns / 1000000000;
    at->tv_nsec = ns % 1000000000;
    return 0;
}
