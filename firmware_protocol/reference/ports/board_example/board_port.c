/* An example to adapt: a port for a common 32-bit microcontroller with a 24-bit bridge amplifier
 * and an IMU on SPI, and USB serial.
 *
 * THIS FILE HAS NOT BEEN RUN. It is compiled by the tests, so that it fits perpend_port.h, and
 * that is all. Every function named hal_... is a placeholder that your vendor's library fills in;
 * they are gathered in hal_placeholders.h with what each must do.
 *
 * How it works: a data-ready interrupt of each chip reads one sample and puts it, with the tick,
 * into a ring that the main loop empties. The ring has one writer and one reader, each of which
 * moves only its own index, so no lock is needed on a single core. */
#include "hal_placeholders.h"
#include "perpend_rig.h"

#define HELD 64u /* samples in a ring: a power of two, 64 ms of force */

typedef struct {
    int32_t counts[PERPEND_MAX_CHANNELS];
    uint32_t taken_us, dropped_before;
    bool bridge_open;
} held_sample;

typedef struct {
    held_sample samples[HELD];
    volatile uint32_t put, got; /* count up and wrap; their difference is what is held */
    uint32_t dropped;           /* since the last one that found room; the interrupt's own */
    volatile bool on;
} sample_ring;

static perpend_rig rig;
static sample_ring rings[2];
static uint32_t boot_count;

/* ---- what to change first: who this rig is, its streams, scales and rails ---- */

static const perpend_channel force_channels[] = {
    {{2, "fx"}, {5, "count"}, 1.0f, -8388608, 8388607},
    {{2, "fy"}, {5, "count"}, 1.0f, -8388608, 8388607},
    {{2, "fz"}, {5, "count"}, 1.0f, -8388608, 8388607}};
#define ACCEL(name) {{2, name}, {4, "m/s2"}, 1.1971008e-3f, -32768, 32767}  /* 4 g */
#define GYRO(name) {{2, name}, {5, "rad/s"}, 1.3315805e-4f, -32768, 32767} /* 250 deg/s */
static const perpend_channel imu_channels[] = {ACCEL("ax"), ACCEL("ay"), ACCEL("az"),
                                               GYRO("gx"),  GYRO("gy"),  GYRO("gz")};
static const perpend_stream streams[] = {
    {1, {5, "force"}, PERPEND_INT32, 1000.0f, 3, force_channels},
    {2, {3, "imu"}, PERPEND_INT16, 500.0f, 6, imu_channels}};
static const perpend_description about = {"board example 1", "CHANGE-ME", 2, streams};

/* ---- interrupts ---- */

/* Call it from the data-ready interrupt of the chip that samples this stream. */
void board_on_data_ready(uint8_t stream)
{
    sample_ring *const ring = &rings[stream];
    const uint32_t now_us = hal_micros(); /* first of all: this is when it was taken */
    if (!ring->on) {
        return;
    }
    if (ring->put - ring->got == HELD) {
        hal_skip_sample(stream);
        ring->dropped++;
        return;
    }
    held_sample *const place = &ring->samples[ring->put % HELD];
    place->bridge_open = hal_read_sample(stream, place->counts);
    place->taken_us = now_us;
    place->dropped_before = ring->dropped;
    ring->dropped = 0;
    hal_memory_barrier(); /* the sample is whole before the index tells of it */
    ring->put = ring->put + 1u;
}

/* ---- the port ---- */

const perpend_description *perpend_port_description(void) { return &about; }
uint32_t perpend_port_boot_count(void) { return boot_count; }
uint32_t perpend_port_micros(void) { return hal_micros(); }

float perpend_port_nearest_rate(uint8_t stream, float wanted_hz)
{
    static const float rates_hz[2][3] = {{1000.0f, 500.0f, 250.0f}, {500.0f, 200.0f, 100.0f}};
    float nearest_hz = rates_hz[stream][0];
    for (uint8_t i = 1; i < 3; i++) {
        const float off_hz = wanted_hz - rates_hz[stream][i];
        const float best_hz = wanted_hz - nearest_hz;
        if (off_hz * off_hz < best_hz * best_hz) {
            nearest_hz = rates_hz[stream][i];
        }
    }
    return nearest_hz;
}

bool perpend_port_begin(uint8_t stream, float rate_hz)
{
    hal_stop_sampling(stream); /* no interrupt from here on: both indices are ours */
    rings[stream].got = rings[stream].put;
    rings[stream].dropped = 0;
    rings[stream].on = true;
    return hal_start_sampling(stream, rate_hz);
}

void perpend_port_end(uint8_t stream)
{
    hal_stop_sampling(stream);
    rings[stream].on = false;
}

bool perpend_port_read(uint8_t stream, perpend_sample *sample)
{
    sample_ring *const ring = &rings[stream];
    if (ring->got == ring->put) {
        return false;
    }
    hal_memory_barrier();
    const held_sample *const oldest = &ring->samples[ring->got % HELD];
    for (uint8_t i = 0; i < streams[stream].channel_count; i++) {
        sample->counts[i] = oldest->counts[i];
    }
    sample->taken_us = oldest->taken_us;
    sample->dropped_before = oldest->dropped_before;
    sample->bridge_open = oldest->bridge_open;
    hal_memory_barrier(); /* taken out before its place is given back */
    ring->got = ring->got + 1u;
    return true;
}

bool perpend_port_zero(uint8_t stream) { return stream == 0 && hal_balance_bridge(); }
bool perpend_port_self_test(char *detail)
{
    if (!hal_bridge_answers()) {
        perpend_copy_text(detail, PERPEND_DETAIL, "bridge amplifier does not answer");
    } else if (!hal_imu_answers()) {
        perpend_copy_text(detail, PERPEND_DETAIL, "IMU does not answer");
    } else if (!hal_store_is_whole()) {
        perpend_copy_text(detail, PERPEND_DETAIL, "store is damaged");
    }
    return detail[0] == 0;
}

size_t perpend_port_write(const uint8_t *bytes, size_t size) { return hal_usb_write(bytes, size); }

size_t perpend_port_store_read(const perpend_name *key, uint8_t *value, size_t room)
{
    return hal_store_read(key->text, key->size, value, room);
}

bool perpend_port_store_key(size_t place, perpend_name *key)
{
    key->size = hal_store_key(place, key->text, sizeof key->text);
    return key->size > 0;
}

perpend_outcome perpend_port_store_write(const perpend_name *key, const uint8_t *value, size_t size)
{
    if (!hal_store_has_room(key->size, size)) {
        return PERPEND_STORE_FULL;
    }
    const bool kept = hal_store_write(key->text, key->size, value, size);
    return kept ? PERPEND_DONE : PERPEND_STORE_FAILED;
}

int main(void)
{
    uint8_t bytes[64];
    hal_begin();
    boot_count = hal_count_boot();
    if (!perpend_rig_power_up(&rig)) {
        hal_halt(); /* rig.unfit says what is wrong with the description above */
    }
    for (;;) {
        perpend_rig_receive(&rig, bytes, hal_usb_read(bytes, sizeof bytes));
        perpend_rig_poll(&rig);
    }
}
