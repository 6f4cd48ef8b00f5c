/* Loaded into a process with LD_PRELOAD: lists its file operations below a directory, and fails or kills it at a chosen one.
 *
 *   STEPS_ROOT     the directory, absolute; what is elsewhere is left alone
 *   STEPS_TRACE    a file to which every operation is appended as a line: `operation path`; the chosen one as `! operation path`
 *   STEPS_CONTROL  a file that names the chosen one: `OPERATIONS PATH NUMBER EFFECT`; it is read when it is there, and operations
 *                  are counted from then on, so that a process that runs already can be told
 *   STEPS_CLOCK    a file with seconds, which are added to the time of day
 *
 * OPERATIONS are names with commas between, or `any`; PATH is a part of the path below the directory, or `*`; NUMBER counts
 * from 1. EFFECT is kill-before, kill-half (a write writes its first half), kill-after, EIO, ENOSPC, EIO+ and ENOSPC+ (that one
 * and every later one), short (a write writes half and says so), torn (it does, and every later one fails with ENOSPC; what is no
 * write fails), or room (NUMBER is how many more bytes the disk takes).
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <time.h>
#include <unistd.h>

enum effect { NONE, KILL_BEFORE, KILL_HALF, KILL_AFTER, FAIL, SHORT };

static const char *root, *trace, *control, *clock_file;
static size_t root_length;
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static int armed, torn;
static char operations[256], part[256], effect_name[32];
static long long number, counted, room;

__attribute__((constructor)) static void begin(void) {
    root = getenv("STEPS_ROOT");
    trace = getenv("STEPS_TRACE");
    control = getenv("STEPS_CONTROL");
    clock_file = getenv("STEPS_CLOCK");
    root_length = root ? strlen(root) : 0;
}

/* Calls of the operating system itself, so that what is done here is neither listed nor counted. */
static long read_whole(const char *path, char *text, size_t size) {
    long file = syscall(SYS_openat, AT_FDCWD, path, O_RDONLY | O_CLOEXEC);
    if (file < 0) return -1;
    long length = syscall(SYS_read, file, text, size - 1);
    syscall(SYS_close, file);
    if (length >= 0) text[length] = 0;
    return length;
}

