/* One question a line on stdin, one answer a line on stdout.
 *
 *   frame HEX     the frame of a payload
 *   feed HEX      what a fresh decoder hears: payloads in hex, faults by name
 *   hear HEX      the fields of a payload, as say takes them; "unknown" or "malformed"
 *   judge HEX     the rule that the stream table of an Identity breaks, "good" if none
 *   say FIELDS    the payload of a message, "misfit" if it does not fit
 *
 * Fields stand in the order of the byte tables: numbers in decimal, f32 as its bits, texts and
 * rests in hex behind an "x", lists as their count and the rows.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "perpend_message.h"

static char line[1 << 20];
static uint8_t bytes[1 << 18];
static perpend_table table;

static size_t from_hex(const char *hex, uint8_t *out)
{
    size_t size = 0;
    unsigned value;
    for (; sscanf(hex + 2 * size, "%2x", &value) == 1; size++) {
        out[size] = (uint8_t)value;
    }
    return size;
}

static void print_hex(const void *data, size_t size)
{
    for (size_t i = 0; i < size; i++) {
        printf("%02x", ((const uint8_t *)data)[i]);
    }
}

/* ---- fields, both ways: `saying` takes them from the line, else they are printed ---- */

static bool saying;
static uint8_t pool[8192];
static size_t pooled;

static uint64_t number(uint64_t value)
{
    if (saying) {
        return strtoull(strtok(NULL, " "), NULL, 10);
    }
    printf(" %" PRIu64, value);
    return value;
}

#define NUMBER(field, type) ((field) = (type)number((uint64_t)(field)))

static void real(float *value)
{
    uint32_t bits;
    memcpy(&bits, value, sizeof bits);
    NUMBER(bits, uint32_t);
    memcpy(value, &bits, sizeof bits);
}

static void whole(int32_t *value)
{
    uint32_t bits;
    memcpy(&bits, value, sizeof bits);
    NUMBER(bits, uint32_t);
    memcpy(value, &bits, sizeof bits);
}

static void run(const void **data, size_t *size)
{
    if (saying) {
        *data = pool + pooled;
        *size = from_hex(strtok(NULL, " ") + 1, pool + pooled);
        pooled += *size;
        return;
    }
    printf(" x");
    print_hex(*data, *size);
}

static void text(char *to, uint8_t *size, size_t room)
{
    const void *data = to;
    size_t length = *size;
    run(&data, &length);
    memmove(to, data, length < room ? length : room);
    *size = (uint8_t)length;
}

static void rest(perpend_rest *value)
{
    const void *data = value->bytes;
    run(&data, &value->size);
    value->bytes = data;
}

#define TEXT(field) text((field).text, &(field).size, sizeof (field).text)

/* More than a table may have, so that saying it can be refused. */
static perpend_stream many_streams[255];
static perpend_channel many_channels[4096];

static void rows(perpend_message *message)
{
    size_t used = 0;
    perpend_channel *const channels = saying ? many_channels : table.channels;
    perpend_stream *const streams = saying ? many_streams : table.streams;
    NUMBER(message->as.identity.stream_count, uint8_t);
    message->as.identity.streams = streams;
    for (uint8_t i = 0; i < message->as.identity.stream_count; i++) {
        perpend_stream *const stream = &streams[i];
        NUMBER(stream->stream_id, uint8_t);
        TEXT(stream->name);
        NUMBER(stream->sample_type, uint8_t);
        real(&stream->rate_hz);
        NUMBER(stream->channel_count, uint8_t);
        stream->channels = channels + used;
        for (uint8_t k = 0; k < stream->channel_count; k++, used++) {
            TEXT(channels[used].name);
            TEXT(channels[used].unit);
            real(&channels[used].scale);
            whole(&channels[used].count_min);
            whole(&channels[used].count_max);
        }
    }
}

static void unasked(perpend_message *message)
{
    if (message->type == PERPEND_SAMPLE_BLOCK) {
        NUMBER(message->as.block.stream_id, uint8_t);
        NUMBER(message->as.block.sequence, uint32_t);
        NUMBER(message->as.block.device_time_us, uint64_t);
        NUMBER(message->as.block.span_us, uint32_t);
        NUMBER(message->as.block.sample_count, uint8_t);
        rest(&message->as.block.data);
    } else if (message->type == PERPEND_STATUS) {
        NUMBER(message->as.status.device_time_us, uint64_t);
        NUMBER(message->as.status.streaming, bool);
        NUMBER(message->as.status.overrun_samples, uint32_t);
    } else {
        NUMBER(message->as.fault.device_time_us, uint64_t);
        NUMBER(message->as.fault.code, uint8_t);
        NUMBER(message->as.fault.stream_id, uint8_t);
        TEXT(message->as.fault.detail);
    }
}

