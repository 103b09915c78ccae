/*
 * loopbind.so, loaded by LD_PRELOAD into a peer that has no option for the address it listens on (dcmtk, Orthanc): whoever wants to listen on
 * all addresses gets the loopback address instead, so that tests open nothing to the network.
 * Build: gcc -shared -fPIC -O2 -o loopbind.so loopbind.c -ldl
 */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <dlfcn.h>
#include <netinet/in.h>
#include <string.h>
#include <sys/socket.h>

typedef int (*bind_function)(int, const struct sockaddr *, socklen_t);

int bind(int descriptor, const struct sockaddr *address, socklen_t length)
{
    static bind_function next;
    struct sockaddr_storage changed;

    if (next == NULL)
        next = (bind_function)dlsym(RTLD_NEXT, "bind");
    if (address == NULL || length > sizeof changed)
        return next(descriptor, address, length);

    memcpy(&changed, address, length);
    if (changed.ss_family == AF_INET && length >= sizeof(struct sockaddr_in)) {
        struct sockaddr_in *four = (struct sockaddr_in *)&changed;
        if (four->sin_addr.s_addr == htonl(INADDR_ANY))
            four->sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    } else if (changed.ss_family == AF_INET6 && length >= sizeof(struct sockaddr_in6)) {
        struct sockaddr_in6 *six = (struct sockaddr_in6 *)&changed;
        /* The mapped IPv4 address, since clients of a test connect to 127.0.0.1. */
        if (IN6_IS_ADDR_UNSPECIFIED(&six->sin6_addr))
            inet_pton(AF_INET6, "::ffff:127.0.0.1", &six->sin6_addr);
    }
    return next(descriptor, (const struct sockaddr *)&changed, length);
}
