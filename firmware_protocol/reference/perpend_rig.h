/* The rig's end of PROTOCOL.md: commands, blocks, status and faults over perpend_port.h.
 *
 *     static perpend_rig rig;             (about 9 kB with the sizes of perpend_port.h)
 *     perpend_rig_power_up(&rig);
 *     for (;;) {
 *         perpend_rig_receive(&rig, what came, how much);
 *         perpend_rig_poll(&rig);         (at least every few milliseconds)
 *     }
 */
#ifndef PERPEND_RIG_H
#define PERPEND_RIG_H

#include "perpend_port.h"

#define PERPEND_FAULT_CODES 6u /* 1 to 5 */

/* A fault is told when it begins, and again only after it was away for a second. */
typedef struct {
    bool present, to_tell;
    uint64_t began_us, seen_us;
} perpend_fault_state;

typedef struct {
    float rate_hz;         /* from the next start on */
    uint8_t block_samples; /* likewise */
    float rate_now_hz;
    uint8_t block_now;
    uint32_t sequence; /* of the first sample in `data` */
    uint8_t count;
    uint64_t first_us, last_us;
    uint8_t data[PERPEND_BLOCK_BYTES];
    size_t size;
    uint64_t heard_us; /* when the sensor last gave a sample */
    perpend_fault_state faults[PERPEND_FAULT_CODES];
} perpend_stream_state;

typedef struct {
    const char *unfit; /* why power-up failed: the rule that is broken, or what does not fit */
    uint64_t now_us;
    uint32_t tick_us;
    uint64_t next_status_us;
    bool streaming;
    uint32_t overrun_samples;
    uint32_t damaged_frames; /* thrown away */
    uint32_t malformed;      /* whole, but nothing to obey */
    perpend_stream_state streams[PERPEND_MAX_STREAMS];
    perpend_decoder decoder;
    uint8_t payload[PERPEND_MAX_PAYLOAD];
    uint8_t frame[PERPEND_FRAME_ROOM];
    uint8_t outbox[PERPEND_OUTBOX_BYTES];
    size_t out_at, out_size; /* a ring: where it begins, how much is in it */
    bool mid_frame;          /* the last byte given to the line did not end a frame */
    bool pong_waits;         /* one at a time: the latest question */
    perpend_message pong;
} perpend_rig;

/* Clock to 0, idle. False, and of no use, if the port's description breaks a rule of PROTOCOL.md,
 * section 4, or does not fit the sizes of perpend_port.h or one payload; `unfit` says which. */
bool perpend_rig_power_up(perpend_rig *rig);

/* Take bytes from the line and obey what they say. */
void perpend_rig_receive(perpend_rig *rig, const uint8_t *bytes, size_t size);

/* Take samples, send blocks, status and faults, and give the line what it takes. Must be called
 * at least once in 2^32 microseconds, or a wrap of the tick is missed. */
void perpend_rig_poll(perpend_rig *rig);

/* Between the two halves: puts a message into the outbox, leaving `spare` bytes free there;
 * false if there is no room. And the clock, in 64 bits. */
bool perpend_rig_say(perpend_rig *rig, const perpend_message *message, size_t spare);
uint64_t perpend_rig_now(perpend_rig *rig);
/* Begins every stream; false, and idle, if a converter does not begin. */
bool perpend_rig_begin(perpend_rig *rig);
void perpend_rig_end(perpend_rig *rig);

#endif
