/* The file is one record behind the other: key length, key, value length (2 bytes), value. It is
 * written anew beside the old one and renamed over it, so that a power-off leaves either. */
#include "store.h"

#include <stdio.h>
#include <string.h>

#define KEYS 32

static struct { perpend_name key; uint8_t value[PERPEND_MAX_PAYLOAD]; size_t size; } kept[KEYS];
static const char *file_path;

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

static bool save(void)
{
    char beside[4096];
    const int length = snprintf(beside, sizeof beside, "%s.new", file_path);
    FILE *const file = length > 0 && (size_t)length < sizeof beside ? fopen(beside, "wb") : NULL;
    bool good = file != NULL;
    for (size_t i = 0; good && i < KEYS; i++) {
        const uint8_t size[2] = {(uint8_t)kept[i].size, (uint8_t)(kept[i].size >> 8)};
        good = kept[i].size == 0
               || (fputc(kept[i].key.size, file) != EOF
                   && fwrite(kept[i].key.text, 1, kept[i].key.size, file) == kept[i].key.size
                   && fwrite(size, 1, 2, file) == 2
                   && fwrite(kept[i].value, 1, kept[i].size, file) == kept[i].size);
    }
    good = (file == NULL || fclose(file) == 0) && good;
    return good && rename(beside, file_path) == 0;
}

static bool load(FILE *file)
{
    for (size_t i = 0; i < KEYS; i++) {
        uint8_t size[2];
        const int key_size = fgetc(file);
        if (key_size == EOF) {
            return true;
        }
        kept[i].key.size = (uint8_t)key_size;
        if (key_size > (int)PERPEND_NAME
            || fread(kept[i].key.text, 1, kept[i].key.size, file) != kept[i].key.size
            || fread(size, 1, 2, file) != 2) {
            return false;
        }
        kept[i].size = (size_t)(size[0] | size[1] << 8);
        if (kept[i].size == 0 || kept[i].size > PERPEND_MAX_PAYLOAD
            || fread(kept[i].value, 1, kept[i].size, file) != kept[i].size) {
            return false;
        }
    }
    return fgetc(file) == EOF;
}

bool store_open(const char *path)
{
    file_path = path;
    FILE *const file = path ? fopen(path, "rb") : NULL;
    const bool good = file == NULL || load(file);
    if (file != NULL) {
        fclose(file);
    }
    return good;
}

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

bool perpend_port_store_write(const perpend_name *key, const uint8_t *value, size_t size)
{
    const size_t old = place_of(key);
    const size_t i = old < KEYS ? old : free_place();
    if (size == 0 && old == KEYS) {
        return true; /* there was none */
    }
    if (i == KEYS || size > PERPEND_MAX_PAYLOAD) {
        return false;
    }
    static uint8_t before[PERPEND_MAX_PAYLOAD];
    const size_t size_before = kept[i].size;
    memcpy(before, kept[i].value, size_before);
    kept[i].key = *key;
    memcpy(kept[i].value, value, size);
    kept[i].size = size;
    if (file_path != NULL && !save()) {
        memcpy(kept[i].value, before, size_before);
        kept[i].size = size_before;
        return false;
    }
    return true;
}
