#define _GNU_SOURCE
#include "port.h"

#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/inotify.h>
#include <termios.h>
#include <unistd.h>

static int host_side = -1, own_side = -1, watch = -1, opens;
static const char *link_path;
static uint8_t to_host[4096], from_host[4096];
static size_t to_host_length, from_host_length, from_host_at;

static void fail(const char *what) {
    perror(what);
    exit(1);
}

void plug_begin(const char *link) {
    host_side = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (host_side < 0 || grantpt(host_side) || unlockpt(host_side))
        fail("no pseudo-terminal");
    const char *name = ptsname(host_side);
    /* Held open, so that the line does not hang up between two hosts. */
    own_side = open(name, O_RDWR | O_NOCTTY);
    struct termios raw;
    if (own_side < 0 || tcgetattr(own_side, &raw))
        fail(name);
    cfmakeraw(&raw);
    tcsetattr(own_side, TCSANOW, &raw);
    watch = inotify_init1(IN_NONBLOCK);
    inotify_add_watch(watch, name, IN_OPEN | IN_CLOSE);
    if (link) {
        unlink(link);
        if (symlink(name, link))
            fail(link);
        link_path = link;
    }
    printf("the board is at %s\n", name);
    fflush(stdout);
}

bool plug_opened(void) {
    char notes[sizeof(struct inotify_event) * 16 + NAME_MAX];
    bool opened = false;
    ssize_t length;
    while (watch >= 0 && (length = read(watch, notes, sizeof notes)) > 0) {
        for (char *at = notes; at < notes + length; at += sizeof(struct inotify_event) + ((struct inotify_event *)at)->len) {
            bool open_now = ((struct inotify_event *)at)->mask & IN_OPEN;
            /* A second opening by the same host is not another plugging in. */
            opened |= open_now && opens == 0;
            opens += open_now ? 1 : -1;
            /* Two openings at once may be told as one, and their closings as two. */
            if (opens < 0)
                opens = 0;
        }
    }
    if (opens <= 0 && own_side >= 0)
        tcflush(own_side, TCIFLUSH);
    return opened;
}

/* While nobody has the port open, what is said is lost, as with a real one. */
void plug_send(uint8_t byte) {
    if (host_side >= 0 && opens > 0 && to_host_length < sizeof to_host)
        to_host[to_host_length++] = byte;
}

void plug_flush(void) {
    if (host_side < 0 || to_host_length == 0)
        return;
    ssize_t written = write(host_side, to_host, to_host_length);
    if (written < 0)
        written = 0;
    to_host_length -= (size_t)written;
    for (size_t i = 0; i < to_host_length; i++)
        to_host[i] = to_host[i + (size_t)written];
}

void plug_listen(void) {
    if (host_side < 0 || from_host_at < from_host_length)
        return;
    ssize_t length = read(host_side, from_host, sizeof from_host);
    from_host_at = 0;
    from_host_length = length > 0 ? (size_t)length : 0;
    /* Whoever speaks is there for certain. */
    if (length > 0 && opens == 0)
        opens = 1;
}

int plug_heard(void) { return from_host_at < from_host_length ? from_host[from_host_at++] : -1; }

void plug_end(void) {
    if (link_path)
        unlink(link_path);
}
