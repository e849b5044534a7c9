/* Blocks, status, faults and the line; commands are in perpend_commands.c. */
#include "perpend_rig.h"

#include <string.h>

#define SECOND_US 1000000u
#define SAMPLES_AT_ONCE 64  /* of a stream in one poll: the others have their turn */
#define SILENT_SAMPLES 10.0f /* so many periods without a sample are silence, */
#define SILENT_US 100000u    /* but no less than this */
#define SPARE_FOR_ANSWERS (PERPEND_OUTBOX_BYTES / 2) /* blocks leave this free */

/* The spare half must take the longest answer, the other half the longest block. */
typedef char outbox_is_too_small[PERPEND_OUTBOX_BYTES / 2 >= 1034 ? 1 : -1];
typedef char block_is_too_long[PERPEND_BLOCK_BYTES <= 1024 - 19 ? 1 : -1];

uint64_t perpend_rig_now(perpend_rig *rig)
{
    const uint32_t tick_us = perpend_port_micros();
    rig->now_us += (uint32_t)(tick_us - rig->tick_us); /* right across a wrap */
    rig->tick_us = tick_us;
    return rig->now_us;
}

static void put_outbox(perpend_rig *rig, const uint8_t *bytes, size_t size)
{
    for (size_t i = 0; i < size; i++) {
        rig->outbox[(rig->out_at + rig->out_size++) % PERPEND_OUTBOX_BYTES] = bytes[i];
    }
}

bool perpend_rig_say(perpend_rig *rig, const perpend_message *message, size_t spare)
{
    const size_t payload = perpend_encode(message, rig->payload);
    const size_t size = perpend_frame_encode(rig->payload, payload, rig->frame);
    if (size == 0 || size + spare > PERPEND_OUTBOX_BYTES - rig->out_size) {
        return false;
    }
    put_outbox(rig, rig->frame, size);
    return true;
}

/* How much of the outbox can go in one piece: up to where the ring begins anew, and while a Pong
 * waits no further than the end of the frame that is on the line. */
static size_t next_piece(const perpend_rig *rig)
{
    const size_t to_end = PERPEND_OUTBOX_BYTES - rig->out_at;
    const size_t piece = rig->out_size < to_end ? rig->out_size : to_end;
    const uint8_t *const bytes = rig->outbox + rig->out_at;
    const uint8_t *const end = rig->pong_waits && piece > 0 ? memchr(bytes, 0, piece) : NULL;
    return end == NULL ? piece : (size_t)(end - bytes) + 1u;
}

/* A Pong goes ahead of all that waits, as soon as no frame is half sent: so its time is that of
 * its own first byte. What the line leaves of it becomes the front of the outbox. */
static void send_pong(perpend_rig *rig)
{
    rig->pong.as.clock.sent_us = perpend_rig_now(rig);
    const size_t payload = perpend_encode(&rig->pong, rig->payload);
    const size_t size = perpend_frame_encode(rig->payload, payload, rig->frame);
    if (size > PERPEND_OUTBOX_BYTES - rig->out_size) {
        return; /* after the next frame there is room */
    }
    const size_t taken = perpend_port_write(rig->frame, size);
    rig->pong_waits = taken == 0;
    rig->mid_frame = taken > 0 && taken < size;
    for (size_t i = size; rig->mid_frame && i > taken; i--) {
        rig->out_at = (rig->out_at + PERPEND_OUTBOX_BYTES - 1u) % PERPEND_OUTBOX_BYTES;
        rig->outbox[rig->out_at] = rig->frame[i - 1u];
        rig->out_size++;
    }
}

static void empty_outbox(perpend_rig *rig)
{
    bool takes_more = true;
    while (takes_more) {
        if (rig->pong_waits && !rig->mid_frame) {
            send_pong(rig);
        }
        const size_t piece = next_piece(rig);
        const size_t taken =
            piece > 0 ? perpend_port_write(rig->outbox + rig->out_at, piece) : 0;
        if (taken > 0) {
            rig->mid_frame = rig->outbox[rig->out_at + taken - 1u] != 0;
            rig->out_at = (rig->out_at + taken) % PERPEND_OUTBOX_BYTES;
            rig->out_size -= taken;
        }
        takes_more = taken > 0 && taken == piece;
    }
}

