/* Packets on the line: any bytes in, whole packets out, and back. Described byte by byte in
 * src/frame/wire/mod.rs. Portable C99; no hardware, no memory taken, no library. */
#ifndef COIL_WIRE_H
#define COIL_WIRE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Channels of this board. A DUTY packet carries all of them, wired or not. */
#ifndef COIL_CHANNELS
#define COIL_CHANNELS 24
#endif
#if COIL_CHANNELS < 1 || COIL_CHANNELS > 512
#error "COIL_CHANNELS must be 1 to 512"
#endif

/* Longest payload taken: a HELLO with all limits, and 64 bytes that a newer minor may add. */
#define COIL_PAYLOAD (28 + 4 * COIL_CHANNELS + 64)
/* Kind, frame number and check are nine bytes; stuffing adds one for every 254 begun. */
#define COIL_RAW (9 + COIL_PAYLOAD)
#define COIL_PIECE (COIL_RAW + COIL_RAW / 254 + 1)

enum coil_heard { COIL_NOTHING, COIL_PACKET, COIL_DAMAGED };

/* Takes any bytes and finds whole packets in them. All zero: ready to begin. */
typedef struct {
    uint8_t bytes[COIL_PIECE]; /* unstuffed: kind, frame (4), payload, check (4) */
    size_t len;
    size_t taken;              /* stuffed bytes of this piece so far */
    uint8_t left;              /* bytes that the current block still has */
    bool zero_due;             /* another block would begin with a zero byte */
    bool skipping;             /* the piece is too long: nothing counts until its end */
    bool spent;                /* the piece was handed out */
} coil_decoder;

/* COIL_PACKET: `bytes` and `len` hold a packet whose check is right, until the next call. */
enum coil_heard coil_decoder_take(coil_decoder *decoder, uint8_t byte);

/* Stuffs one packet, byte by byte. All zero: nothing to send. */
typedef struct {
    uint8_t bytes[COIL_RAW];
    size_t len;
    size_t at;
    uint8_t left;
    bool zero_next; /* a zero byte ends the block; the next block's code stands for it */
    bool more;      /* another block follows */
} coil_encoder;

/* `bytes` already holds the payload, from the sixth byte on; adds the rest and begins. */
void coil_encoder_begin(coil_encoder *encoder, uint8_t kind, uint32_t frame, size_t payload);
/* The next byte on the line, or -1. The packet may be rebuilt only after -1. */
int coil_encoder_next(coil_encoder *encoder);

/* CRC-32/ISO-HDLC. */
uint32_t coil_crc32(const uint8_t *bytes, size_t count);

/* ---- Numbers, low byte first ---- */

static inline uint16_t coil_get16(const uint8_t *p)
{
    return (uint16_t)(p[0] | (uint16_t)(p[1] << 8));
}

static inline uint32_t coil_get32(const uint8_t *p)
{
    return coil_get16(p) | ((uint32_t)coil_get16(p + 2) << 16);
}

/* Both return the place after what they wrote. */
static inline uint8_t *coil_put16(uint8_t *p, uint32_t value)
{
    p[0] = (uint8_t)(value & 0xFF);
    p[1] = (uint8_t)(value >> 8 & 0xFF);
    return p + 2;
}

static inline uint8_t *coil_put32(uint8_t *p, uint32_t value)
{
    return coil_put16(coil_put16(p, value & 0xFFFF), value >> 16);
}

#endif
