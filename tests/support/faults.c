/* Lets one request to the file system fail, or kills the process at it: the nth of those that would change something
   in one folder. Loaded before the C library (LD_PRELOAD) and armed from Python through ctypes; Linux only.

   cc -shared -fPIC -O1 -o faults.so faults.c -ldl */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

static char place[PATH_MAX];
static long fatal, seen;
static int fault, deadly, lasting;

/* From the nth request on, counted from 1; an error number, a signal or (both 0) only counting. `keep` lets every
   later request fail too, as on a disk that stays full. */
void faults_arm(const char *folder, long nth, int error, int sign, int keep) {
    snprintf(place, sizeof place, "%s", folder);
    fatal = nth, seen = 0, fault = error, deadly = sign, lasting = keep;
}

long faults_seen(void) { return seen; }

static int hit(const char *path) {
    if (!place[0] || !path || strncmp(path, place, strlen(place)) != 0) return 0;
    long number = __atomic_add_fetch(&seen, 1, __ATOMIC_SEQ_CST);
    if (number != fatal && !(lasting && fatal && number > fatal)) return 0;
    if (deadly) {
        raise(deadly);
        return 0;
    }
    if (!fault) return 0;
    errno = fault;
    return 1;
}

static int hit_at(int dir, const char *path) {
    char base[PATH_MAX], whole[2 * PATH_MAX], link[64];
    if (!place[0] || !path) return 0;
    if (path[0] == '/') return hit(path);
    snprintf(link, sizeof link, dir == AT_FDCWD ? "/proc/self/cwd" : "/proc/self/fd/%d", dir);
    ssize_t length = readlink(link, base, sizeof base - 1);
    if (length < 0) return 0;
    base[length] = 0;
    snprintf(whole, sizeof whole, "%s/%s", base, path);
    return hit(whole);
}

static int hit_fd(int fd) {
    char path[PATH_MAX], link[64];
    if (!place[0]) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 0) return 0;
    path[length] = 0;
    return hit(path);
}

#define REAL(type, name, ...) \
    static type (*real)(__VA_ARGS__); \
    if (!real) real = (type(*)(__VA_ARGS__))dlsym(RTLD_NEXT, name)

#define ON_FD(type, name, declared, given, ...) \
    type name declared { REAL(type, #name, __VA_ARGS__); return hit_fd(fd) ? -1 : real given; }

ON_FD(ssize_t, write, (int fd, const void *data, size_t size), (fd, data, size), int, const void *, size_t)
ON_FD(ssize_t, pwrite, (int fd, const void *data, size_t size, off_t at), (fd, data, size, at), int, const void *,
      size_t, off_t)
ON_FD(ssize_t, pwrite64, (int fd, const void *data, size_t size, off64_t at), (fd, data, size, at), int, const void *,
      size_t, off64_t)
ON_FD(ssize_t, writev, (int fd, const struct iovec *parts, int count), (fd, parts, count), int, const struct iovec *,
      int)
ON_FD(int, fsync, (int fd), (fd), int)
ON_FD(int, fdatasync, (int fd), (fd), int)
ON_FD(int, ftruncate, (int fd, off_t size), (fd, size), int, off_t)
ON_FD(int, ftruncate64, (int fd, off64_t size), (fd, size), int, off64_t)
ON_FD(ssize_t, sendfile, (int fd, int from, off_t *at, size_t size), (fd, from, at, size), int, int, off_t *, size_t)
ON_FD(ssize_t, sendfile64, (int fd, int from, off64_t *at, size_t size), (fd, from, at, size), int, int, off64_t *,
      size_t)

#define ON_PATH(name, declared, given, path, ...) \
    int name declared { REAL(int, #name, __VA_ARGS__); return hit_at(AT_FDCWD, path) ? -1 : real given; }

ON_PATH(rename, (const char *from, const char *to), (from, to), to, const char *, const char *)
ON_PATH(unlink, (const char *path), (path), path, const char *)
ON_PATH(rmdir, (const char *path), (path), path, const char *)
ON_PATH(mkdir, (const char *path, mode_t mode), (path, mode), path, const char *, mode_t)
ON_PATH(symlink, (const char *target, const char *path), (target, path), path, const char *, const char *)

int unlinkat(int dir, const char *path, int flags) {
    REAL(int, "unlinkat", int, const char *, int);
    return hit_at(dir, path) ? -1 : real(dir, path, flags);
}

int renameat(int from, const char *old, int to, const char *path) {
    REAL(int, "renameat", int, const char *, int, const char *);
    return hit_at(to, path) ? -1 : real(from, old, to, path);
}

static int changes(int flags) { return (flags & O_ACCMODE) != O_RDONLY || flags & O_CREAT; }

#define OPENS(name) \
    int name(const char *path, int flags, ...) { \
        va_list more; va_start(more, flags); mode_t mode = va_arg(more, int); va_end(more); \
        REAL(int, #name, const char *, int, ...); \
        return changes(flags) && hit_at(AT_FDCWD, path) ? -1 : real(path, flags, mode); \
    }

OPENS(open)
OPENS(open64)

#define OPENS_AT(name) \
    int name(int dir, const char *path, int flags, ...) { \
        va_list more; va_start(more, flags); mode_t mode = va_arg(more, int); va_end(more); \
        REAL(int, #name, int, const char *, int, ...); \
        return changes(flags) && hit_at(dir, path) ? -1 : real(dir, path, flags, mode); \
    }

OPENS_AT(openat)
OPENS_AT(openat64)
