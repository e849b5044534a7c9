#include "perpend_frame.h"

/* Half a byte at a time: 64 bytes of table instead of 1024, and quick enough. */
static const uint32_t crc_of_nibble[16] = {
    0x00000000u, 0x1DB71064u, 0x3B6E20C8u, 0x26D930ACu, 0x76DC4190u, 0x6B6B51F4u,
    0x4DB26158u, 0x5005713Cu, 0xEDB88320u, 0xF00F9344u, 0xD6D6A3E8u, 0xCB61B38Cu,
    0x9B64C2B0u, 0x86D3D2D4u, 0xA00AE278u, 0xBDBDF21Cu};

uint32_t perpend_crc32(const uint8_t *data, size_t size)
{
    uint32_t crc = 0xFFFFFFFFu;
    for (size_t i = 0; i < size; i++) {
        crc ^= data[i];
        crc = (crc >> 4) ^ crc_of_nibble[crc & 0x0Fu];
        crc = (crc >> 4) ^ crc_of_nibble[crc & 0x0Fu];
    }
    return crc ^ 0xFFFFFFFFu;
}

/* Byte i of payload and checksum, as if they lay one behind the other. */
static uint8_t plain_byte(const uint8_t *payload, size_t size, uint32_t crc, size_t i)
{
    if (i < size) {
        return payload[i];
    }
    return (uint8_t)(crc >> (8u * (i - size)));
}

size_t perpend_frame_encode(const uint8_t *payload, size_t size,
                            uint8_t frame[PERPEND_FRAME_ROOM])
{
    if (size == 0 || size > PERPEND_MAX_PAYLOAD) {
        return 0;
    }
    const uint32_t crc = perpend_crc32(payload, size);
    const size_t whole = size + PERPEND_CHECKSUM;
    size_t code_at = 0; /* where the code of the open block stands */
    size_t end = 1;
    for (size_t i = 0; i < whole; i++) {
        const uint8_t byte = plain_byte(payload, size, crc, i);
        if (byte != 0) {
            frame[end++] = byte;
        }
        /* A full block at the very end is sent without a further 01. */
        if (byte == 0 || (end - code_at == 255 && i + 1 < whole)) {
            frame[code_at] = (uint8_t)(end - code_at);
            code_at = end++;
        }
    }
    frame[code_at] = (uint8_t)(end - code_at);
    frame[end++] = 0;
    return end;
}

/* Unstuffs in place: what is written never overtakes what is read. */
static bool unstuff(uint8_t *bytes, size_t size, size_t *plain_size)
{
    size_t from = 0;
    size_t to = 0;
    while (from < size) {
        const uint8_t code = bytes[from++];
        if (code == 0 || (size_t)(code - 1) > size - from) {
            return false;
        }
        for (uint8_t i = 1; i < code; i++) {
            bytes[to++] = bytes[from++];
        }
        if (code < 0xFF && from < size) {
            bytes[to++] = 0;
        }
    }
    *plain_size = to;
    return true;
}

static perpend_heard open_frame(perpend_decoder *decoder)
{
    size_t plain = 0;
    if (!unstuff(decoder->bytes, decoder->size, &plain)) {
        return PERPEND_BAD_STUFFING;
    }
    if (plain <= PERPEND_CHECKSUM) {
        return PERPEND_SHORT;
    }
    decoder->payload_size = plain - PERPEND_CHECKSUM;
    const uint32_t crc = perpend_crc32(decoder->bytes, decoder->payload_size);
    for (size_t i = decoder->payload_size; i < plain; i++) {
        if (decoder->bytes[i] != (uint8_t)(crc >> (8u * (i - decoder->payload_size)))) {
            return PERPEND_BAD_CHECKSUM;
        }
    }
    return PERPEND_PAYLOAD;
}

perpend_heard perpend_decoder_take(perpend_decoder *decoder, uint8_t byte)
{
    perpend_heard heard = PERPEND_NOTHING_YET;
    if (byte == 0) {
        if (!decoder->skipping && decoder->size > 0) {
            heard = open_frame(decoder);
        }
        decoder->size = 0;
        decoder->skipping = false;
    } else if (!decoder->skipping && decoder->size == PERPEND_MAX_FRAME) {
        decoder->skipping = true; /* told once, at once */
        heard = PERPEND_OVERLONG;
    } else if (!decoder->skipping) {
        decoder->bytes[decoder->size++] = byte;
    }
    return heard;
}
