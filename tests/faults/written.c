/* Notes every write, truncation and sync of a SQLite store, in order, in the file that WRITTEN_LOG names.
   Loaded before libc (LD_PRELOAD): the program under test is the real one, on the real file system.

   A record is: kind (1 byte: w, t, s, u for a removal), file (1 byte: d, w, j), offset and length (8 bytes each, this
   machine's order), then the bytes of a write. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static pthread_mutex_t turn = PTHREAD_MUTEX_INITIALIZER;
static int log_fd = -2;

static ssize_t (*real_write)(int, const void *, size_t);

static char file_named(const char *path, ssize_t n) {
    const char *end = path + n;
    if (n > 3 && !strcmp(end - 3, ".db")) return 'd';
    if (n > 7 && !strcmp(end - 7, ".db-wal")) return 'w';
    if (n > 11 && !strcmp(end - 11, ".db-journal")) return 'j';
    return 0;
}

static char file_of(int fd) {
    char link[64], path[4096];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, path, sizeof path - 1);
    if (n <= 0) return 0;
    path[n] = 0;
    return file_named(path, n);
}

static void note(char kind, char file, uint64_t offset, uint64_t length, const void *bytes) {
    if (!real_write) real_write = dlsym(RTLD_NEXT, "write");
    if (log_fd == -2) {
        const char *path = getenv("WRITTEN_LOG");
        log_fd = path ? open(path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600) : -1;
    }
    if (log_fd < 0) return;
    if (!file) return;
    pthread_mutex_lock(&turn);
    char head[18] = {kind, file};
    memcpy(head + 2, &offset, 8);
    memcpy(head + 10, &length, 8);
    real_write(log_fd, head, sizeof head);
    if (kind == 'w') real_write(log_fd, bytes, length);
    pthread_mutex_unlock(&turn);
}

#define REAL(name) __typeof__(&name) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

ssize_t pwrite64(int fd, const void *bytes, size_t length, off64_t offset) {
    REAL(pwrite64);
    ssize_t done = real(fd, bytes, length, offset);
    if (done > 0) note('w', file_of(fd), offset, done, bytes);
    return done;
}

ssize_t pwrite(int fd, const void *bytes, size_t length, off_t offset) {
    REAL(pwrite);
    ssize_t done = real(fd, bytes, length, offset);
    if (done > 0) note('w', file_of(fd), offset, done, bytes);
    return done;
}

ssize_t write(int fd, const void *bytes, size_t length) {
    if (!real_write) real_write = dlsym(RTLD_NEXT, "write");
    off_t offset = lseek(fd, 0, SEEK_CUR);
    ssize_t done = real_write(fd, bytes, length);
    if (done > 0 && offset >= 0 && fd != log_fd) note('w', file_of(fd), offset, done, bytes);
    return done;
}

int ftruncate64(int fd, off64_t length) {
    REAL(ftruncate64);
    int done = real(fd, length);
    if (!done) note('t', file_of(fd), 0, length, NULL);
    return done;
}

int ftruncate(int fd, off_t length) {
    REAL(ftruncate);
    int done = real(fd, length);
    if (!done) note('t', file_of(fd), 0, length, NULL);
    return done;
}

int fsync(int fd) {
    REAL(fsync);
    int done = real(fd);
    if (!done) note('s', file_of(fd), 0, 0, NULL);
    return done;
}

int fdatasync(int fd) {
    REAL(fdatasync);
    int done = real(fd);
    if (!done) note('s', file_of(fd), 0, 0, NULL);
    return done;
}

/* A rollback journal is done with when it is removed: without this note every rebuilt disk would hold a hot one. */
int unlink(const char *path) {
    REAL(unlink);
    int done = real(path);
    if (!done) note('u', file_named(path, strlen(path)), 0, 0, NULL);
    return done;
}
