/* A rig whose port is played from stdin; one order a line, one answer a line.
 *
 *   describe HEX                      take serial and streams from the payload of an Identity
 *   power TICK                        power-up with the tick at TICK
 *   tick TICK                         set the microsecond counter
 *   sample STREAM TICK DROPPED OPEN C C C [C C C]
 *   room BYTES                        how much the line will take from now on
 *   store BYTES                       how many bytes the store can hold
 *   flash BROKEN                      1: the store does not take what is written
 *   dead STREAM                       its converter does not begin; 2: all do
 *   test WORDS                        what the self-test finds, nothing: all is well
 *   host HEX                          bytes from the host, then a poll; answers what was sent
 *   counts                            damaged frames and malformed payloads
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "perpend_rig.h"

#define HELD 512

static perpend_rig rig;
static char line[1 << 16];
static uint32_t tick_us;
static size_t line_room = SIZE_MAX;
static size_t store_room = 900;
static bool flash_broken;
static uint32_t dead_stream = 2;
static char found[80];
static struct { perpend_sample samples[HELD]; size_t begin, end; bool on; } held[2];
static struct { perpend_name key; uint8_t value[1024]; size_t size; } kept[4];

static const perpend_channel force_channels[3] = {
    {{2, "fx"}, {5, "count"}, 1.0f, -8388608, 8388607},
    {{2, "fy"}, {5, "count"}, 1.0f, -8388608, 8388607},
    {{2, "fz"}, {5, "count"}, 1.0f, -8388608, 8388607}};
static const perpend_channel imu_channels[6] = {
    {{2, "ax"}, {4, "m/s2"}, 0.001f, -32768, 32767},
    {{2, "ay"}, {4, "m/s2"}, 0.001f, -32768, 32767},
    {{2, "az"}, {4, "m/s2"}, 0.001f, -32768, 32767},
    {{2, "gx"}, {5, "rad/s"}, 0.0001f, -32768, 32767},
    {{2, "gy"}, {5, "rad/s"}, 0.0001f, -32768, 32767},
    {{2, "gz"}, {5, "rad/s"}, 0.0001f, -32768, 32767}};
static const perpend_stream streams[2] = {
    {1, {5, "force"}, PERPEND_INT32, 1000.0f, 3, force_channels},
    {2, {3, "imu"}, PERPEND_INT16, 500.0f, 6, imu_channels}};
static perpend_description about = {"driver 1", "D00", 2, streams};

const perpend_description *perpend_port_description(void) { return &about; }
uint32_t perpend_port_boot_count(void) { return 7; }
uint32_t perpend_port_micros(void) { return tick_us; }
bool perpend_port_zero(uint8_t stream) { return stream == 0; }
void perpend_port_end(uint8_t stream) { held[stream].on = false; }

float perpend_port_nearest_rate(uint8_t stream, float wanted_hz)
{
    (void)stream;
    const float off_hz = wanted_hz - 500.0f, best_hz = wanted_hz - 1000.0f;
    return off_hz * off_hz < best_hz * best_hz ? 500.0f : 1000.0f;
}

bool perpend_port_begin(uint8_t stream, float rate_hz)
{
    (void)rate_hz;
    held[stream].begin = held[stream].end = 0;
    held[stream].on = stream != dead_stream;
    return held[stream].on;
}

bool perpend_port_read(uint8_t stream, perpend_sample *sample)
{
    if (held[stream].begin == held[stream].end) {
        return false;
    }
    *sample = held[stream].samples[held[stream].begin++ % HELD];
    return true;
}

bool perpend_port_self_test(char *detail)
{
    strcpy(detail, found);
    return found[0] == 0;
}

size_t perpend_port_write(const uint8_t *bytes, size_t size)
{
    const size_t taken = size < line_room ? size : line_room;
    line_room -= taken;
    for (size_t i = 0; i < taken; i++) {
        printf("%02x", bytes[i]);
    }
    return taken;
}

static size_t slot_of(const perpend_name *key)
{
    size_t i = 0;
    while (i < 4 && (kept[i].key.size != key->size
                     || memcmp(kept[i].key.text, key->text, key->size) != 0)) {
        i++;
    }
    return i;
}

size_t perpend_port_store_read(const perpend_name *key, uint8_t *value, size_t room)
{
    const size_t i = slot_of(key);
    if (i == 4 || kept[i].size > room) {
        return 0;
    }
    memcpy(value, kept[i].value, kept[i].size);
    return kept[i].size;
}

bool perpend_port_store_key(size_t place, perpend_name *key)
{
    for (size_t i = 0; i < 4; i++) {
        if (kept[i].size > 0 && place-- == 0) {
            *key = kept[i].key;
            return true;
        }
    }
    return false;
}

perpend_outcome perpend_port_store_write(const perpend_name *key, const uint8_t *value, size_t size)
{
    size_t i = slot_of(key);
    for (size_t k = 0; i == 4 && k < 4; k++) {
        i = kept[k].size == 0 ? k : i;
    }
    if (flash_broken) {
        return PERPEND_STORE_FAILED;
    }
    if (i == 4 || size > store_room) {
        return PERPEND_STORE_FULL;
    }
    kept[i].key = *key;
    memcpy(kept[i].value, value, size);
    kept[i].size = size;
    return PERPEND_DONE;
}

static uint32_t word(void) { return (uint32_t)strtoll(strtok(NULL, " \n"), NULL, 10); }

static void describe(void)
{
    static perpend_table table;
    static char serial[PERPEND_NAME + 1];
    static uint8_t payload[PERPEND_MAX_PAYLOAD];
    const char *const hex = strtok(NULL, " \n");
    unsigned value;
    size_t size = 0;
    for (; sscanf(hex + 2 * size, "%2x", &value) == 1; size++) {
        payload[size] = (uint8_t)value;
    }
    perpend_message message;
    if (perpend_decode(payload, size, &message, &table) == PERPEND_OK) {
        memset(serial, 0, sizeof serial);
        memcpy(serial, message.as.identity.rig_serial.text, message.as.identity.rig_serial.size);
        about.rig_serial = serial;
        about.stream_count = message.as.identity.stream_count;
        about.streams = message.as.identity.streams;
    }
}

static void hold(void)
{
    const uint32_t stream = word();
    perpend_sample sample = {.taken_us = word()};
    sample.dropped_before = word();
    sample.bridge_open = word() != 0;
    for (uint32_t i = 0; i < streams[stream].channel_count; i++) {
        sample.counts[i] = (int32_t)strtol(strtok(NULL, " \n"), NULL, 10);
    }
    if (held[stream].on) {
        held[stream].samples[held[stream].end++ % HELD] = sample;
    }
}

static void host(void)
{
    const char *const hex = strtok(NULL, " \n");
    unsigned value;
    for (size_t i = 0; hex && sscanf(hex + i, "%2x", &value) == 1; i += 2) {
        const uint8_t byte = (uint8_t)value;
        perpend_rig_receive(&rig, &byte, 1);
    }
    perpend_rig_poll(&rig);
}

int main(void)
{
    while (fgets(line, sizeof line, stdin)) {
        const char *const order = strtok(line, " \n");
        if (strcmp(order, "power") == 0) {
            tick_us = word();
            printf("%s", perpend_rig_power_up(&rig) ? "up" : rig.unfit);
        } else if (strcmp(order, "describe") == 0) {
            describe();
        } else if (strcmp(order, "tick") == 0) {
            tick_us = word();
        } else if (strcmp(order, "sample") == 0) {
            hold();
        } else if (strcmp(order, "room") == 0) {
            line_room = word();
        } else if (strcmp(order, "store") == 0) {
            store_room = word();
        } else if (strcmp(order, "flash") == 0) {
            flash_broken = word() != 0;
        } else if (strcmp(order, "dead") == 0) {
            dead_stream = word();
        } else if (strcmp(order, "test") == 0) {
            const char *const words = strtok(NULL, "\n");
            snprintf(found, sizeof found, "%s", words ? words : "");
        } else if (strcmp(order, "counts") == 0) {
            printf("%" PRIu32 " %" PRIu32, rig.damaged_frames, rig.malformed);
        } else {
            host();
        }
        printf(".\n");
        fflush(stdout);
    }
    return 0;
}