static void note(const char *mark, const char *operation, const char *path) {
    char line[PATH_MAX + 64];
    if (!trace) return;
    int length = snprintf(line, sizeof line, "%s%s %s\n", mark, operation, path);
    long file = syscall(SYS_openat, AT_FDCWD, trace, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    if (file < 0) return;
    syscall(SYS_write, file, line, (size_t)length);
    syscall(SYS_close, file);
}

static void die(void) {
    syscall(SYS_kill, syscall(SYS_getpid), SIGKILL);
    for (;;) pause();
}

static int among(const char *operation) {
    size_t length = strlen(operation);
    if (!strcmp(operations, "any")) return 1;
    for (const char *at = operations; (at = strstr(at, operation)); at += length)
        if ((at == operations || at[-1] == ',') && (at[length] == 0 || at[length] == ',')) return 1;
    return 0;
}

static void arm(void) {
    char text[1024];
    if (armed || !control || read_whole(control, text, sizeof text) <= 0) return;
    if (sscanf(text, "%255s %255s %lld %31s", operations, part, &number, effect_name) == 4) {
        room = number;
        armed = 1;
    }
}

/* What is to become of an operation, and with which error; `bytes` is how many it writes. */
static enum effect chosen(const char *operation, const char *path, size_t bytes, int *error) {
    enum effect effect = NONE;
    int reached = 0, saved = errno;
    int writes = !strcmp(operation, "write") || !strcmp(operation, "pwrite");
    if (!root || strncmp(path, root, root_length)) return NONE;
    path += root_length;
    if (*path && *path != '/') return NONE;
    while (*path == '/') path++;
    pthread_mutex_lock(&lock);
    arm();
    if (armed && among(operation) && (!strcmp(part, "*") || strstr(path, part))) {
        const char *name = effect_name;
        if (!strcmp(name, "room")) {
            if (writes && (room -= (long long)bytes) < 0) effect = FAIL, *error = ENOSPC;
        } else {
            reached = ++counted == number;
            int later = counted > number && name[strlen(name) - 1] == '+';
            if (torn && writes) effect = FAIL, *error = ENOSPC;
            else if (counted == number || later) {
                if (!strcmp(name, "kill-before")) effect = KILL_BEFORE;
                else if (!strcmp(name, "kill-half")) effect = KILL_HALF;
                else if (!strcmp(name, "kill-after")) effect = KILL_AFTER;
                else if (!strncmp(name, "EIO", 3)) effect = FAIL, *error = EIO;
                else if (!strncmp(name, "ENOSPC", 6)) effect = FAIL, *error = ENOSPC;
                else if (writes) effect = SHORT, torn = !strcmp(name, "torn");
                else if (!strcmp(name, "torn")) effect = FAIL, *error = ENOSPC;
            }
        }
    }
    note(reached || effect != NONE ? "! " : "", operation, path);
    pthread_mutex_unlock(&lock);
    errno = saved;
    if (effect == KILL_BEFORE) die();
    return effect;
}

static const char *path_of(int file, char *path) {
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", file);
    int saved = errno;
    long length = syscall(SYS_readlinkat, AT_FDCWD, link, path, PATH_MAX - 1);
    errno = saved;
    path[length < 0 ? 0 : length] = 0;
    return path;
}

static const char *path_at(int directory, const char *name, char *path) {
    char base[PATH_MAX];
    if (name[0] == '/') return name;
    if (directory == AT_FDCWD) {
        if (!getcwd(base, sizeof base)) base[0] = 0;
    } else {
        path_of(directory, base);
    }
    /* A path that does not fit is none below the directory. */
    if (snprintf(path, PATH_MAX, "%s/%s", base, name) >= PATH_MAX) path[0] = 0;
    return path;
}

#define REAL(name) \
    static __typeof__(&name) real; \
    if (!real) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

/* Any operation that writes no bytes. */
#define STEP(operation, path, call) \
    do { \
        int error = 0; \
        enum effect effect = chosen(operation, path, 0, &error); \
        if (effect == FAIL) return errno = error, -1; \
        __typeof__(call) result = call; \
        if (effect == KILL_HALF || effect == KILL_AFTER) die(); \
        return result; \
    } while (0)

/* An operation that writes `count` bytes; `some` writes fewer of them. */
#define WRITE(operation, file, count, all, some) \
    do { \
        char path[PATH_MAX]; \
        int error = 0; \
        enum effect effect = chosen(operation, path_of(file, path), count, &error); \
        size_t half = (count) / 2; \
        (void)half; \
        if (effect == FAIL) return errno = error, -1; \
        if (effect == KILL_HALF) { ssize_t did = some; (void)did; die(); } \
        if (effect == SHORT && half > 0) return some; \
        ssize_t result = all; \
        if (effect == KILL_AFTER) die(); \
        return result; \
    } while (0)

ssize_t write(int file, const void *bytes, size_t count) {
    REAL(write);
    WRITE("write", file, count, real(file, bytes, count), real(file, bytes, half));
}

ssize_t pwrite(int file, const void *bytes, size_t count, off_t offset) {
    REAL(pwrite);
    WRITE("pwrite", file, count, real(file, bytes, count, offset), real(file, bytes, half, offset));
}

ssize_t pwrite64(int file, const void *bytes, size_t count, off64_t offset) {
    REAL(pwrite64);
    WRITE("pwrite", file, count, real(file, bytes, count, offset), real(file, bytes, half, offset));
}

ssize_t writev(int file, const struct iovec *pieces, int count) {
    REAL(writev);
    size_t bytes = 0;
    for (int at = 0; at < count; at++) bytes += pieces[at].iov_len;
    WRITE("write", file, bytes, real(file, pieces, count), real(file, pieces, count > 1 ? count / 2 : 1));
}

int fsync(int file) {
    REAL(fsync);
    char path[PATH_MAX];
    STEP("fsync", path_of(file, path), real(file));
}

int fdatasync(int file) {
    REAL(fdatasync);
    char path[PATH_MAX];
    STEP("fdatasync", path_of(file, path), real(file));
}

int sync_file_range(int file, off64_t offset, off64_t bytes, unsigned flags) {
    REAL(sync_file_range);
    char path[PATH_MAX];
    STEP("sync_file_range", path_of(file, path), real(file, offset, bytes, flags));
}

int ftruncate(int file, off_t length) {
    REAL(ftruncate);
    char path[PATH_MAX];
    STEP("ftruncate", path_of(file, path), real(file, length));
}

int ftruncate64(int file, off64_t length) {
    REAL(ftruncate64);
    char path[PATH_MAX];
    STEP("ftruncate", path_of(file, path), real(file, length));
}

int rename(const char *from, const char *to) {
    REAL(rename);
    char path[PATH_MAX];
    STEP("rename", path_at(AT_FDCWD, to, path), real(from, to));
}

int renameat(int from_directory, const char *from, int to_directory, const char *to) {
    REAL(renameat);
    char path[PATH_MAX];
    STEP("rename", path_at(to_directory, to, path), real(from_directory, from, to_directory, to));
}

int link(const char *from, const char *to) {
    REAL(link);
    char path[PATH_MAX];
    STEP("link", path_at(AT_FDCWD, to, path), real(from, to));
}

int linkat(int from_directory, const char *from, int to_directory, const char *to, int flags) {
    REAL(linkat);
    char path[PATH_MAX];
    STEP("link", path_at(to_directory, to, path), real(from_directory, from, to_directory, to, flags));
}

int unlink(const char *name) {
    REAL(unlink);
    char path[PATH_MAX];
    STEP("unlink", path_at(AT_FDCWD, name, path), real(name));
}

int unlinkat(int directory, const char *name, int flags) {
    REAL(unlinkat);
    char path[PATH_MAX];
    STEP("unlink", path_at(directory, name, path), real(directory, name, flags));
}

int mkdir(const char *name, mode_t mode) {
    REAL(mkdir);
    char path[PATH_MAX];
    STEP("mkdir", path_at(AT_FDCWD, name, path), real(name, mode));
}

static const char *open_or_create(const char *path, int flags) {
    if (!(flags & O_CREAT)) return flags & (O_WRONLY | O_RDWR) ? "open-write" : "open-read";
    int saved = errno;
    int present = !syscall(SYS_faccessat, AT_FDCWD, path, F_OK);
    errno = saved;
    return present ? "open-write" : "create";
}

static mode_t mode_of(int flags, va_list more) {
    return flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0;
}

#define OPEN(real_name, directory, name, call) \
    REAL(real_name); \
    va_list more; \
    va_start(more, flags); \
    mode_t mode = mode_of(flags, more); \
    va_end(more); \
    char path[PATH_MAX]; \
    const char *full = path_at(directory, name, path); \
    STEP(open_or_create(full, flags), full, call)

int open(const char *name, int flags, ...) { OPEN(open, AT_FDCWD, name, real(name, flags, mode)); }

int open64(const char *name, int flags, ...) { OPEN(open64, AT_FDCWD, name, real(name, flags, mode)); }

int openat(int directory, const char *name, int flags, ...) {
    OPEN(openat, directory, name, real(directory, name, flags, mode));
}

int openat64(int directory, const char *name, int flags, ...) {
    OPEN(openat64, directory, name, real(directory, name, flags, mode));
}

int clock_gettime(clockid_t clock, struct timespec *time) {
    char text[64];
    int saved = errno;
    long result = syscall(SYS_clock_gettime, clock, time);
    if (!result && clock == CLOCK_REALTIME && clock_file && read_whole(clock_file, text, sizeof text) > 0)
        time->tv_sec += atoll(text);
    if (!result) errno = saved;
    return (int)result;
}
