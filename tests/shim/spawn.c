/* A disk that does not answer when a program is to be read from it: stands between a program and posix_spawn
 * (LD_PRELOAD). */
#include <spawn.h>
#include <unistd.h>

int posix_spawn(pid_t *pid, const char *path, const posix_spawn_file_actions_t *actions,
                const posix_spawnattr_t *attributes, char *const argv[], char *const environment[]) {
    (void)pid, (void)path, (void)actions, (void)attributes, (void)argv, (void)environment;
    for (;;) pause();
}

int posix_spawnp(pid_t *pid, const char *file, const posix_spawn_file_actions_t *actions,
                 const posix_spawnattr_t *attributes, char *const argv[], char *const environment[]) {
    return posix_spawn(pid, file, actions, attributes, argv, environment);
}
