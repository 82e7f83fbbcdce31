/* Stands between a program and the disk, for tests: keeps a diary of what is written below one folder and
 * what was synced, and can be a disk with so much room and no more.
 *
 * Loaded with LD_PRELOAD. Every call still goes to the kernel; the diary gets a record after it has worked, so
 * a sync that was cut off by a kill counts as none. One lock covers the call and its record: the diary's order
 * is the order of things. One process at a time may write below the folder.
 *
 * SHADOW_ROOT     the folder, an absolute path without links in it
 * SHADOW_DIARY    file that the records are added to
 * SHADOW_NOTES    file whose writes become notes in the diary: what the program says it has acknowledged
 * SHADOW_NOSYNC   pattern of a path: syncs of such files do nothing, though they say they did
 * SHADOW_ROOM     file of two int64: bytes that the folder may hold (below zero: any), times it was full
 */
#define _GNU_SOURCE
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <fnmatch.h>
#include <limits.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

enum kind {
    OPEN = 1, CLOSE, WRITE, TRUNCATE, SYNC, RENAME, UNLINK, RMDIR, MKDIR, LINK, DUP, NOTE, UNSEEN, SYNC_ALL
};

struct record {
    uint32_t kind;
    int32_t fd;
    int64_t number;
    uint32_t first;
    uint32_t second;
};

enum { FDS = 4096, BLOCK = 4096 };

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static int diary = -1;
static char root[PATH_MAX], notes[PATH_MAX], nosync[PATH_MAX];
static size_t root_length;
static int64_t *room;
static char *paths[FDS]; /* of the open files below the folder */
static char is_notes[FDS];

static void stop(const char *why) {
    (void)!syscall(SYS_write, 2, why, strlen(why));
    abort();
}

static void from_environment(char *to, const char *name) {
    const char *value = getenv(name);
    if (value != NULL && strlen(value) < PATH_MAX) strcpy(to, value);
}

