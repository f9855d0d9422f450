/* A disk that fails on demand, preloaded into the program under test.
 *
 * Every call that changes something below DISK_FOLDER is counted, over all threads: creating, writing,
 * cutting, renaming and removing a file, and syncing a file or a folder. The test shares a page with
 * the program (DISK_CONTROL): it reads the count there and says at which call the disk fails, how, and
 * whether once or from there on. With DISK_LOG every call that was carried out is appended to that
 * file with its bytes, in the order in which the calls took effect.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

/* What the test and the program share; the test has the same in Rust. */
struct control {
    volatile uint32_t calls;  /* counted since the test set it to 0 */
    volatile uint32_t at;     /* fail the call of this number; 0 fails none */
    volatile uint32_t how;    /* enum how */
    volatile uint32_t lasts;  /* fail every later call too */
    volatile uint32_t failed; /* calls that were made to fail */
    volatile uint32_t logged; /* records in the log */
};

enum how { IO_ERROR = 1, FULL = 2, TORN = 3, SHORT = 4 };

enum what { CREATED = 1, WRITTEN = 2, CUT = 3, SYNCED = 4, RENAMED = 5, REMOVED = 6, FOLDER = 7 };

/* One record of the log, before the path and the bytes. */
struct record {
    uint32_t what;
    uint32_t path_length;
    uint64_t offset;
    uint64_t length;
};

static pthread_mutex_t one_at_a_time = PTHREAD_MUTEX_INITIALIZER;
static struct control *control;
static char folder[4096];
static size_t folder_length;
static int log_file = -1;

static int (*real_open)(const char *, int, ...);
static ssize_t (*real_write)(int, const void *, size_t);
static ssize_t (*real_pwrite)(int, const void *, size_t, off_t);
static int (*real_fsync)(int);
static int (*real_fdatasync)(int);
static int (*real_ftruncate)(int, off_t);
static int (*real_rename)(const char *, const char *);
static int (*real_unlink)(const char *);
static int (*real_mkdir)(const char *, mode_t);