static void fields(perpend_message *message)
{
    if (message->type >= PERPEND_SAMPLE_BLOCK) {
        unasked(message);
        return;
    }
    NUMBER(message->request_id, uint8_t);
    switch (message->type) {
    case PERPEND_CONFIGURE: case PERPEND_CONFIGURATION:
        NUMBER(message->as.configuration.stream_id, uint8_t);
        real(&message->as.configuration.rate_hz);
        NUMBER(message->as.configuration.block_samples, uint8_t);
        break;
    case PERPEND_READ_CONFIGURATION: case PERPEND_ZERO_ELECTRICAL:
        NUMBER(message->as.stream.stream_id, uint8_t);
        break;
    case PERPEND_PONG: case PERPEND_PING:
        NUMBER(message->as.clock.host_time_us, uint64_t);
        if (message->type == PERPEND_PONG) {
            NUMBER(message->as.clock.received_us, uint64_t);
            NUMBER(message->as.clock.sent_us, uint64_t);
        }
        break;
    case PERPEND_READ_STORE: case PERPEND_WRITE_STORE: case PERPEND_STORE_VALUE:
        TEXT(message->as.store.key);
        if (message->type != PERPEND_READ_STORE) {
            rest(&message->as.store.value);
        }
        break;
    case PERPEND_IDENTITY:
        NUMBER(message->as.identity.protocol_major, uint8_t);
        NUMBER(message->as.identity.protocol_minor, uint8_t);
        TEXT(message->as.identity.firmware_version);
        TEXT(message->as.identity.rig_serial);
        NUMBER(message->as.identity.boot_count, uint32_t);
        rows(message);
        break;
    case PERPEND_REPLY:
        NUMBER(message->as.reply.outcome, uint8_t);
        break;
    case PERPEND_SELF_TEST_RESULT:
        NUMBER(message->as.self_test.passed, bool);
        TEXT(message->as.self_test.detail);
        break;
    default:
        break;
    }
}

/* ---- the questions ---- */

static void say(void)
{
    static uint8_t payload[PERPEND_MAX_PAYLOAD];
    perpend_message message;
    memset(&message, 0, sizeof message);
    saying = true;
    pooled = 0;
    NUMBER(message.type, uint8_t);
    fields(&message);
    const size_t size = perpend_encode(&message, payload);
    if (size == 0) {
        printf("misfit");
    }
    print_hex(payload, size);
}

static void hear(size_t size)
{
    /* A copy of just this size: reading past its end is seen by the sanitizer. */
    uint8_t *const payload = malloc(size ? size : 1);
    memcpy(payload, bytes, size);
    perpend_message message;
    const perpend_decoded got = perpend_decode(payload, size, &message, &table);
    saying = false;
    if (got == PERPEND_OK) {
        printf("%u", message.type);
        fields(&message);
    } else {
        printf(got == PERPEND_NO_SUCH_TYPE ? "unknown" : "malformed");
    }
    free(payload);
}

static void judge(size_t size)
{
    perpend_message message;
    if (perpend_decode(bytes, size, &message, &table) != PERPEND_OK
        || message.type != PERPEND_IDENTITY) {
        printf("malformed");
        return;
    }
    const perpend_rule broken =
        perpend_broken_rule(message.as.identity.streams, message.as.identity.stream_count);
    printf("%s", broken == PERPEND_TABLE_GOOD ? "good" : perpend_rule_name(broken));
}

static void feed(size_t size)
{
    static const char *const names[] = {"", "", "stuffing", "checksum", "short", "overlong"};
    perpend_decoder decoder;
    memset(&decoder, 0, sizeof decoder);
    for (size_t i = 0; i < size; i++) {
        const perpend_heard heard = perpend_decoder_take(&decoder, bytes[i]);
        if (heard == PERPEND_PAYLOAD) {
            print_hex(decoder.bytes, decoder.payload_size);
            printf(" ");
        } else if (heard != PERPEND_NOTHING_YET) {
            printf("%s ", names[heard]);
        }
    }
}

int main(void)
{
    uint8_t out[PERPEND_FRAME_ROOM];
    while (fgets(line, sizeof line, stdin)) {
        const char *const question = strtok(line, " \n");
        if (strcmp(question, "say") == 0) {
            say();
        } else {
            char *const hex = strtok(NULL, " \n");
            const size_t size = hex ? from_hex(hex, bytes) : 0;
            if (strcmp(question, "frame") == 0) {
                print_hex(out, perpend_frame_encode(bytes, size, out));
            } else if (strcmp(question, "feed") == 0) {
                feed(size);
            } else if (strcmp(question, "judge") == 0) {
                judge(size);
            } else {
                hear(size);
            }
        }
        printf("\n");
        fflush(stdout);
    }
    return 0;
}
