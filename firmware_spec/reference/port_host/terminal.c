#define _XOPEN_SOURCE 700

#include "terminal.h"

#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

/* No echo, no translation: bytes as they are. */
static void make_raw(const char *path)
{
    struct termios settings;
    int other = open(path, O_RDWR | O_NOCTTY);

    if (other < 0)
        return;
    tcgetattr(other, &settings);
    settings.c_iflag = 0;
    settings.c_oflag = 0;
    settings.c_lflag = 0;
    settings.c_cflag = CS8 | CREAD | CLOCAL;
    tcsetattr(other, TCSANOW, &settings);
    close(other);
}

/* The link appears at once and whole, and takes the place of an older link. */
static bool point_at(const char *link_path, const char *path)
{
    char fresh[4096];
    int length = snprintf(fresh, sizeof fresh, "%s.new", link_path);

    if (length < 0 || (size_t)length >= sizeof fresh)
        return false;
    unlink(fresh);
    return !symlink(path, fresh) && !rename(fresh, link_path);
}

int terminal_open(const char *link_path)
{
    int terminal = posix_openpt(O_RDWR | O_NOCTTY);
    const char *path;

    if (terminal < 0 || grantpt(terminal) || unlockpt(terminal) || !(path = ptsname(terminal))) {
        perror("pseudo-terminal");
        return -1;
    }
    make_raw(path);
    if (fcntl(terminal, F_SETFL, O_NONBLOCK) || (link_path && !point_at(link_path, path))) {
        perror(link_path ? link_path : path);
        return -1;
    }
    printf("%s\n", link_path ? link_path : path);
    fflush(stdout);
    return terminal;
}

bool terminal_listening(int terminal)
{
    struct pollfd end = {terminal, POLLOUT, 0};

    return poll(&end, 1, 0) >= 0 && !(end.revents & POLLHUP);
}
