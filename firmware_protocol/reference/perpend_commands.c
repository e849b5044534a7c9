/* What a rig does when a host says something. */
#include <string.h>

#include "perpend_rig.h"

#define BLOCK_S 0.01f /* what a block spans if the rig may choose */
#define MAX_RATE_HZ 100000.0f /* of PROTOCOL.md, section 4 */

/* Place of a stream in the table, or stream_count. */
static uint8_t place_of(uint8_t stream_id)
{
    const perpend_description *const about = perpend_port_description();
    uint8_t i = 0;
    while (i < about->stream_count && about->streams[i].stream_id != stream_id) {
        i++;
    }
    return i;
}

static bool there_is(uint8_t stream_id)
{
    return place_of(stream_id) < perpend_port_description()->stream_count;
}

static uint8_t block_for(uint8_t stream, float rate_hz, uint8_t wanted)
{
    const perpend_stream *const spec = &perpend_port_description()->streams[stream];
    const size_t row = spec->channel_count * perpend_value_bytes(spec->sample_type);
    const size_t room = PERPEND_BLOCK_BYTES / row;
    const uint8_t most = room < 255 ? (uint8_t)room : 255;
    const float natural = rate_hz * BLOCK_S + 0.5f;
    if (wanted == 0) {
        wanted = natural < 1.0f ? 1 : natural < 255.0f ? (uint8_t)natural : 255;
    }
    return wanted < most ? wanted : most;
}

static void set_rate(perpend_rig *rig, uint8_t stream, float rate_hz, uint8_t block_samples)
{
    rate_hz = rate_hz < 0.0f ? 0.0f : rate_hz > MAX_RATE_HZ ? MAX_RATE_HZ : rate_hz;
    rig->streams[stream].rate_hz = perpend_port_nearest_rate(stream, rate_hz);
    rig->streams[stream].block_samples =
        block_for(stream, rig->streams[stream].rate_hz, block_samples);
}

static void reply(perpend_rig *rig, uint8_t request_id, perpend_outcome outcome)
{
    perpend_message message = {.type = PERPEND_REPLY, .request_id = request_id};
    message.as.reply.outcome = (uint8_t)outcome;
    perpend_rig_say(rig, &message, 0); /* no room: the host asks again */
}

/* The table as it is: with the rates of the next start. */
static bool identify(perpend_rig *rig, uint8_t request_id)
{
    const perpend_description *const about = perpend_port_description();
    perpend_stream streams[PERPEND_MAX_STREAMS];
    for (uint8_t i = 0; i < about->stream_count; i++) {
        streams[i] = about->streams[i];
        streams[i].rate_hz = rig->streams[i].rate_hz;
    }
    perpend_message message = {.type = PERPEND_IDENTITY, .request_id = request_id};
    message.as.identity.protocol_major = PERPEND_MAJOR;
    message.as.identity.protocol_minor = PERPEND_MINOR;
    message.as.identity.firmware_version.size = perpend_copy_text(
        message.as.identity.firmware_version.text, PERPEND_NAME, about->firmware_version);
    message.as.identity.rig_serial.size = perpend_copy_text(
        message.as.identity.rig_serial.text, PERPEND_NAME, about->rig_serial);
    message.as.identity.boot_count = perpend_port_boot_count();
    message.as.identity.stream_count = about->stream_count;
    message.as.identity.streams = streams;
    return perpend_rig_say(rig, &message, 0);
}

static void tell_configuration(perpend_rig *rig, uint8_t request_id, uint8_t stream_id)
{
    if (!there_is(stream_id)) {
        reply(rig, request_id, PERPEND_BAD_ARGUMENT);
        return;
    }
    const perpend_stream_state *const state = &rig->streams[place_of(stream_id)];
    perpend_message message = {.type = PERPEND_CONFIGURATION, .request_id = request_id};
    message.as.configuration.stream_id = stream_id;
    message.as.configuration.rate_hz = state->rate_hz;
    message.as.configuration.block_samples = state->block_samples;
    perpend_rig_say(rig, &message, 0);
}

