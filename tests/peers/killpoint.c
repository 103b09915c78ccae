/*
 * killpoint.so, loaded by LD_PRELOAD into the program under test: ends it with SIGKILL just before or just after the n-th call of one system
 * function, counted over all threads. So the kill tests can stand between any two steps of any stage without a hook in the product.
 *   KILLPOINT="fsync:12:before"     which function, which call, before or after it
 *   KILLPOINT_AT=437                whatever it does, 437 ms after its start, if it still runs then
 *   KILLPOINT_SINCE=P:FILE          times count from when it first opens the file P instead of its start; FILE is made then. Until then the time is -1 ms
 *   KILLPOINT_COUNTS=FILE           without a kill: how often each function was called, written at exit, "name count" a line
 *   KILLPOINT_FAIL=EROFS:300:900:P  from 300 ms after its start on and before 900 ms, whatever would change a file whose path begins with P fails (EROFS, ENOSPC, EACCES)
 *   KILLPOINT_CLOCK=3600:700:-3600  its wall clock is 3600 s ahead, and from 700 ms after its start 3600 s behind; ":700:-3600" may be left out
 * Build: gcc -shared -fPIC -O2 -o killpoint.so killpoint.c -ldl
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <sys/types.h>
#include <time.h>
#include <unistd.h>

enum call { FSYNC, FDATASYNC, RENAME, PWRITE, WRITE, SEND, RECV, UNLINK, CALLS };
static const char *names[CALLS] = {"fsync", "fdatasync", "rename", "pwrite", "write", "send", "recv", "unlink"};
static atomic_long counts[CALLS];
static int fatal_call = -1;
static long fatal_count;
static int fatal_before;
static char since_path[4096];
static const char *since_file;
static atomic_long started_ms = -1;
static int fail_error;
static long fail_from, fail_to;
static char fail_path[4096];
static long clock_shift, clock_later_at = -1, clock_later_shift;

static int real_clock(clockid_t id, struct timespec *now) {
  static int (*real)(clockid_t, struct timespec *);
  if (!real) real = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
  return real(id, now);
}

static long now_ms(void) {
  struct timespec now;
  real_clock(CLOCK_MONOTONIC, &now);
  return now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

static long age_ms(void) {
  long started = atomic_load(&started_ms);
  return started < 0 ? -1 : now_ms() - started;
}

static void start_times(void) {
  long never = -1;
  if (!atomic_compare_exchange_strong(&started_ms, &never, now_ms())) return;
  FILE *file = since_file ? fopen(since_file, "w") : NULL;
  if (file) fclose(file);
  const char *at = getenv("KILLPOINT_AT");
  if (!at) return;
  struct sigevent event = {.sigev_notify = SIGEV_SIGNAL, .sigev_signo = SIGKILL};
  struct itimerspec after = {.it_value = {.tv_sec = atol(at) / 1000, .tv_nsec = atol(at) % 1000 * 1000000L + 1}};
  timer_t timer;
  if (timer_create(CLOCK_MONOTONIC, &event, &timer) == 0) timer_settime(timer, 0, &after, NULL);
}

__attribute__((constructor)) static void read_times(void) {
  const char *text = getenv("KILLPOINT_SINCE");
  const char *file = text ? strchr(text, ':') : NULL;
  if (!file) {
    start_times();
    return;
  }
  snprintf(since_path, sizeof since_path, "%.*s", (int)(file - text), text);
  since_file = file + 1;
}

__attribute__((constructor)) static void read_troubles(void) {
  const char *fail = getenv("KILLPOINT_FAIL");
  char word[16] = "";
  if (fail && sscanf(fail, "%15[A-Z]:%ld:%ld:%4095[^\n]", word, &fail_from, &fail_to, fail_path) == 4)
    fail_error = !strcmp(word, "EROFS") ? EROFS : !strcmp(word, "ENOSPC") ? ENOSPC : EACCES;
  const char *clock = getenv("KILLPOINT_CLOCK");
  if (clock) sscanf(clock, "%ld:%ld:%ld", &clock_shift, &clock_later_at, &clock_later_shift);
}

static int fails_now(void) {
  if (!fail_error) return 0;
  long age = age_ms();
  return age >= fail_from && age < fail_to;
}

static int fails(const char *path) {
  if (!fails_now() || strncmp(path, fail_path, strlen(fail_path))) return 0;
  errno = fail_error;
  return 1;
}

static int fails_fd(int fd) {
  if (!fails_now()) return 0;
  char link[32], path[4096];
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  ssize_t length = readlink(link, path, sizeof path - 1);
  if (length < 0) return 0;
  path[length] = 0;
  return fails(path);
}

__attribute__((constructor)) static void read_plan(void) {
  char plan[64] = "";
  const char *text = getenv("KILLPOINT");
  if (!text) return;
  snprintf(plan, sizeof plan, "%s", text);
  char *count = strchr(plan, ':');
  if (!count) return;
  *count++ = 0;
  char *when = strchr(count, ':');
  if (when) *when++ = 0;
  for (int i = 0; i < CALLS; i++)
    if (!strcmp(plan, names[i])) fatal_call = i;
  fatal_count = atol(count);
  fatal_before = when && !strcmp(when, "before");
}

__attribute__((destructor)) static void write_counts(void) {
  const char *path = getenv("KILLPOINT_COUNTS");
  FILE *file = path ? fopen(path, "w") : NULL;
  if (!file) return;
  for (int i = 0; i < CALLS; i++) fprintf(file, "%s %ld\n", names[i], atomic_load(&counts[i]));
  fclose(file);
}

static int enter(enum call call) {
  long count = atomic_fetch_add(&counts[call], 1) + 1;
  int fatal = (int)call == fatal_call && count == fatal_count;
  if (fatal && fatal_before) kill(getpid(), SIGKILL);
  return fatal;
}

static void leave(int fatal) {
  if (fatal) kill(getpid(), SIGKILL);
}

#define WRAP(call, type, name, parameters, arguments, failing) \
  type name parameters {                                       \
    static type(*real) parameters;                             \
    if (!real) real = (type(*) parameters)dlsym(RTLD_NEXT, #name); \
    int fatal = enter(call);                                   \
    type result = failing ? -1 : real arguments;               \
    leave(fatal);                                              \
    return result;                                             \
  }

WRAP(FSYNC, int, fsync, (int fd), (fd), fails_fd(fd))
WRAP(FDATASYNC, int, fdatasync, (int fd), (fd), fails_fd(fd))
WRAP(RENAME, int, rename, (const char *from, const char *to), (from, to), fails(to))
WRAP(UNLINK, int, unlink, (const char *path), (path), fails(path))
WRAP(PWRITE, ssize_t, pwrite, (int fd, const void *buffer, size_t size, off_t at), (fd, buffer, size, at), fails_fd(fd))
WRAP(PWRITE, ssize_t, pwrite64, (int fd, const void *buffer, size_t size, off64_t at), (fd, buffer, size, at), fails_fd(fd))
WRAP(WRITE, ssize_t, write, (int fd, const void *buffer, size_t size), (fd, buffer, size), fails_fd(fd))
WRAP(SEND, ssize_t, send, (int fd, const void *buffer, size_t size, int flags), (fd, buffer, size, flags), 0)
WRAP(SEND, ssize_t, sendmsg, (int fd, const struct msghdr *message, int flags), (fd, message, flags), 0)
WRAP(RECV, ssize_t, recv, (int fd, void *buffer, size_t size, int flags), (fd, buffer, size, flags), 0)
WRAP(RECV, ssize_t, recvmsg, (int fd, struct msghdr *message, int flags), (fd, message, flags), 0)

/* Not counted, but able to fail. */
#define WRAP_FAILING(name, parameters, arguments, failing)     \
  int name parameters {                                        \
    static int(*real) parameters;                              \
    if (!real) real = (int(*) parameters)dlsym(RTLD_NEXT, #name); \
    return failing ? -1 : real arguments;                      \
  }

WRAP_FAILING(ftruncate, (int fd, off_t size), (fd, size), fails_fd(fd))
WRAP_FAILING(ftruncate64, (int fd, off64_t size), (fd, size), fails_fd(fd))

#define WRAP_OPEN(name)                                        \
  int name(const char *path, int flags, ...) {                 \
    static int (*real)(const char *, int, ...);                \
    if (!real) real = (int (*)(const char *, int, ...))dlsym(RTLD_NEXT, #name); \
    va_list rest;                                              \
    va_start(rest, flags);                                     \
    mode_t mode = flags & (O_CREAT | __O_TMPFILE) ? va_arg(rest, mode_t) : 0; \
    va_end(rest);                                              \
    if (since_file && !strcmp(path, since_path)) start_times(); \
    return flags & (O_WRONLY | O_RDWR | O_CREAT) && fails(path) ? -1 : real(path, flags, mode); \
  }

WRAP_OPEN(open)
WRAP_OPEN(open64)

static void shift(clockid_t id, time_t *seconds) {
  if (id == CLOCK_REALTIME || id == CLOCK_REALTIME_COARSE)
    *seconds += clock_later_at >= 0 && age_ms() >= clock_later_at ? clock_later_shift : clock_shift;
}

int clock_gettime(clockid_t id, struct timespec *now) {
  int result = real_clock(id, now);
  if (result == 0) shift(id, &now->tv_sec);
  return result;
}

int gettimeofday(struct timeval *restrict now, void *restrict zone) {
  (void)zone;
  struct timespec exact;
  int result = clock_gettime(CLOCK_REALTIME, &exact);
  now->tv_sec = exact.tv_sec;
  now->tv_usec = exact.tv_nsec / 1000;
  return result;
}

time_t time(time_t *now) {
  struct timespec exact;
  clock_gettime(CLOCK_REALTIME, &exact);
  return now ? (*now = exact.tv_sec) : exact.tv_sec;
}
