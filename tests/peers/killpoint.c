/*
 * killpoint.so, loaded by LD_PRELOAD into the program under test: ends it with SIGKILL just before or just after the n-th call of one system
 * function, counted over all threads. So the kill tests can stand between any two steps of any stage without a hook in the product.
 *   KILLPOINT="fsync:12:before"     which function, which call, before or after it
 *   KILLPOINT_AT=437                whatever it does, 437 ms after its start, if it still runs then
 *   KILLPOINT_COUNTS=FILE           without a kill: how often each function was called, written at exit, "name count" a line
 * Build: gcc -shared -fPIC -O2 -o killpoint.so killpoint.c -ldl
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/types.h>
#include <time.h>
#include <unistd.h>

enum call { FSYNC, FDATASYNC, RENAME, PWRITE, WRITE, SEND, RECV, UNLINK, CALLS };
static const char *names[CALLS] = {"fsync", "fdatasync", "rename", "pwrite", "write", "send", "recv", "unlink"};
static atomic_long counts[CALLS];
static int fatal_call = -1;
static long fatal_count;
static int fatal_before;

__attribute__((constructor)) static void set_clock(void) {
  const char *text = getenv("KILLPOINT_AT");
  if (!text) return;
  struct sigevent event = {.sigev_notify = SIGEV_SIGNAL, .sigev_signo = SIGKILL};
  struct itimerspec at = {.it_value = {.tv_sec = atol(text) / 1000, .tv_nsec = atol(text) % 1000 * 1000000L}};
  timer_t timer;
  if (timer_create(CLOCK_MONOTONIC, &event, &timer) == 0) timer_settime(timer, 0, &at, NULL);
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

#define WRAP(call, type, name, parameters, arguments)          \
  type name parameters {                                       \
    static type(*real) parameters;                             \
    if (!real) real = (type(*) parameters)dlsym(RTLD_NEXT, #name); \
    int fatal = enter(call);                                   \
    type result = real arguments;                              \
    leave(fatal);                                              \
    return result;                                             \
  }

WRAP(FSYNC, int, fsync, (int fd), (fd))
WRAP(FDATASYNC, int, fdatasync, (int fd), (fd))
WRAP(RENAME, int, rename, (const char *from, const char *to), (from, to))
WRAP(UNLINK, int, unlink, (const char *path), (path))
WRAP(PWRITE, ssize_t, pwrite, (int fd, const void *buffer, size_t size, off_t at), (fd, buffer, size, at))
WRAP(PWRITE, ssize_t, pwrite64, (int fd, const void *buffer, size_t size, off64_t at), (fd, buffer, size, at))
WRAP(WRITE, ssize_t, write, (int fd, const void *buffer, size_t size), (fd, buffer, size))
WRAP(SEND, ssize_t, send, (int fd, const void *buffer, size_t size, int flags), (fd, buffer, size, flags))
WRAP(SEND, ssize_t, sendmsg, (int fd, const struct msghdr *message, int flags), (fd, message, flags))
WRAP(RECV, ssize_t, recv, (int fd, void *buffer, size_t size, int flags), (fd, buffer, size, flags))
WRAP(RECV, ssize_t, recvmsg, (int fd, struct msghdr *message, int flags), (fd, message, flags))