/* ---- faults ---- */

static void see_fault(perpend_fault_state *fault, uint64_t at_us)
{
    if (!fault->present || at_us > fault->seen_us + SECOND_US) {
        fault->to_tell = true;
        fault->began_us = at_us;
    }
    fault->present = true;
    fault->seen_us = at_us;
}

static const char *words_for(uint8_t code)
{
    static const char *const words[PERPEND_FAULT_CODES] = {
        "", "a bridge is open", "a channel stands at its rail", "no sample from the IMU",
        "the line takes too little",
        "no sample from the converter"};
    return words[code];
}

static void tell_faults(perpend_rig *rig, uint8_t stream)
{
    for (uint8_t code = 1; code < PERPEND_FAULT_CODES; code++) {
        perpend_fault_state *const fault = &rig->streams[stream].faults[code];
        if (fault->to_tell) {
            perpend_message message = {.type = PERPEND_FAULT};
            message.as.fault.device_time_us = fault->began_us;
            message.as.fault.code = code;
            message.as.fault.stream_id = perpend_port_description()->streams[stream].stream_id;
            message.as.fault.detail.size = perpend_copy_text(
                message.as.fault.detail.text, PERPEND_DETAIL, words_for(code));
            fault->to_tell = !perpend_rig_say(rig, &message, 0); /* no room: again later */
        }
    }
}

/* ---- blocks ---- */

static void count_dropped(perpend_rig *rig, uint8_t stream, uint32_t samples)
{
    rig->overrun_samples += samples;
    see_fault(&rig->streams[stream].faults[PERPEND_BUFFER_OVERRUN], rig->now_us);
}

static void send_block(perpend_rig *rig, uint8_t stream)
{
    perpend_stream_state *const state = &rig->streams[stream];
    if (state->count == 0) {
        return;
    }
    perpend_message message = {.type = PERPEND_SAMPLE_BLOCK};
    message.as.block.stream_id = perpend_port_description()->streams[stream].stream_id;
    message.as.block.sequence = state->sequence;
    message.as.block.device_time_us = state->first_us;
    message.as.block.span_us = (uint32_t)(state->last_us - state->first_us);
    message.as.block.sample_count = state->count;
    message.as.block.data.bytes = state->data;
    message.as.block.data.size = state->size;
    if (!perpend_rig_say(rig, &message, SPARE_FOR_ANSWERS)) {
        count_dropped(rig, stream, state->count);
    }
    state->sequence += state->count;
    state->count = 0;
    state->size = 0;
}

static bool is_imu(const perpend_stream *stream)
{
    return stream->name.size == 3 && memcmp(stream->name.text, "imu", 3) == 0;
}

static void watch_silence(perpend_rig *rig, uint8_t stream)
{
    perpend_stream_state *const state = &rig->streams[stream];
    const float periods_us = SILENT_SAMPLES * 1e6f / state->rate_now_hz;
    const uint64_t limit_us = periods_us > (float)SILENT_US ? (uint64_t)periods_us : SILENT_US;
    const bool imu = is_imu(&perpend_port_description()->streams[stream]);
    if (rig->now_us - state->heard_us > limit_us) {
        see_fault(&state->faults[imu ? PERPEND_IMU_SILENT : PERPEND_STREAM_SILENT], rig->now_us);
        send_block(rig, stream); /* none spans a silence: times inside a block are even */
    }
}

