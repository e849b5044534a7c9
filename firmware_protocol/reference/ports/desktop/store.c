/* The file is one record behind the other: key length, key, value length (2 bytes), value. The
 * record with the empty key, which no host can write, is the boot count (4 bytes).
 *
 * It is written anew beside the old one, brought to the disk, and renamed over it, so that a
 * power-off leaves either. All numbers are little-endian. */
#define _XOPEN_SOURCE 600
#include "store.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define KEYS 32
#define PATH_ROOM 4096

static struct { perpend_name key; uint8_t value[PERPEND_MAX_PAYLOAD]; size_t size; } kept[KEYS];
static const char *file_path;
static uint32_t boot_count;

static size_t place_of(const perpend_name *key)
{
    size_t i = 0;
    while (i < KEYS && !(kept[i].size > 0 && kept[i].key.size == key->size
                         && memcmp(kept[i].key.text, key->text, key->size) == 0)) {
        i++;
    }
    return i;
}

static size_t free_place(void)
{
    size_t i = 0;
    while (i < KEYS && kept[i].size > 0) {
        i++;
    }
    return i;
}

/* ---- the file ---- */

static bool put(FILE *file, const perpend_name *key, const uint8_t *value, size_t size)
{
    const uint8_t length[2] = {(uint8_t)size, (uint8_t)(size >> 8)};
    return fputc(key->size, file) != EOF && fwrite(key->text, 1, key->size, file) == key->size
           && fwrite(length, 1, 2, file) == 2 && fwrite(value, 1, size, file) == size;
}

static bool put_all(FILE *file)
{
    const perpend_name nobody = {0, ""};
    const uint8_t boots[4] = {(uint8_t)boot_count, (uint8_t)(boot_count >> 8),
                              (uint8_t)(boot_count >> 16), (uint8_t)(boot_count >> 24)};
    bool good = put(file, &nobody, boots, sizeof boots);
    for (size_t i = 0; good && i < KEYS; i++) {
        good = kept[i].size == 0 || put(file, &kept[i].key, kept[i].value, kept[i].size);
    }
    return good && fflush(file) == 0 && fsync(fileno(file)) == 0;
}

/* A rename is safe only when the folder is on the disk too. Where a folder cannot be brought
 * there (EINVAL), nobody can do better. */
static bool bring_folder(void)
{
    char folder[PATH_ROOM];
    const char *const slash = strrchr(file_path, '/');
    const size_t size = slash == NULL ? 0 : (size_t)(slash - file_path) + 1u;
    memcpy(folder, slash == NULL ? "." : file_path, slash == NULL ? 1u : size);
    folder[slash == NULL ? 1u : size] = 0;
    const int handle = open(folder, O_RDONLY);
    const bool good = handle >= 0 && (fsync(handle) == 0 || errno == EINVAL);
    if (handle >= 0) {
        close(handle);
    }
    return good;
}

static perpend_outcome save(void)
{
    char beside[PATH_ROOM];
    const int length = snprintf(beside, sizeof beside, "%s.new", file_path);
    FILE *const file = length > 0 && (size_t)length < sizeof beside ? fopen(beside, "wb") : NULL;
    if (file == NULL) {
        return PERPEND_STORE_FAILED;
    }
    bool good = put_all(file);
    const bool full = !good && (errno == ENOSPC || errno == EDQUOT);
    good = fclose(file) == 0 && good;
    if (!good || rename(beside, file_path) != 0) {
        remove(beside);
        return full ? PERPEND_STORE_FULL : PERPEND_STORE_FAILED;
    }
    return bring_folder() ? PERPEND_DONE : PERPEND_STORE_FAILED;
}

/* One record; false if there is none that makes sense. */
static bool load_one(FILE *file, int key_size, size_t i)
{
    uint8_t length[2];
    kept[i].key.size = (uint8_t)key_size;
    if (key_size > (int)PERPEND_NAME
        || fread(kept[i].key.text, 1, kept[i].key.size, file) != kept[i].key.size
        || fread(length, 1, 2, file) != 2) {
        return false;
    }
    const size_t size = (size_t)(length[0] | length[1] << 8);
    kept[i].size = size;
    return size > 0 && size <= PERPEND_MAX_PAYLOAD
           && fread(kept[i].value, 1, size, file) == size;
}

static bool load(FILE *file)
{
    size_t i = 0;
    for (int key_size = fgetc(file); key_size != EOF; key_size = fgetc(file)) {
        if (i == KEYS || !load_one(file, key_size, i)) {
            return false;
        }
        if (key_size > 0) {
            i++;
        } else if (kept[i].size == 4) {
            const uint8_t *const boots = kept[i].value;
            boot_count = (uint32_t)boots[0] | (uint32_t)boots[1] << 8 | (uint32_t)boots[2] << 16
                         | (uint32_t)boots[3] << 24;
            kept[i].size = 0;
        } else {
            return false;
        }
    }
    return !ferror(file);
}

const char *store_open(const char *path)
{
    file_path = path;
    if (path == NULL) {
        struct timespec now;
        clock_gettime(CLOCK_REALTIME, &now);
        boot_count = (uint32_t)((uint64_t)now.tv_sec * 1000000u + (uint64_t)now.tv_nsec / 1000u);
        return NULL;
    }
    FILE *const file = fopen(path, "rb");
    if (file == NULL && errno != ENOENT) {
        return "cannot be read";
    }
    const bool good = file == NULL || load(file);
    if (file != NULL) {
        fclose(file);
    }
    if (!good) {
        return "is no store; move it away to begin a new one";
    }
    boot_count++;
    return save() == PERPEND_DONE ? NULL : "cannot be written; choose another place for the store";
}

uint32_t store_boot_count(void) { return boot_count; }
bool store_works(void) { return file_path == NULL || save() == PERPEND_DONE; }

/* ---- the port ---- */

size_t perpend_port_store_read(const perpend_name *key, uint8_t *value, size_t room)
{
    const size_t i = place_of(key);
    if (i == KEYS || kept[i].size > room) {
        return 0;
    }
    memcpy(value, kept[i].value, kept[i].size);
    return kept[i].size;
}

bool perpend_port_store_key(size_t place, perpend_name *key)
{
    for (size_t i = 0; i < KEYS; i++) {
        if (kept[i].size > 0 && place-- == 0) {
            *key = kept[i].key;
            return true;
        }
    }
    return false;
}

perpend_outcome perpend_port_store_write(const perpend_name *key, const uint8_t *value, size_t size)
{
    const size_t old = place_of(key);
    const size_t i = old < KEYS ? old : free_place();
    if (size == 0 && old == KEYS) {
        return PERPEND_DONE; /* there was none */
    }
    if (i == KEYS || size > PERPEND_MAX_PAYLOAD) {
        return PERPEND_STORE_FULL;
    }
    static uint8_t before[PERPEND_MAX_PAYLOAD];
    const size_t size_before = kept[i].size;
    memcpy(before, kept[i].value, size_before);
    kept[i].key = *key;
    memcpy(kept[i].value, value, size);
    kept[i].size = size;
    const perpend_outcome outcome = file_path == NULL ? PERPEND_DONE : save();
    if (outcome != PERPEND_DONE) {
        memcpy(kept[i].value, before, size_before);
        kept[i].size = size_before;
    }
    return outcome;
}
