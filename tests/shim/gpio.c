/* A GPIO chip that is none: stands between a program and ioctl (LD_PRELOAD) and plays the kernel's character device,
 * uapi version 2 (linux/gpio.h). Levels of outputs go to the file out-N of the folder GPIO_SHIM, as "level\n" in physical
 * terms; edges of inputs are read from the named pipe in-N as the kernel would hand them out; the level of an input is the
 * first letter of level-N. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/gpio.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <unistd.h>

#define MOST 256
static struct { int used; unsigned offset; __u64 flags; } held[MOST];

static const char *path(const char *what, unsigned offset) {
    static _Thread_local char text[512];
    snprintf(text, sizeof text, "%s/%s-%u", getenv("GPIO_SHIM"), what, offset);
    return text;
}

static int low(int fd) { return (held[fd].flags & GPIO_V2_LINE_FLAG_ACTIVE_LOW) != 0; }

static void put(int fd, int active) {
    FILE *out = fopen(path("out", held[fd].offset), "a");
    if (out) {
        fprintf(out, "%d\n", active ^ low(fd));
        fclose(out);
    }
}

static int get(int fd) {
    char c = '0';
    int file = open(path("level", held[fd].offset), O_RDONLY | O_CLOEXEC);
    if (file >= 0) {
        if (read(file, &c, 1) != 1) c = '0';
        close(file);
    }
    return (c == '1') ^ low(fd);
}

static int take(struct gpio_v2_line_request *r) {
    __u64 flags = r->config.flags;
    int input = (flags & GPIO_V2_LINE_FLAG_INPUT) != 0;
    int fd = input && (flags & GPIO_V2_LINE_FLAG_EDGE_RISING)
        ? open(path("in", r->offsets[0]), O_RDWR | O_CLOEXEC)
        : eventfd(0, EFD_CLOEXEC);
    if (fd < 0 || fd >= MOST) return -1;
    held[fd].used = 1;
    held[fd].offset = r->offsets[0];
    held[fd].flags = flags;
    r->fd = fd;
    if (!input) put(fd, 0);
    return 0;
}

int ioctl(int fd, unsigned long request, ...) {
    va_list arguments;
    va_start(arguments, request);
    void *argument = va_arg(arguments, void *);
    va_end(arguments);
    switch (request) {
    case GPIO_GET_CHIPINFO_IOCTL: {
        struct gpiochip_info *info = argument;
        memset(info, 0, sizeof *info);
        strcpy(info->name, "gpiochip9");
        strcpy(info->label, "shim");
        info->lines = 32;
        return 0;
    }
    case GPIO_V2_GET_LINE_IOCTL:
        return take(argument);
    case GPIO_V2_LINE_SET_VALUES_IOCTL:
    case GPIO_V2_LINE_GET_VALUES_IOCTL: {
        struct gpio_v2_line_values *values = argument;
        if (fd < 0 || fd >= MOST || !held[fd].used) break;
        if (request == GPIO_V2_LINE_SET_VALUES_IOCTL) put(fd, values->bits & 1);
        else values->bits = get(fd);
        return 0;
    }
    }
    int (*real)(int, unsigned long, void *) = (int (*)(int, unsigned long, void *))dlsym(RTLD_NEXT, "ioctl");
    return real(fd, request, argument);
}