static void add_sample(perpend_rig *rig, uint8_t stream, const perpend_sample *sample)
{
    perpend_stream_state *const state = &rig->streams[stream];
    const perpend_stream *const spec = &perpend_port_description()->streams[stream];
    /* The clock was read after the sample was taken, so this is never ahead of it. */
    const uint64_t at_us = rig->now_us - (uint32_t)(rig->tick_us - sample->taken_us);
    if (sample->dropped_before > 0) {
        send_block(rig, stream); /* a block holds consecutive samples only */
        state->sequence += sample->dropped_before;
        count_dropped(rig, stream, sample->dropped_before);
    }
    state->first_us = state->count == 0 ? at_us : state->first_us;
    state->last_us = at_us;
    state->heard_us = at_us;
    if (sample->bridge_open) {
        see_fault(&state->faults[PERPEND_BRIDGE_OPEN], at_us);
    }
    for (uint8_t i = 0; i < spec->channel_count; i++) {
        const int32_t value = sample->counts[i];
        if (value <= spec->channels[i].count_min || value >= spec->channels[i].count_max) {
            see_fault(&state->faults[PERPEND_CONVERTER_SATURATED], at_us);
        }
        state->size += perpend_put_value(spec->sample_type, value, state->data + state->size);
    }
    if (++state->count >= state->block_now) {
        send_block(rig, stream);
    }
}

/* Returns whether all there were are taken. */
static bool take_samples(perpend_rig *rig, uint8_t stream)
{
    perpend_sample sample;
    for (int i = 0; i < SAMPLES_AT_ONCE; i++) {
        memset(&sample, 0, sizeof sample);
        if (!perpend_port_read(stream, &sample)) {
            return true;
        }
        perpend_rig_now(rig);
        add_sample(rig, stream, &sample);
    }
    return false;
}

bool perpend_rig_begin(perpend_rig *rig)
{
    perpend_rig_end(rig);
    perpend_rig_now(rig);
    rig->streaming = true;
    for (uint8_t i = 0; i < perpend_port_description()->stream_count; i++) {
        perpend_stream_state *const state = &rig->streams[i];
        state->rate_now_hz = state->rate_hz;
        state->block_now = state->block_samples;
        state->sequence = 0;
        state->heard_us = rig->now_us;
        memset(state->faults, 0, sizeof state->faults);
        rig->streaming = perpend_port_begin(i, state->rate_hz) && rig->streaming;
    }
    for (uint8_t i = 0; !rig->streaming && i < perpend_port_description()->stream_count; i++) {
        perpend_port_end(i);
    }
    return rig->streaming;
}

void perpend_rig_end(perpend_rig *rig)
{
    for (uint8_t i = 0; rig->streaming && i < perpend_port_description()->stream_count; i++) {
        perpend_port_end(i);
        /* What it has taken so far; a port that never runs dry is left to itself. */
        for (int turn = 0; turn < SAMPLES_AT_ONCE && !take_samples(rig, i); turn++) {
        }
        send_block(rig, i);
    }
    rig->streaming = false;
}

/* ---- the beat ---- */

static void tell_status(perpend_rig *rig)
{
    perpend_message message = {.type = PERPEND_STATUS};
    message.as.status.device_time_us = rig->now_us;
    message.as.status.streaming = rig->streaming;
    message.as.status.overrun_samples = rig->overrun_samples;
    if (perpend_rig_say(rig, &message, 0)) { /* no room: again at the next poll */
        rig->next_status_us += SECOND_US;
        if (rig->next_status_us <= rig->now_us) {
            rig->next_status_us = rig->now_us + SECOND_US; /* late: no burst afterwards */
        }
    }
}

void perpend_rig_poll(perpend_rig *rig)
{
    perpend_rig_now(rig);
    for (uint8_t i = 0; rig->streaming && i < perpend_port_description()->stream_count; i++) {
        if (take_samples(rig, i)) {
            watch_silence(rig, i);
        }
    }
    for (uint8_t i = 0; i < perpend_port_description()->stream_count; i++) {
        tell_faults(rig, i);
    }
    if (rig->now_us >= rig->next_status_us) {
        tell_status(rig);
    }
    empty_outbox(rig);
}
