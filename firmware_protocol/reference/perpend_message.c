#include "perpend_message.h"

#include <string.h>

/* ---- writing: once something did not fit, everything after it is void ---- */

typedef struct { uint8_t *bytes; size_t size; bool fits; } writer;

static void put_bytes(writer *to, const void *bytes, size_t size)
{
    to->fits = to->fits && size <= PERPEND_MAX_PAYLOAD - to->size;
    if (to->fits && size > 0) {
        memmove(to->bytes + to->size, bytes, size); /* a value may lie where it goes already */
        to->size += size;
    }
}

static void put_number(writer *to, uint64_t value, size_t size)
{
    uint8_t bytes[8];
    for (size_t i = 0; i < size; i++) {
        bytes[i] = (uint8_t)(value >> (8u * i));
    }
    put_bytes(to, bytes, size);
}

static void put_u8(writer *to, uint8_t value) { put_number(to, value, 1); }
static void put_u32(writer *to, uint32_t value) { put_number(to, value, 4); }
static void put_u64(writer *to, uint64_t value) { put_number(to, value, 8); }

static void put_f32(writer *to, float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    put_u32(to, bits);
}

static void put_text(writer *to, const char *text, uint8_t size, size_t limit)
{
    to->fits = to->fits && size <= limit;
    put_u8(to, size);
    put_bytes(to, text, to->fits ? size : 0u);
}

static void put_name(writer *to, const perpend_name *name)
{
    put_text(to, name->text, name->size, PERPEND_NAME);
}

static void put_channel(writer *to, const perpend_channel *channel)
{
    put_name(to, &channel->name);
    put_text(to, channel->unit.text, channel->unit.size, PERPEND_UNIT);
    put_f32(to, channel->scale);
    put_u32(to, (uint32_t)channel->count_min);
    put_u32(to, (uint32_t)channel->count_max);
}

static void put_stream(writer *to, const perpend_stream *stream)
{
    to->fits = to->fits && perpend_value_bytes(stream->sample_type) > 0
               && stream->channel_count <= PERPEND_STREAM_CHANNELS;
    put_u8(to, stream->stream_id);
    put_name(to, &stream->name);
    put_u8(to, stream->sample_type);
    put_f32(to, stream->rate_hz);
    put_u8(to, stream->channel_count);
    for (uint8_t i = 0; to->fits && i < stream->channel_count; i++) {
        put_channel(to, &stream->channels[i]);
    }
}

static bool whole_samples(size_t bytes, uint8_t count)
{
    return bytes > 0 && count > 0 && bytes % count == 0;
}

static void put_identity(writer *to, const perpend_message *message)
{
    put_u8(to, message->as.identity.protocol_major);
    put_u8(to, message->as.identity.protocol_minor);
    put_name(to, &message->as.identity.firmware_version);
    put_name(to, &message->as.identity.rig_serial);
    put_u32(to, message->as.identity.boot_count);
    put_u8(to, message->as.identity.stream_count);
    to->fits = to->fits && message->as.identity.stream_count <= PERPEND_TABLE_STREAMS;
    for (uint8_t i = 0; to->fits && i < message->as.identity.stream_count; i++) {
        put_stream(to, &message->as.identity.streams[i]);
    }
}

/* What the rig says unasked has no request_id. */
static void put_unasked(writer *to, const perpend_message *message)
{
    if (message->type == PERPEND_SAMPLE_BLOCK) {
        put_u8(to, message->as.block.stream_id);
        put_u32(to, message->as.block.sequence);
        put_u64(to, message->as.block.device_time_us);
        put_u32(to, message->as.block.span_us);
        put_u8(to, message->as.block.sample_count);
        put_bytes(to, message->as.block.data.bytes, message->as.block.data.size);
        to->fits = to->fits
                   && whole_samples(message->as.block.data.size, message->as.block.sample_count);
    } else if (message->type == PERPEND_STATUS) {
        put_u64(to, message->as.status.device_time_us);
        put_u8(to, message->as.status.streaming);
        put_u32(to, message->as.status.overrun_samples);
    } else {
        to->fits = to->fits && message->as.fault.code != 0;
        put_u64(to, message->as.fault.device_time_us);
        put_u8(to, message->as.fault.code);
        put_u8(to, message->as.fault.stream_id);
        put_text(to, message->as.fault.detail.text, message->as.fault.detail.size,
                 PERPEND_DETAIL);
    }
}

static void put_fields(writer *to, const perpend_message *message)
{
    switch (message->type) {
    case PERPEND_IDENTIFY: case PERPEND_START: case PERPEND_STOP: case PERPEND_SELF_TEST:
    case PERPEND_RESTART_COUNTERS:
        break;
    case PERPEND_CONFIGURE: case PERPEND_CONFIGURATION:
        put_u8(to, message->as.configuration.stream_id);
        put_f32(to, message->as.configuration.rate_hz);
        put_u8(to, message->as.configuration.block_samples);
        break;
    case PERPEND_READ_CONFIGURATION: case PERPEND_ZERO_ELECTRICAL:
        put_u8(to, message->as.stream.stream_id);
        break;
    case PERPEND_PING: case PERPEND_PONG:
        put_u64(to, message->as.clock.host_time_us);
        if (message->type == PERPEND_PONG) {
            put_u64(to, message->as.clock.received_us);
            put_u64(to, message->as.clock.sent_us);
        }
        break;
    case PERPEND_READ_STORE: case PERPEND_WRITE_STORE: case PERPEND_STORE_VALUE:
        put_name(to, &message->as.store.key);
        if (message->type != PERPEND_READ_STORE) {
            put_bytes(to, message->as.store.value.bytes, message->as.store.value.size);
        }
        break;
    case PERPEND_IDENTITY:
        put_identity(to, message);
        break;
    case PERPEND_REPLY:
        put_u8(to, message->as.reply.outcome);
        break;
    case PERPEND_SELF_TEST_RESULT:
        put_u8(to, message->as.self_test.passed);
        put_text(to, message->as.self_test.detail.text, message->as.self_test.detail.size,
                 PERPEND_DETAIL);
        break;
    default:
        to->fits = false;
    }
}

size_t perpend_encode(const perpend_message *message, uint8_t payload[PERPEND_MAX_PAYLOAD])
{
    writer to = {payload, 0, true};
    put_u8(&to, message->type);
    if (message->type >= PERPEND_SAMPLE_BLOCK && message->type <= PERPEND_FAULT) {
        put_unasked(&to, message);
    } else {
        put_u8(&to, message->request_id);
        put_fields(&to, message);
    }
    return to.fits ? to.size : 0;
}