static void configure(perpend_rig *rig, const perpend_message *asked)
{
    const uint8_t stream_id = asked->as.configuration.stream_id;
    const float rate_hz = asked->as.configuration.rate_hz;
    if (rate_hz != rate_hz) { /* not a number */
        reply(rig, asked->request_id, PERPEND_BAD_ARGUMENT);
        return;
    }
    if (there_is(stream_id)) {
        set_rate(rig, place_of(stream_id), rate_hz, asked->as.configuration.block_samples);
    }
    tell_configuration(rig, asked->request_id, stream_id);
}

static void zero(perpend_rig *rig, uint8_t request_id, uint8_t stream_id)
{
    if (!there_is(stream_id)) {
        reply(rig, request_id, PERPEND_BAD_ARGUMENT);
    } else if (rig->streaming || !perpend_port_zero(place_of(stream_id))) {
        reply(rig, request_id, PERPEND_NOT_POSSIBLE_NOW);
    } else {
        reply(rig, request_id, PERPEND_DONE);
    }
}

static void self_test(perpend_rig *rig, uint8_t request_id)
{
    char detail[PERPEND_DETAIL + 1] = "";
    if (rig->streaming) {
        reply(rig, request_id, PERPEND_NOT_POSSIBLE_NOW);
        return;
    }
    perpend_message message = {.type = PERPEND_SELF_TEST_RESULT, .request_id = request_id};
    message.as.self_test.passed = perpend_port_self_test(detail);
    message.as.self_test.detail.size =
        perpend_copy_text(message.as.self_test.detail.text, PERPEND_DETAIL, detail);
    perpend_rig_say(rig, &message, 0);
}

/* Every key with a line feed behind it, as many as there is room for. */
static size_t list_keys(uint8_t *value, size_t room)
{
    perpend_name key;
    size_t size = 0;
    for (size_t i = 0; perpend_port_store_key(i, &key) && key.size < room - size; i++) {
        memcpy(value + size, key.text, key.size);
        size += key.size;
        value[size++] = '\n';
    }
    return size;
}

/* The value is read where the answer will be built: no third buffer. */
static void read_store(perpend_rig *rig, uint8_t request_id, const perpend_name *key)
{
    const size_t head = 3u + key->size;
    perpend_message message = {.type = PERPEND_STORE_VALUE, .request_id = request_id};
    message.as.store.key = *key;
    const size_t room = PERPEND_MAX_PAYLOAD - head;
    uint8_t *const value = rig->payload + head;
    message.as.store.value.bytes = value;
    message.as.store.value.size =
        key->size == 0 ? list_keys(value, room) : perpend_port_store_read(key, value, room);
    perpend_rig_say(rig, &message, 0);
}

static void write_store(perpend_rig *rig, const perpend_message *asked)
{
    const perpend_rest *const value = &asked->as.store.value;
    const perpend_name *const key = &asked->as.store.key;
    /* The empty key means the list of keys, and a line feed would break it. */
    if (key->size == 0 || !perpend_is_plain(key->text, key->size)) {
        reply(rig, asked->request_id, PERPEND_BAD_ARGUMENT);
        return;
    }
    reply(rig, asked->request_id,
          rig->streaming ? PERPEND_NOT_POSSIBLE_NOW
                         : perpend_port_store_write(key, value->bytes, value->size));
}

/* Said when it goes to the line. */
static void pong(perpend_rig *rig, const perpend_message *asked)
{
    perpend_message *const message = &rig->pong;
    memset(message, 0, sizeof *message);
    message->type = PERPEND_PONG;
    message->request_id = asked->request_id;
    message->as.clock.host_time_us = asked->as.clock.host_time_us;
    message->as.clock.received_us = perpend_rig_now(rig);
    rig->pong_waits = true;
}

