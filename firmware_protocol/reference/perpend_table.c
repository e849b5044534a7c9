/* Which stream tables make sense: PROTOCOL.md, section 4. */
#include <float.h>
#include <string.h>

#include "perpend_message.h"

#define MAX_RATE_HZ 100000.0f

const char *perpend_rule_name(perpend_rule rule)
{
    static const char *const names[] = {
        "", "streams", "stream number", "stream number twice", "stream name",
        "stream name twice", "rate", "channels", "channel name", "channel name twice", "unit",
        "scale", "rails"};
    return names[rule];
}

bool perpend_is_plain(const char *text, size_t size)
{
    bool good = perpend_is_text(text, size);
    for (size_t i = 0; good && i < size; i++) {
        good = (uint8_t)text[i] >= 0x20 && text[i] != 0x7F;
    }
    return good;
}

static bool good_name(const perpend_name *name)
{
    return name->size > 0 && name->size <= PERPEND_NAME
           && perpend_is_plain(name->text, name->size);
}

static bool same(const perpend_name *one, const perpend_name *other)
{
    return one->size == other->size && memcmp(one->text, other->text, one->size) == 0;
}

static bool rails_hold(const perpend_channel *channel, uint8_t sample_type)
{
    const bool narrow = sample_type == PERPEND_INT16;
    return channel->count_min < channel->count_max
           && (!narrow || (channel->count_min >= INT16_MIN && channel->count_max <= INT16_MAX));
}

static perpend_rule broken_by_channel(const perpend_stream *stream, uint8_t at)
{
    const perpend_channel *const channel = &stream->channels[at];
    if (!good_name(&channel->name)) {
        return PERPEND_RULE_CHANNEL_NAME;
    }
    for (uint8_t i = 0; i < at; i++) {
        if (same(&channel->name, &stream->channels[i].name)) {
            return PERPEND_RULE_CHANNEL_NAME_TWICE;
        }
    }
    if (channel->unit.size > PERPEND_UNIT
        || !perpend_is_plain(channel->unit.text, channel->unit.size)) {
        return PERPEND_RULE_UNIT;
    }
    if (!(channel->scale >= -FLT_MAX && channel->scale <= FLT_MAX) || channel->scale == 0.0f) {
        return PERPEND_RULE_SCALE;
    }
    return rails_hold(channel, stream->sample_type) ? PERPEND_TABLE_GOOD : PERPEND_RULE_RAILS;
}

static perpend_rule broken_by_stream(const perpend_stream *streams, size_t at)
{
    const perpend_stream *const stream = &streams[at];
    bool number_twice = false, name_twice = false;
    for (size_t i = 0; i < at; i++) {
        number_twice = number_twice || streams[i].stream_id == stream->stream_id;
        name_twice = name_twice || same(&streams[i].name, &stream->name);
    }
    if (stream->stream_id == PERPEND_NO_STREAM) {
        return PERPEND_RULE_STREAM_NUMBER;
    }
    if (number_twice) {
        return PERPEND_RULE_STREAM_NUMBER_TWICE;
    }
    if (!good_name(&stream->name)) {
        return PERPEND_RULE_STREAM_NAME;
    }
    if (name_twice) {
        return PERPEND_RULE_STREAM_NAME_TWICE;
    }
    if (!(stream->rate_hz > 0.0f && stream->rate_hz <= MAX_RATE_HZ)) { /* nor if no number */
        return PERPEND_RULE_RATE;
    }
    if (stream->channel_count == 0 || stream->channel_count > PERPEND_STREAM_CHANNELS) {
        return PERPEND_RULE_CHANNELS;
    }
    perpend_rule broken = PERPEND_TABLE_GOOD;
    for (uint8_t i = 0; broken == PERPEND_TABLE_GOOD && i < stream->channel_count; i++) {
        broken = broken_by_channel(stream, i);
    }
    return broken;
}

perpend_rule perpend_broken_rule(const perpend_stream *streams, size_t count)
{
    if (count == 0 || count > PERPEND_TABLE_STREAMS) {
        return PERPEND_RULE_STREAMS;
    }
    perpend_rule broken = PERPEND_TABLE_GOOD;
    for (size_t i = 0; broken == PERPEND_TABLE_GOOD && i < count; i++) {
        broken = broken_by_stream(streams, i);
    }
    return broken;
}