__attribute__((constructor)) static void begin(void) {
    from_environment(root, "SHADOW_ROOT");
    from_environment(notes, "SHADOW_NOTES");
    from_environment(nosync, "SHADOW_NOSYNC");
    root_length = strlen(root);
    const char *path = getenv("SHADOW_DIARY");
    if (path != NULL && root_length > 0)
        diary = (int)syscall(SYS_openat, AT_FDCWD, path, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0600);
    path = getenv("SHADOW_ROOM");
    if (path != NULL && root_length > 0) {
        int fd = (int)syscall(SYS_openat, AT_FDCWD, path, O_RDWR | O_CLOEXEC, 0);
        room = (int64_t *)syscall(SYS_mmap, NULL, 2 * sizeof *room, PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
        syscall(SYS_close, fd);
        if (room == MAP_FAILED) stop("shadow: SHADOW_ROOM is no file of two int64\n");
    }
}

static void tell(enum kind kind, int fd, int64_t number, const void *a, size_t na, const void *b, size_t nb) {
    if (diary < 0) return;
    int before = errno;
    struct record head = {kind, fd, number, (uint32_t)na, (uint32_t)nb};
    struct iovec parts[3] = {{&head, sizeof head}, {(void *)a, na}, {(void *)b, nb}};
    if (syscall(SYS_writev, diary, parts, 3) != (long)(sizeof head + na + nb)) stop("shadow: no room for the diary\n");
    errno = before;
}

static int is_below(const char *path) {
    return root_length > 0 && strncmp(path, root, root_length) == 0 &&
           (path[root_length] == '/' || path[root_length] == 0);
}

/* The absolute path of a name as a call gives it; 0 when it lies elsewhere. */
static int resolve(int folder, const char *name, char *to) {
    if (name == NULL || root_length == 0) return 0;
    if (name[0] == '/') {
        if (strlen(name) >= PATH_MAX) return 0;
        strcpy(to, name);
    } else {
        char at[PATH_MAX], link[64];
        if (folder == AT_FDCWD) {
            if (getcwd(at, sizeof at) == NULL) return 0;
        } else {
            snprintf(link, sizeof link, "/proc/self/fd/%d", folder);
            ssize_t n = readlink(link, at, sizeof at - 1);
            if (n < 0) return 0;
            at[n] = 0;
        }
        if (strlen(at) + strlen(name) + 2 > PATH_MAX) return 0;
        sprintf(to, "%s/%s", at, name);
    }
    return is_below(to);
}

static int64_t blocks(int64_t bytes) { return (bytes + BLOCK - 1) / BLOCK * BLOCK; }

static int64_t held_below(const char *folder) {
    int64_t sum = BLOCK;
    DIR *dir = opendir(folder);
    if (dir == NULL) return 0;
    struct dirent *entry;
    while ((entry = readdir(dir)) != NULL) {
        if (!strcmp(entry->d_name, ".") || !strcmp(entry->d_name, "..")) continue;
        char path[PATH_MAX];
        struct stat found;
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        if (lstat(path, &found) != 0) continue;
        sum += S_ISDIR(found.st_mode) ? held_below(path) : blocks(found.st_size);
    }
    closedir(dir);
    return sum;
}

/* How many bytes the folder has left; very many where there is no limit. */
static int64_t left(void) {
    if (room == NULL || room[0] < 0) return INT64_MAX / 2;
    int before = errno;
    int64_t found = room[0] - held_below(root);
    errno = before;
    return found;
}

static int full(void) {
    room[1]++;
    errno = ENOSPC;
    return -1;
}

/* How many of n bytes may be written at a place of a file: a disk that fills up takes the first part. */
static size_t allowed(int fd, int64_t at, size_t n) {
    struct stat found;
    if (room == NULL || room[0] < 0 || fstat(fd, &found) != 0) return n;
    int64_t there = blocks(found.st_size), wanted = blocks(at + (int64_t)n);
    if (wanted <= there) return n;
    int64_t rest = left();
    if (wanted - there <= rest) return n;
    int64_t end = there + (rest > 0 ? rest / BLOCK * BLOCK : 0);
    return end > at ? (size_t)(end - at) : 0;
}

static int is_ours(int fd) { return fd >= 0 && fd < FDS && paths[fd] != NULL; }

static void remember(int fd, const char *path, int flags, int created) {
    if (fd >= FDS) stop("shadow: too many open files\n");
    free(paths[fd]);
    paths[fd] = strdup(path);
    tell(OPEN, fd, (created ? 1 : 0) | (flags & O_TRUNC ? 2 : 0), path, strlen(path), NULL, 0);
}

static int do_open(int folder, const char *name, int flags, mode_t mode) {
    char path[PATH_MAX];
    if (notes[0] && name != NULL && strcmp(name, notes) == 0) {
        int fd = (int)syscall(SYS_openat, folder, name, flags, mode);
        if (fd >= 0 && fd < FDS) is_notes[fd] = 1;
        return fd;
    }
    if (!resolve(folder, name, path)) return (int)syscall(SYS_openat, folder, name, flags, mode);
    pthread_mutex_lock(&lock);
    struct stat found;
    int fd, created = (flags & O_CREAT) && lstat(path, &found) != 0;
    if (created && left() < BLOCK) {
        fd = full();
    } else {
        fd = (int)syscall(SYS_openat, folder, name, flags, mode);
        if (fd >= 0) remember(fd, path, flags, created);
    }
    pthread_mutex_unlock(&lock);
    return fd;
}

static mode_t mode_of(int flags, va_list rest) {
    return flags & (O_CREAT | __O_TMPFILE) ? (mode_t)va_arg(rest, int) : 0;
}

#define OPENS(name)                                        \
    int name(const char *path, int flags, ...) {           \
        va_list rest;                                      \
        va_start(rest, flags);                             \
        mode_t mode = mode_of(flags, rest);                \
        va_end(rest);                                      \
        return do_open(AT_FDCWD, path, flags, mode);       \
    }
#define OPENS_AT(name)                                     \
    int name(int folder, const char *path, int flags, ...) { \
        va_list rest;                                      \
        va_start(rest, flags);                             \
        mode_t mode = mode_of(flags, rest);                \
        va_end(rest);                                      \
        return do_open(folder, path, flags, mode);         \
    }
OPENS(open)
OPENS(open64)
OPENS_AT(openat)
OPENS_AT(openat64)
int __open_2(const char *path, int flags) { return do_open(AT_FDCWD, path, flags, 0); }
int __open64_2(const char *path, int flags) { return do_open(AT_FDCWD, path, flags, 0); }
int __openat_2(int folder, const char *path, int flags) { return do_open(folder, path, flags, 0); }
int __openat64_2(int folder, const char *path, int flags) { return do_open(folder, path, flags, 0); }
int creat(const char *path, mode_t mode) { return do_open(AT_FDCWD, path, O_CREAT | O_WRONLY | O_TRUNC, mode); }
int creat64(const char *path, mode_t mode) { return creat(path, mode); }

int close(int fd) {
    if (fd >= 0 && fd < FDS && is_notes[fd]) is_notes[fd] = 0;
    if (!is_ours(fd)) return (int)syscall(SYS_close, fd);
    pthread_mutex_lock(&lock);
    free(paths[fd]);
    paths[fd] = NULL;
    tell(CLOSE, fd, 0, NULL, 0, NULL, 0);
    int done = (int)syscall(SYS_close, fd);
    pthread_mutex_unlock(&lock);
    return done;
}

static void share(int fd, int other) {
    if (other < 0) return;
    if (other < FDS && fd < FDS) is_notes[other] = is_notes[fd];
    if (!is_ours(fd)) return;
    if (other >= FDS) stop("shadow: too many open files\n");
    paths[other] = strdup(paths[fd]);
    tell(DUP, fd, other, NULL, 0, NULL, 0);
}

int dup(int fd) {
    pthread_mutex_lock(&lock);
    int other = (int)syscall(SYS_dup, fd);
    share(fd, other);
    pthread_mutex_unlock(&lock);
    return other;
}
int dup3(int fd, int other, int flags) {
    if (is_ours(other)) close(other);
    pthread_mutex_lock(&lock);
    int made = (int)syscall(SYS_dup3, fd, other, flags);
    share(fd, made);
    pthread_mutex_unlock(&lock);
    return made;
}
int dup2(int fd, int other) { return fd == other ? fd : dup3(fd, other, 0); }

static int do_fcntl(int fd, int command, void *argument) {
    if (command != F_DUPFD && command != F_DUPFD_CLOEXEC) return (int)syscall(SYS_fcntl, fd, command, argument);
    pthread_mutex_lock(&lock);
    int other = (int)syscall(SYS_fcntl, fd, command, argument);
    share(fd, other);
    pthread_mutex_unlock(&lock);
    return other;
}
#define FCNTLS(name)                                       \
    int name(int fd, int command, ...) {                   \
        va_list rest;                                      \
        va_start(rest, command);                           \
        void *argument = va_arg(rest, void *);             \
        va_end(rest);                                      \
        return do_fcntl(fd, command, argument);            \
    }
FCNTLS(fcntl)
FCNTLS(fcntl64)

/* One write of any kind; at < 0: where the file stands. */
static ssize_t put(int fd, const void *data, size_t n, int64_t at) {
    if (fd >= 0 && fd < FDS && is_notes[fd]) {
        pthread_mutex_lock(&lock);
        ssize_t done = syscall(SYS_write, fd, data, n);
        if (done > 0) tell(NOTE, fd, 0, data, (size_t)done, NULL, 0);
        pthread_mutex_unlock(&lock);
        return done;
    }
    if (!is_ours(fd)) return at < 0 ? syscall(SYS_write, fd, data, n) : syscall(SYS_pwrite64, fd, data, n, at);
    pthread_mutex_lock(&lock);
    int64_t place = at;
    if (at < 0) {
        struct stat found;
        int flags = (int)syscall(SYS_fcntl, fd, F_GETFL, 0);
        place = lseek(fd, 0, SEEK_CUR);
        if ((flags & O_APPEND) && fstat(fd, &found) == 0) place = found.st_size;
    }
    size_t fits = allowed(fd, place, n);
    ssize_t done;
    if (fits == 0 && n > 0) {
        done = full();
    } else {
        done = at < 0 ? syscall(SYS_write, fd, data, fits) : syscall(SYS_pwrite64, fd, data, fits, at);
        if (done > 0) tell(WRITE, fd, place, data, (size_t)done, NULL, 0);
    }
    pthread_mutex_unlock(&lock);
    return done;
}

ssize_t write(int fd, const void *data, size_t n) { return put(fd, data, n, -1); }
ssize_t pwrite(int fd, const void *data, size_t n, off_t at) { return put(fd, data, n, at); }
ssize_t pwrite64(int fd, const void *data, size_t n, off64_t at) { return put(fd, data, n, at); }

static ssize_t put_all(int fd, const struct iovec *parts, int count, int64_t at) {
    ssize_t sum = 0;
    for (int k = 0; k < count; k++) {
        if (parts[k].iov_len == 0) continue;
        ssize_t done = put(fd, parts[k].iov_base, parts[k].iov_len, at < 0 ? -1 : at + sum);
        if (done < 0) return sum > 0 ? sum : done;
        sum += done;
        if ((size_t)done < parts[k].iov_len) break;
    }
    return sum;
}
ssize_t writev(int fd, const struct iovec *parts, int count) {
    if (!is_ours(fd) && !(fd >= 0 && fd < FDS && is_notes[fd])) return syscall(SYS_writev, fd, parts, count);
    return put_all(fd, parts, count, -1);
}
ssize_t pwritev(int fd, const struct iovec *parts, int count, off_t at) { return put_all(fd, parts, count, at); }
ssize_t pwritev64(int fd, const struct iovec *parts, int count, off64_t at) { return put_all(fd, parts, count, at); }

int ftruncate(int fd, off_t size) {
    pthread_mutex_lock(&lock);
    int done = (int)syscall(SYS_ftruncate, fd, size);
    if (done == 0 && is_ours(fd)) tell(TRUNCATE, fd, size, NULL, 0, NULL, 0);
    pthread_mutex_unlock(&lock);
    return done;
}
int ftruncate64(int fd, off64_t size) { return ftruncate(fd, size); }

static int do_sync(int call, int fd) {
    if (!is_ours(fd)) return (int)syscall(call, fd);
    if (nosync[0] && fnmatch(nosync, paths[fd], 0) == 0) return 0;
    pthread_mutex_lock(&lock);
    int done = (int)syscall(call, fd);
    if (done == 0) tell(SYNC, fd, 0, NULL, 0, NULL, 0);
    pthread_mutex_unlock(&lock);
    return done;
}
int fsync(int fd) { return do_sync(SYS_fsync, fd); }
int fdatasync(int fd) { return do_sync(SYS_fdatasync, fd); }
int syncfs(int fd) {
    int done = (int)syscall(SYS_syncfs, fd);
    if (done == 0 && is_ours(fd)) tell(SYNC_ALL, fd, 0, NULL, 0, NULL, 0);
    return done;
}
void sync(void) {
    syscall(SYS_sync);
    tell(SYNC_ALL, -1, 0, NULL, 0, NULL, 0);
}

/* Calls that the diary has no record for: a test that meets one must not believe the diary. */
static void unseen(int fd, const char *call) {
    if (is_ours(fd)) tell(UNSEEN, fd, 0, call, strlen(call), paths[fd], strlen(paths[fd]));
}

int truncate(const char *name, off_t size) {
    char path[PATH_MAX];
    if (resolve(AT_FDCWD, name, path)) tell(UNSEEN, -1, size, "truncate", 8, path, strlen(path));
    return (int)syscall(SYS_truncate, name, size);
}
int truncate64(const char *name, off64_t size) { return truncate(name, size); }
int fallocate(int fd, int mode, off_t at, off_t n) {
    unseen(fd, "fallocate");
    return (int)syscall(SYS_fallocate, fd, mode, at, n);
}
int fallocate64(int fd, int mode, off64_t at, off64_t n) { return fallocate(fd, mode, at, n); }
int posix_fallocate(int fd, off_t at, off_t n) { return fallocate(fd, 0, at, n) == 0 ? 0 : errno; }
int posix_fallocate64(int fd, off64_t at, off64_t n) { return posix_fallocate(fd, at, n); }
ssize_t copy_file_range(int in, off64_t *at_in, int out, off64_t *at_out, size_t n, unsigned flags) {
    unseen(out, "copy_file_range");
    return syscall(SYS_copy_file_range, in, at_in, out, at_out, n, flags);
}
ssize_t sendfile(int out, int in, off_t *at, size_t n) {
    unseen(out, "sendfile");
    return syscall(SYS_sendfile, out, in, at, n);
}
ssize_t sendfile64(int out, int in, off64_t *at, size_t n) { return sendfile(out, in, at, n); }

static void *map(void *where, size_t n, int rights, int flags, int fd, off_t at) {
    /* SQLite maps its index of the log, which it builds anew after a stop. */
    if ((rights & PROT_WRITE) && (flags & MAP_SHARED) && is_ours(fd)) {
        size_t length = strlen(paths[fd]);
        if (length < 4 || strcmp(paths[fd] + length - 4, "-shm") != 0) unseen(fd, "mmap");
    }
    return (void *)syscall(SYS_mmap, where, n, rights, flags, fd, at);
}
void *mmap(void *where, size_t n, int rights, int flags, int fd, off_t at) {
    return map(where, n, rights, flags, fd, at);
}
void *mmap64(void *where, size_t n, int rights, int flags, int fd, off64_t at) {
    return map(where, n, rights, flags, fd, at);
}

/* The room that the folder has left, for whoever asks before it writes. */
static int stat_room(const char *name, const char *call, void *found, unsigned long *unit, unsigned long *free_) {
    char path[PATH_MAX];
    int (*plain)(const char *, void *) = (int (*)(const char *, void *))dlsym(RTLD_NEXT, call);
    int done = plain(name, found);
    if (done == 0 && room != NULL && room[0] >= 0 && resolve(AT_FDCWD, name, path)) {
        int64_t rest = left();
        *free_ = (unsigned long)(rest > 0 ? rest : 0) / *unit;
    }
    return done;
}
int statvfs(const char *name, struct statvfs *found) {
    return stat_room(name, "statvfs", found, &found->f_frsize, (unsigned long *)&found->f_bavail);
}
int statvfs64(const char *name, struct statvfs64 *found) {
    return stat_room(name, "statvfs64", found, &found->f_frsize, (unsigned long *)&found->f_bavail);
}

static int named(enum kind kind, long done, int is_there, const char *path, const char *other) {
    if (done == 0 && is_there) tell(kind, -1, 0, path, strlen(path), other, other ? strlen(other) : 0);
    return (int)done;
}

int renameat2(int from, const char *old, int to, const char *new, unsigned flags) {
    char a[PATH_MAX] = "", b[PATH_MAX] = "";
    int ours = resolve(from, old, a), theirs = resolve(to, new, b);
    pthread_mutex_lock(&lock);
    int done = (int)syscall(SYS_renameat2, from, old, to, new, flags);
    if (done == 0 && ours != theirs) tell(UNSEEN, -1, 0, "rename across the folder's edge", 31, a, strlen(a));
    named(RENAME, done, ours && theirs, a, b);
    pthread_mutex_unlock(&lock);
    return done;
}
int renameat(int from, const char *old, int to, const char *new) { return renameat2(from, old, to, new, 0); }
int rename(const char *old, const char *new) { return renameat2(AT_FDCWD, old, AT_FDCWD, new, 0); }

int unlinkat(int folder, const char *name, int flags) {
    char path[PATH_MAX];
    int ours = resolve(folder, name, path);
    pthread_mutex_lock(&lock);
    long done = syscall(SYS_unlinkat, folder, name, flags);
    named(flags & AT_REMOVEDIR ? RMDIR : UNLINK, done, ours, path, NULL);
    pthread_mutex_unlock(&lock);
    return (int)done;
}
int unlink(const char *name) { return unlinkat(AT_FDCWD, name, 0); }
int rmdir(const char *name) { return unlinkat(AT_FDCWD, name, AT_REMOVEDIR); }
int remove(const char *name) {
    int done = unlink(name);
    return done != 0 && (errno == EISDIR || errno == EPERM) ? rmdir(name) : done;
}

int mkdirat(int folder, const char *name, mode_t mode) {
    char path[PATH_MAX];
    int ours = resolve(folder, name, path);
    pthread_mutex_lock(&lock);
    struct stat found;
    int done;
    if (ours && lstat(path, &found) != 0 && left() < BLOCK) done = full();
    else done = named(MKDIR, syscall(SYS_mkdirat, folder, name, mode), ours, path, NULL);
    pthread_mutex_unlock(&lock);
    return done;
}
int mkdir(const char *name, mode_t mode) { return mkdirat(AT_FDCWD, name, mode); }

int linkat(int from, const char *old, int to, const char *new, int flags) {
    char a[PATH_MAX], b[PATH_MAX];
    int ours = resolve(from, old, a) && resolve(to, new, b);
    pthread_mutex_lock(&lock);
    int done = named(LINK, syscall(SYS_linkat, from, old, to, new, flags), ours, a, b);
    pthread_mutex_unlock(&lock);
    return done;
}
int link(const char *old, const char *new) { return linkat(AT_FDCWD, old, AT_FDCWD, new, 0); }