static void obey(perpend_rig *rig, const perpend_message *asked)
{
    const uint8_t request_id = asked->request_id;
    switch (asked->type) {
    case PERPEND_IDENTIFY:
        identify(rig, request_id);
        break;
    case PERPEND_START:
        reply(rig, request_id,
              perpend_rig_begin(rig) ? PERPEND_DONE : PERPEND_NOT_POSSIBLE_NOW);
        break;
    case PERPEND_STOP:
        perpend_rig_end(rig);
        reply(rig, request_id, PERPEND_DONE);
        break;
    case PERPEND_CONFIGURE:
        configure(rig, asked);
        break;
    case PERPEND_READ_CONFIGURATION:
        tell_configuration(rig, request_id, asked->as.stream.stream_id);
        break;
    case PERPEND_ZERO_ELECTRICAL:
        zero(rig, request_id, asked->as.stream.stream_id);
        break;
    case PERPEND_PING:
        pong(rig, asked);
        break;
    case PERPEND_SELF_TEST:
        self_test(rig, request_id);
        break;
    case PERPEND_RESTART_COUNTERS:
        rig->overrun_samples = 0;
        reply(rig, request_id, PERPEND_DONE);
        break;
    case PERPEND_READ_STORE:
        read_store(rig, request_id, &asked->as.store.key);
        break;
    default: /* the only one left: the decoder lets nothing else through */
        write_store(rig, asked);
    }
}

static void hear(perpend_rig *rig, const uint8_t *payload, size_t size)
{
    perpend_message message;
    const perpend_decoded heard = perpend_decode(payload, size, &message, NULL);
    const bool from_host = payload[0] < PERPEND_FIRST_RIG_TYPE;
    if (heard == PERPEND_OK && from_host) {
        obey(rig, &message);
        return;
    }
    rig->malformed++;
    if (heard == PERPEND_NO_SUCH_TYPE && from_host && size >= 2) {
        reply(rig, payload[1], PERPEND_UNKNOWN_COMMAND);
    }
}

void perpend_rig_receive(perpend_rig *rig, const uint8_t *bytes, size_t size)
{
    for (size_t i = 0; i < size; i++) {
        const perpend_heard heard = perpend_decoder_take(&rig->decoder, bytes[i]);
        if (heard == PERPEND_PAYLOAD) {
            hear(rig, rig->decoder.bytes, rig->decoder.payload_size);
        } else if (heard != PERPEND_NOTHING_YET) {
            rig->damaged_frames++;
        }
    }
}

static bool good_serial(const char *serial)
{
    static const char allowed[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz-_";
    const size_t size = strlen(serial);
    return size > 0 && size <= PERPEND_NAME && strspn(serial, allowed) == size
           && serial[0] != '-' && serial[0] != '_';
}

/* Why the port's description cannot be used, null if it can. */
static const char *unfit(const perpend_description *about)
{
    const perpend_rule broken = perpend_broken_rule(about->streams, about->stream_count);
    if (broken != PERPEND_TABLE_GOOD) {
        return perpend_rule_name(broken);
    }
    if (!good_serial(about->rig_serial)) {
        return "serial";
    }
    if (!perpend_is_text(about->firmware_version, strlen(about->firmware_version))) {
        return "version";
    }
    bool fits = about->stream_count <= PERPEND_MAX_STREAMS;
    for (uint8_t i = 0; fits && i < about->stream_count; i++) {
        const perpend_stream *const spec = &about->streams[i];
        const size_t row = spec->channel_count * perpend_value_bytes(spec->sample_type);
        fits = row > 0 && row <= PERPEND_BLOCK_BYTES && spec->channel_count <= PERPEND_MAX_CHANNELS;
    }
    return fits ? NULL : "sizes of perpend_port.h";
}

bool perpend_rig_power_up(perpend_rig *rig)
{
    const perpend_description *const about = perpend_port_description();
    memset(rig, 0, sizeof *rig);
    rig->unfit = unfit(about);
    for (uint8_t i = 0; rig->unfit == NULL && i < about->stream_count; i++) {
        set_rate(rig, i, about->streams[i].rate_hz, 0);
    }
    if (rig->unfit == NULL && !identify(rig, 0)) { /* a trial: nobody has asked yet */
        rig->unfit = "more than a payload holds";
    }
    rig->tick_us = perpend_port_micros();
    rig->next_status_us = 1000000u;
    rig->out_size = 1; /* one delimiter ends whatever noise was before */
    rig->outbox[0] = 0;
    rig->mid_frame = true;
    return rig->unfit == NULL;
}
