/* Frames of PROTOCOL.md, section 2: COBS( payload, CRC-32 of payload ) and a zero. No heap. */
#ifndef PERPEND_FRAME_H
#define PERPEND_FRAME_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PERPEND_MAX_PAYLOAD 1024u
#define PERPEND_CHECKSUM 4u
#define PERPEND_MAX_FRAME 1033u                      /* without the delimiter */
#define PERPEND_FRAME_ROOM (PERPEND_MAX_FRAME + 1u)  /* with it */

/* CRC-32/ISO-HDLC; of "123456789" it is CBF43926. */
uint32_t perpend_crc32(const uint8_t *data, size_t size);

/* Writes the frame of a payload, its delimiter included, and returns its length.
 * Returns 0 and promises nothing about `frame` if the payload is empty or too long. */
size_t perpend_frame_encode(const uint8_t *payload, size_t size,
                            uint8_t frame[PERPEND_FRAME_ROOM]);

typedef enum {
    PERPEND_NOTHING_YET,
    PERPEND_PAYLOAD,      /* in bytes[0 .. payload_size), until the next byte is taken */
    PERPEND_BAD_STUFFING, /* this and all below: thrown away */
    PERPEND_BAD_CHECKSUM,
    PERPEND_SHORT,
    PERPEND_OVERLONG
} perpend_heard;

/* Zeroed memory is a fresh decoder. */
typedef struct {
    uint8_t bytes[PERPEND_MAX_FRAME];
    size_t size;
    size_t payload_size;
    bool skipping;
} perpend_decoder;

/* Takes the next byte of the line. Never fails, whatever comes. */
perpend_heard perpend_decoder_take(perpend_decoder *decoder, uint8_t byte);

#endif
