/* The store of the desktop port with its calls to the system traced; store.c is built with
 * -Dfsync=traced_fsync -Drename=traced_rename.
 *
 *   store FILE VALUE FAILING    opens FILE, then keeps VALUE under "k" while the call with this
 *                               number fails (0: none, -1: the first, as the disk is full); prints what was called then, the
 *                               outcome, what is kept now and the boot count
 */
#define _XOPEN_SOURCE 600
#undef fsync
#undef rename
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "ports/desktop/store.h"

int traced_fsync(int handle);
int traced_rename(const char *from, const char *to);

static bool tracing;
static bool full;
static int failing;

static bool fails(const char *what)
{
    if (tracing) {
        printf("%s ", what);
        errno = full ? ENOSPC : EIO;
        return --failing == 0;
    }
    return false;
}

int traced_fsync(int handle)
{
    struct stat about;
    const bool folder = fstat(handle, &about) == 0 && S_ISDIR(about.st_mode);
    return fails(folder ? "folder" : "file") ? -1 : fsync(handle);
}

int traced_rename(const char *from, const char *to)
{
    return fails("rename") ? -1 : rename(from, to);
}

int main(int count, char **words)
{
    if (count != 4) {
        return 2;
    }
    const perpend_name key = {1, "k"};
    const char *const trouble = store_open(words[1]);
    if (trouble != NULL) {
        printf("%s\n", trouble);
        return 1;
    }
    full = atoi(words[3]) < 0;
    failing = abs(atoi(words[3]));
    tracing = true;
    const perpend_outcome outcome =
        perpend_port_store_write(&key, (const uint8_t *)words[2], strlen(words[2]));
    tracing = false;
    uint8_t value[PERPEND_MAX_PAYLOAD];
    const size_t size = perpend_port_store_read(&key, value, sizeof value);
    printf("%d '%.*s' %u\n", outcome, (int)size, (const char *)value, store_boot_count());
    return 0;
}
