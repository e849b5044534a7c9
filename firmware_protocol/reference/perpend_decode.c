/* The reading half of perpend_message.h. */
#include <string.h>

#include "perpend_message.h"

/* Once the bytes ended too early, or held what they must not, everything after is void. */
typedef struct { const uint8_t *bytes; size_t left; bool good; } reader;

static void get_bytes(reader *from, void *bytes, size_t size)
{
    from->good = from->good && size <= from->left;
    if (from->good && size > 0) {
        memcpy(bytes, from->bytes, size);
        from->bytes += size;
        from->left -= size;
    }
}

static uint64_t get_number(reader *from, size_t size)
{
    uint8_t bytes[8] = {0};
    uint64_t value = 0;
    get_bytes(from, bytes, size);
    for (size_t i = 0; i < size; i++) {
        value |= (uint64_t)bytes[i] << (8u * i);
    }
    return value;
}

static uint8_t get_u8(reader *from) { return (uint8_t)get_number(from, 1); }
static uint32_t get_u32(reader *from) { return (uint32_t)get_number(from, 4); }
static uint64_t get_u64(reader *from) { return get_number(from, 8); }

static int32_t get_i32(reader *from)
{
    const uint32_t bits = get_u32(from);
    int32_t value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static float get_f32(reader *from)
{
    const uint32_t bits = get_u32(from);
    float value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static perpend_rest get_rest(reader *from)
{
    const perpend_rest rest = {from->bytes, from->left};
    from->left = 0;
    return rest;
}

/* Length of the character at `at`, 0 if it is none (Unicode 15, table 3-7). */
static size_t character(const uint8_t *at, size_t left)
{
    const uint8_t lead = at[0];
    const size_t size = lead < 0x80 ? 1 : lead < 0xC2 ? 0 : lead < 0xE0 ? 2 : lead < 0xF0 ? 3 : 4;
    if (size == 0 || size > left || lead > 0xF4) {
        return 0;
    }
    for (size_t i = 1; i < size; i++) {
        if ((at[i] & 0xC0u) != 0x80u) {
            return 0;
        }
    }
    const bool wrong = (lead == 0xE0 && at[1] < 0xA0) || (lead == 0xED && at[1] > 0x9F)
                       || (lead == 0xF0 && at[1] < 0x90) || (lead == 0xF4 && at[1] > 0x8F);
    return wrong ? 0 : size;
}

bool perpend_is_text(const char *text, size_t size)
{
    for (size_t at = 0; at < size;) {
        const size_t step = character((const uint8_t *)text + at, size - at);
        if (step == 0) {
            return false;
        }
        at += step;
    }
    return true;
}

static uint8_t get_text(reader *from, char *text, size_t limit)
{
    const uint8_t size = get_u8(from);
    from->good = from->good && size <= limit;
    get_bytes(from, text, from->good ? size : 0u);
    from->good = from->good && perpend_is_text(text, size);
    return size;
}

static void get_name(reader *from, perpend_name *name)
{
    name->size = get_text(from, name->text, PERPEND_NAME);
}

static void get_channel(reader *from, perpend_channel *channel)
{
    get_name(from, &channel->name);
    channel->unit.size = get_text(from, channel->unit.text, PERPEND_UNIT);
    channel->scale = get_f32(from);
    channel->count_min = get_i32(from);
    channel->count_max = get_i32(from);
}

static void get_table(reader *from, perpend_message *message, perpend_table *table)
{
    const uint8_t streams = message->as.identity.stream_count = get_u8(from);
    size_t used = 0;
    from->good = from->good && table != NULL && streams <= PERPEND_TABLE_STREAMS;
    message->as.identity.streams = from->good ? table->streams : NULL;
    for (uint8_t i = 0; from->good && i < streams; i++) {
        perpend_stream *const stream = &table->streams[i];
        stream->stream_id = get_u8(from);
        get_name(from, &stream->name);
        stream->sample_type = get_u8(from);
        stream->rate_hz = get_f32(from);
        stream->channel_count = get_u8(from);
        stream->channels = table->channels + used;
        from->good = from->good && perpend_value_bytes(stream->sample_type) > 0
                     && stream->channel_count <= PERPEND_STREAM_CHANNELS
                     && used + stream->channel_count <= PERPEND_TABLE_CHANNELS;
        for (uint8_t k = 0; from->good && k < stream->channel_count; k++) {
            get_channel(from, &table->channels[used++]);
        }
    }
}

static void get_identity(reader *from, perpend_message *message, perpend_table *table)
{
    message->as.identity.protocol_major = get_u8(from);
    message->as.identity.protocol_minor = get_u8(from);
    if (from->good && message->as.identity.protocol_major != PERPEND_MAJOR) {
        return; /* these four bytes keep their place for ever, the others do not */
    }
    get_name(from, &message->as.identity.firmware_version);
    get_name(from, &message->as.identity.rig_serial);
    message->as.identity.boot_count = get_u32(from);
    get_table(from, message, table);
}

static void get_unasked(reader *from, perpend_message *message)
{
    if (message->type == PERPEND_SAMPLE_BLOCK) {
        message->as.block.stream_id = get_u8(from);
        message->as.block.sequence = get_u32(from);
        message->as.block.device_time_us = get_u64(from);
        message->as.block.span_us = get_u32(from);
        message->as.block.sample_count = get_u8(from);
        message->as.block.data = get_rest(from);
        const size_t bytes = message->as.block.data.size;
        const uint8_t count = message->as.block.sample_count;
        from->good = from->good && bytes > 0 && count > 0 && bytes % count == 0;
    } else if (message->type == PERPEND_STATUS) {
        message->as.status.device_time_us = get_u64(from);
        message->as.status.streaming = get_u8(from) != 0;
        message->as.status.overrun_samples = get_u32(from);
    } else {
        message->as.fault.device_time_us = get_u64(from);
        message->as.fault.code = get_u8(from);
        message->as.fault.stream_id = get_u8(from);
        message->as.fault.detail.size =
            get_text(from, message->as.fault.detail.text, PERPEND_DETAIL);
        from->good = from->good && message->as.fault.code != 0;
    }
}

/* Everything behind the request_id. Returns false if there is no such type. */
static bool get_fields(reader *from, perpend_message *message, perpend_table *table)
{
    switch (message->type) {
    case PERPEND_IDENTIFY: case PERPEND_START: case PERPEND_STOP: case PERPEND_SELF_TEST:
    case PERPEND_RESTART_COUNTERS:
        return true;
    case PERPEND_CONFIGURE: case PERPEND_CONFIGURATION:
        message->as.configuration.stream_id = get_u8(from);
        message->as.configuration.rate_hz = get_f32(from);
        message->as.configuration.block_samples = get_u8(from);
        return true;
    case PERPEND_READ_CONFIGURATION: case PERPEND_ZERO_ELECTRICAL:
        message->as.stream.stream_id = get_u8(from);
        return true;
    case PERPEND_PING: case PERPEND_PONG:
        message->as.clock.host_time_us = get_u64(from);
        if (message->type == PERPEND_PONG) {
            message->as.clock.received_us = get_u64(from);
            message->as.clock.sent_us = get_u64(from);
        }
        return true;
    case PERPEND_READ_STORE: case PERPEND_WRITE_STORE: case PERPEND_STORE_VALUE:
        get_name(from, &message->as.store.key);
        if (message->type != PERPEND_READ_STORE) {
            message->as.store.value = get_rest(from);
        }
        return true;
    case PERPEND_IDENTITY:
        get_identity(from, message, table);
        return true;
    case PERPEND_REPLY:
        message->as.reply.outcome = get_u8(from);
        return true;
    case PERPEND_SELF_TEST_RESULT:
        message->as.self_test.passed = get_u8(from) != 0;
        message->as.self_test.detail.size =
            get_text(from, message->as.self_test.detail.text, PERPEND_DETAIL);
        return true;
    default:
        return false;
    }
}

perpend_decoded perpend_decode(const uint8_t *payload, size_t size, perpend_message *message,
                               perpend_table *table)
{
    reader from = {payload, size, true};
    memset(message, 0, sizeof *message);
    message->type = get_u8(&from);
    if (!from.good) {
        return PERPEND_MALFORMED;
    }
    if (message->type >= PERPEND_SAMPLE_BLOCK && message->type <= PERPEND_FAULT) {
        get_unasked(&from, message);
    } else {
        message->request_id = get_u8(&from); /* 0 if it is not there; then `good` is off */
        if (!get_fields(&from, message, table)) {
            return PERPEND_NO_SUCH_TYPE;
        }
    }
    return from.good ? PERPEND_OK : PERPEND_MALFORMED;
}

size_t perpend_value_bytes(uint8_t sample_type)
{
    return sample_type == PERPEND_INT16 ? 2u : sample_type == PERPEND_INT32 ? 4u : 0u;
}

size_t perpend_put_value(uint8_t sample_type, int32_t value, uint8_t *out)
{
    const size_t size = perpend_value_bytes(sample_type);
    for (size_t i = 0; i < size; i++) {
        out[i] = (uint8_t)((uint32_t)value >> (8u * i));
    }
    return size;
}

uint8_t perpend_copy_text(char *text, size_t room, const char *from)
{
    size_t size = strlen(from);
    if (size > room) {
        size = room;
        while (size > 0 && ((uint8_t)from[size] & 0xC0u) == 0x80u) {
            size--; /* not in the middle of a character */
        }
    }
    memcpy(text, from, size);
    return (uint8_t)size;
}