__attribute__((constructor)) static void begin(void) {
    real_open = dlsym(RTLD_NEXT, "open");
    real_write = dlsym(RTLD_NEXT, "write");
    real_pwrite = dlsym(RTLD_NEXT, "pwrite");
    real_fsync = dlsym(RTLD_NEXT, "fsync");
    real_fdatasync = dlsym(RTLD_NEXT, "fdatasync");
    real_ftruncate = dlsym(RTLD_NEXT, "ftruncate");
    real_rename = dlsym(RTLD_NEXT, "rename");
    real_unlink = dlsym(RTLD_NEXT, "unlink");
    real_mkdir = dlsym(RTLD_NEXT, "mkdir");
    const char *below = getenv("DISK_FOLDER");
    const char *shared = getenv("DISK_CONTROL");
    const char *log = getenv("DISK_LOG");
    if (below == NULL || shared == NULL)
        return;
    snprintf(folder, sizeof folder, "%s", below);
    folder_length = strlen(folder);
    int file = real_open(shared, O_RDWR);
    control = mmap(NULL, sizeof *control, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    close(file);
    if (control == MAP_FAILED)
        abort();
    if (log != NULL)
        log_file = real_open(log, O_WRONLY | O_APPEND | O_CLOEXEC);
}

static int is_below(const char *path) {
    return control != NULL && strncmp(path, folder, folder_length) == 0 &&
           (path[folder_length] == '/' || path[folder_length] == 0);
}

/* Whether an open file is below the folder, and its path. */
static int path_of(int file, char *path, size_t room) {
    char link[64];
    if (control == NULL)
        return 0;
    int kept = errno;
    snprintf(link, sizeof link, "/proc/self/fd/%d", file);
    ssize_t length = readlink(link, path, room - 1);
    errno = kept;
    if (length < 0)
        return 0;
    path[length] = 0;
    return is_below(path);
}

/* Counts a call. Gives how it is to fail, or 0. The lock is held. */
static int fate(void) {
    uint32_t number = ++control->calls;
    uint32_t at = control->at;
    if (at == 0 || number < at || (number != at && !control->lasts))
        return 0;
    control->failed++;
    return (int)control->how;
}

static int error_of(int how) { return how == FULL ? ENOSPC : EIO; }

static void record(enum what what, const char *path, uint64_t offset, const void *bytes,
                   uint64_t length) {
    if (log_file < 0)
        return;
    int kept = errno;
    struct record head = {what, (uint32_t)strlen(path), offset, length};
    size_t size = sizeof head + head.path_length + (bytes == NULL ? 0 : length);
    char *all = malloc(size);
    memcpy(all, &head, sizeof head);
    memcpy(all + sizeof head, path, head.path_length);
    if (bytes != NULL)
        memcpy(all + sizeof head + head.path_length, bytes, length);
    if (real_write(log_file, all, size) != (ssize_t)size)
        abort();
    free(all);
    control->logged++;
    errno = kept;
}

static ssize_t write_at(int file, const void *bytes, size_t length, off_t offset) {
    char path[4096];
    if (!path_of(file, path, sizeof path))
        return offset < 0 ? real_write(file, bytes, length) : real_pwrite(file, bytes, length, offset);
    pthread_mutex_lock(&one_at_a_time);
    int how = fate();
    ssize_t done = -1;
    if (how == IO_ERROR || how == FULL) {
        errno = error_of(how);
    } else {
        size_t some = how == 0 || length < 2 ? length : length / 2;
        off_t place = offset < 0 ? lseek(file, 0, SEEK_CUR) : offset;
        done = offset < 0 ? real_write(file, bytes, some) : real_pwrite(file, bytes, some, offset);
        if (0 < done)
            record(WRITTEN, path, (uint64_t)place, bytes, (uint64_t)done);
        if (how == TORN) {
            errno = EIO;
            done = -1;
        }
    }
    pthread_mutex_unlock(&one_at_a_time);
    return done;
}

ssize_t write(int file, const void *bytes, size_t length) { return write_at(file, bytes, length, -1); }

ssize_t pwrite(int file, const void *bytes, size_t length, off_t offset) {
    return write_at(file, bytes, length, offset);
}

ssize_t pwrite64(int file, const void *bytes, size_t length, off_t offset) {
    return write_at(file, bytes, length, offset);
}

static int sync_with(int (*real)(int), int file) {
    char path[4096];
    if (!path_of(file, path, sizeof path))
        return real(file);
    pthread_mutex_lock(&one_at_a_time);
    int how = fate();
    int done = -1;
    if (how != 0) {
        errno = error_of(how);
    } else {
        done = real(file);
        if (done == 0)
            record(SYNCED, path, 0, NULL, 0);
    }
    pthread_mutex_unlock(&one_at_a_time);
    return done;
}

int fsync(int file) { return sync_with(real_fsync, file); }

int fdatasync(int file) { return sync_with(real_fdatasync, file); }

int ftruncate(int file, off_t length) {
    char path[4096];
    if (!path_of(file, path, sizeof path))
        return real_ftruncate(file, length);
    pthread_mutex_lock(&one_at_a_time);
    int how = fate();
    int done = -1;
    if (how != 0) {
        errno = error_of(how);
    } else {
        done = real_ftruncate(file, length);
        if (done == 0)
            record(CUT, path, (uint64_t)length, NULL, 0);
    }
    pthread_mutex_unlock(&one_at_a_time);
    return done;
}

int ftruncate64(int file, off_t length) { return ftruncate(file, length); }

int rename(const char *from, const char *to) {
    if (!is_below(to))
        return real_rename(from, to);
    pthread_mutex_lock(&one_at_a_time);
    int how = fate();
    int done = -1;
    if (how != 0) {
        errno = error_of(how);
    } else {
        done = real_rename(from, to);
        if (done == 0)
            record(RENAMED, from, 0, to, strlen(to));
    }
    pthread_mutex_unlock(&one_at_a_time);
    return done;
}

int unlink(const char *path) {
    if (!is_below(path))
        return real_unlink(path);
    pthread_mutex_lock(&one_at_a_time);
    int how = fate();
    int done = -1;
    if (how != 0) {
        errno = error_of(how);
    } else {
        done = real_unlink(path);
        if (done == 0)
            record(REMOVED, path, 0, NULL, 0);
    }
    pthread_mutex_unlock(&one_at_a_time);
    return done;
}

int mkdir(const char *path, mode_t mode) {
    if (!is_below(path))
        return real_mkdir(path, mode);
    pthread_mutex_lock(&one_at_a_time);
    int how = fate();
    int done = -1;
    if (how != 0) {
        errno = error_of(how);
    } else {
        done = real_mkdir(path, mode);
        if (done == 0)
            record(FOLDER, path, 0, NULL, 0);
    }
    pthread_mutex_unlock(&one_at_a_time);
    return done;
}

static int open_with(const char *path, int flags, mode_t mode) {
    int is_new = (flags & O_CREAT) != 0 && is_below(path) && access(path, F_OK) != 0;
    if (!is_new)
        return real_open(path, flags, mode);
    pthread_mutex_lock(&one_at_a_time);
    int how = fate();
    int file = -1;
    if (how != 0) {
        errno = error_of(how);
    } else {
        file = real_open(path, flags, mode);
        if (0 <= file)
            record(CREATED, path, 0, NULL, 0);
    }
    pthread_mutex_unlock(&one_at_a_time);
    return file;
}

int open(const char *path, int flags, ...) {
    va_list more;
    va_start(more, flags);
    mode_t mode = (flags & O_CREAT) != 0 ? va_arg(more, mode_t) : 0;
    va_end(more);
    return open_with(path, flags, mode);
}

int open64(const char *path, int flags, ...) {
    va_list more;
    va_start(more, flags);
    mode_t mode = (flags & O_CREAT) != 0 ? va_arg(more, mode_t) : 0;
    va_end(more);
    return open_with(path, flags, mode);
}
