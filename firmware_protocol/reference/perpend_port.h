/* What a board must give: the only file between the reference and your hardware.
 *
 * Everything is called from perpend_rig_poll and perpend_rig_receive, one at a time, never from
 * an interrupt. None of these functions may wait, except the zeroing, the self-test and writing
 * the store, which are called at rest only; PROTOCOL.md, section 5, says how long a host waits. */
#ifndef PERPEND_PORT_H
#define PERPEND_PORT_H

#include "perpend_message.h"

#ifndef PERPEND_MAX_STREAMS
#define PERPEND_MAX_STREAMS 2
#endif
#ifndef PERPEND_MAX_CHANNELS
#define PERPEND_MAX_CHANNELS 6 /* of one stream */
#endif
#ifndef PERPEND_BLOCK_BYTES
#define PERPEND_BLOCK_BYTES 512 /* data of one block, held for each stream */
#endif
#ifndef PERPEND_OUTBOX_BYTES
#define PERPEND_OUTBOX_BYTES 4096 /* what waits for the line, answers included */
#endif

typedef struct {
    int32_t counts[PERPEND_MAX_CHANNELS]; /* as the converter gave them */
    uint32_t taken_us;                    /* perpend_port_micros when it was taken */
    uint32_t dropped_before;              /* samples that your buffer lost just before it */
    bool bridge_open;                     /* the amplifier says so */
} perpend_sample;

/* Who this rig is: lives as long as the program. */
typedef struct {
    const char *firmware_version;
    const char *rig_serial;
    uint8_t stream_count; /* at most PERPEND_MAX_STREAMS */
    const perpend_stream *streams;
} perpend_description;

/* The stream table. Below, a stream is called by its place in this table, from 0. */
const perpend_description *perpend_port_description(void);

/* Counted up at every power-up, and kept over it; without memory for it, a number that is hardly
 * ever the same twice, from a clock or noise. */
uint32_t perpend_port_boot_count(void);

/* A free-running microsecond counter that wraps at 2^32; it may begin anywhere. */
uint32_t perpend_port_micros(void);

/* The rate nearest to the wanted one, 0 to 100 000, that the converter can do. Changes nothing
 * yet. */
float perpend_port_nearest_rate(uint8_t stream, float wanted_hz);

/* Begin sampling at this rate, forgetting samples from before; false if the converter does not
 * begin. And end it: samples taken until then can still be read. */
bool perpend_port_begin(uint8_t stream, float rate_hz);
void perpend_port_end(uint8_t stream);

/* The next sample that was taken, oldest first; false if there is none yet. */
bool perpend_port_read(uint8_t stream, perpend_sample *sample);

/* Let the amplifiers balance themselves; false if they cannot. */
bool perpend_port_zero(uint8_t stream);

/* Test bridges, IMU and store; false with a few words for people. `detail` has room for
 * PERPEND_DETAIL characters and an end mark, and comes empty. */
bool perpend_port_self_test(char *detail);

/* Give bytes to the line; returns how many it took, 0 if it is full. What it took should leave
 * within 2 ms: the time in a Pong is that of its first byte here. */
size_t perpend_port_write(const uint8_t *bytes, size_t size);

/* The value of a key into `value`; returns its length, 0 if there is none or no room. */
size_t perpend_port_store_read(const perpend_name *key, uint8_t *value, size_t room);

/* The key at this place, from 0 on, in any order; false if there are not so many. */
bool perpend_port_store_key(size_t place, perpend_name *key);

/* Keep a value, an empty one removes the key. PERPEND_DONE only when it will be there after a
 * power-off; PERPEND_STORE_FULL if there is no room, PERPEND_STORE_FAILED if the memory does not
 * take it. Must leave the old or the new value after a power-off in the middle. */
perpend_outcome perpend_port_store_write(const perpend_name *key, const uint8_t *value,
                                         size_t size);

#endif
