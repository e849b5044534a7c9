/* Messages of PROTOCOL.md, sections 3 and 4, as structs and as payloads. No heap.
 *
 * A decoded message borrows: rows of a table lie in the caller's `perpend_table`, values and
 * sample data in the payload it was read from. */
#ifndef PERPEND_MESSAGE_H
#define PERPEND_MESSAGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "perpend_frame.h"

#define PERPEND_MAJOR 1u
#define PERPEND_MINOR 0u
#define PERPEND_NO_STREAM 255u
#define PERPEND_FIRST_RIG_TYPE 0x80u
#define PERPEND_NAME 32u
#define PERPEND_UNIT 8u
#define PERPEND_DETAIL 64u
#define PERPEND_BLOCK_HEAD 19u

#define PERPEND_TABLE_STREAMS 32u
#define PERPEND_STREAM_CHANNELS 64u /* of one stream */
#define PERPEND_TABLE_CHANNELS 72u  /* of all streams: more do not fit a payload */

typedef enum {
    PERPEND_IDENTIFY = 0x01, PERPEND_START, PERPEND_STOP, PERPEND_CONFIGURE,
    PERPEND_READ_CONFIGURATION, PERPEND_ZERO_ELECTRICAL, PERPEND_PING, PERPEND_SELF_TEST,
    PERPEND_RESTART_COUNTERS, PERPEND_READ_STORE, PERPEND_WRITE_STORE,
    PERPEND_IDENTITY = 0x81, PERPEND_REPLY, PERPEND_CONFIGURATION, PERPEND_PONG,
    PERPEND_SELF_TEST_RESULT, PERPEND_STORE_VALUE,
    PERPEND_SAMPLE_BLOCK = 0x90, PERPEND_STATUS, PERPEND_FAULT
} perpend_type;

typedef enum {
    PERPEND_DONE, PERPEND_UNKNOWN_COMMAND, PERPEND_BAD_ARGUMENT, PERPEND_NOT_POSSIBLE_NOW,
    PERPEND_STORE_FULL, PERPEND_STORE_FAILED
} perpend_outcome;

typedef enum {
    PERPEND_BRIDGE_OPEN = 1, PERPEND_CONVERTER_SATURATED, PERPEND_IMU_SILENT,
    PERPEND_BUFFER_OVERRUN, PERPEND_STREAM_SILENT
} perpend_fault_code;

typedef enum { PERPEND_INT16 = 1, PERPEND_INT32 = 2 } perpend_sample_type;

/* A text is UTF-8 with its length; a zero inside it is a character like any other. */
typedef struct { uint8_t size; char text[PERPEND_UNIT]; } perpend_unit;
typedef struct { uint8_t size; char text[PERPEND_NAME]; } perpend_name;
typedef struct { uint8_t size; char text[PERPEND_DETAIL]; } perpend_detail;
typedef struct { const uint8_t *bytes; size_t size; } perpend_rest;

typedef struct {
    perpend_name name;
    perpend_unit unit;
    float scale;
    int32_t count_min;
    int32_t count_max;
} perpend_channel;

typedef struct {
    uint8_t stream_id;
    perpend_name name;
    uint8_t sample_type;
    float rate_hz;
    uint8_t channel_count;
    const perpend_channel *channels;
} perpend_stream;

/* Only who decodes an Identity needs room for a table; a rig never does. */
typedef struct {
    perpend_stream streams[PERPEND_TABLE_STREAMS];
    perpend_channel channels[PERPEND_TABLE_CHANNELS];
} perpend_table;

typedef struct {
    uint8_t type;
    uint8_t request_id; /* of commands and answers */
    union {
        struct { uint8_t stream_id; float rate_hz; uint8_t block_samples; } configuration;
        struct { uint8_t stream_id; } stream; /* ReadConfiguration, ZeroElectrical */
        struct { uint64_t host_time_us, received_us, sent_us; } clock; /* Ping: the first alone */
        struct { perpend_name key; perpend_rest value; } store; /* ReadStore: no value */
        struct {
            uint8_t protocol_major, protocol_minor;
            perpend_name firmware_version, rig_serial;
            uint32_t boot_count;
            uint8_t stream_count;
            const perpend_stream *streams;
        } identity;
        struct { uint8_t outcome; } reply;
        struct { bool passed; perpend_detail detail; } self_test;
        struct {
            uint8_t stream_id;
            uint32_t sequence;
            uint64_t device_time_us;
            uint32_t span_us;
            uint8_t sample_count;
            perpend_rest data;
        } block;
        struct { uint64_t device_time_us; bool streaming; uint32_t overrun_samples; } status;
        struct {
            uint64_t device_time_us;
            uint8_t code, stream_id;
            perpend_detail detail;
        } fault;
    } as;
} perpend_message;

/* Writes the payload and returns its length; 0 if a field does not fit its place. */
size_t perpend_encode(const perpend_message *message, uint8_t payload[PERPEND_MAX_PAYLOAD]);

typedef enum {
    PERPEND_OK,
    PERPEND_NO_SUCH_TYPE,
    PERPEND_MALFORMED /* ends too early, or a field holds what it must not */
} perpend_decoded;

/* Reads a payload. `table` may be null: an Identity of our major is then malformed. */
perpend_decoded perpend_decode(const uint8_t *payload, size_t size, perpend_message *message,
                               perpend_table *table);

/* The rules for a stream table, in the order in which they are asked (PROTOCOL.md, section 4). */
typedef enum {
    PERPEND_TABLE_GOOD,
    PERPEND_RULE_STREAMS, PERPEND_RULE_STREAM_NUMBER, PERPEND_RULE_STREAM_NUMBER_TWICE,
    PERPEND_RULE_STREAM_NAME, PERPEND_RULE_STREAM_NAME_TWICE, PERPEND_RULE_RATE,
    PERPEND_RULE_CHANNELS, PERPEND_RULE_CHANNEL_NAME, PERPEND_RULE_CHANNEL_NAME_TWICE,
    PERPEND_RULE_UNIT, PERPEND_RULE_SCALE, PERPEND_RULE_RAILS
} perpend_rule;

/* The first rule that a table breaks, and its name for people. */
perpend_rule perpend_broken_rule(const perpend_stream *streams, size_t count);
const char *perpend_rule_name(perpend_rule rule);

/* Whether these bytes are UTF-8, and whether they are without control characters, too. */
bool perpend_is_text(const char *text, size_t size);
bool perpend_is_plain(const char *text, size_t size);

/* Bytes of one value on the wire, 0 for a type that is not known. */
size_t perpend_value_bytes(uint8_t sample_type);

/* Little-endian, whatever the machine is; returns how many bytes it wrote. */
size_t perpend_put_value(uint8_t sample_type, int32_t value, uint8_t *out);

/* Copies a C string, cut at a whole character where it is too long. */
uint8_t perpend_copy_text(char *text, size_t room, const char *from);

#endif
