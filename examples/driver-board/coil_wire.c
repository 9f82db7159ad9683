#include "coil_wire.h"

/* Reflected polynomial 0xEDB88320, four bits at a time: a small table, two steps a byte. */
uint32_t coil_crc32(const uint8_t *bytes, size_t count)
{
    static const uint32_t table[16] = {
        0x00000000, 0x1DB71064, 0x3B6E20C8, 0x26D930AC, 0x76DC4190, 0x6B6B51F4,
        0x4DB26158, 0x5005713C, 0xEDB88320, 0xF00F9344, 0xD6D6A3E8, 0xCB61B38C,
        0x9B64C2B0, 0x86D3D2D4, 0xA00AE278, 0xBDBDF21C};
    uint32_t crc = 0xFFFFFFFF;
    for (size_t i = 0; i < count; i++) {
        crc ^= bytes[i];
        crc = crc >> 4 ^ table[crc & 15];
        crc = crc >> 4 ^ table[crc & 15];
    }
    return ~crc;
}

static void begin_piece(coil_decoder *d)
{
    d->len = 0;
    d->taken = 0;
    d->left = 0;
    d->zero_due = false;
}

static enum coil_heard end_piece(coil_decoder *d)
{
    if (d->skipping || d->taken == 0) {
        d->skipping = false;
        return COIL_NOTHING;
    }
    d->spent = true;
    if (d->left > 0 || d->len < 9) {
        return COIL_DAMAGED;
    }
    size_t body = d->len - 4;
    return coil_crc32(d->bytes, body) == coil_get32(d->bytes + body) ? COIL_PACKET : COIL_DAMAGED;
}

enum coil_heard coil_decoder_take(coil_decoder *d, uint8_t byte)
{
    if (d->spent) {
        d->spent = false;
        begin_piece(d);
    }
    if (byte == 0) {
        return end_piece(d);
    }
    if (d->skipping) {
        return COIL_NOTHING;
    }
    if (d->taken == COIL_PIECE) {
        begin_piece(d);
        d->skipping = true;
        return COIL_DAMAGED;
    }
    d->taken++;
    /* Unstuffing gives at most as many bytes as were taken, so `bytes` has room. */
    if (d->left > 0) {
        d->left--;
        d->bytes[d->len++] = byte;
    } else {
        if (d->zero_due) {
            d->bytes[d->len++] = 0;
        }
        d->left = (uint8_t)(byte - 1);
        d->zero_due = byte < 255;
    }
    return COIL_NOTHING;
}

void coil_encoder_begin(coil_encoder *e, uint8_t kind, uint32_t frame, size_t payload)
{
    e->bytes[0] = kind;
    coil_put32(e->bytes + 1, frame);
    coil_put32(e->bytes + 5 + payload, coil_crc32(e->bytes, 5 + payload));
    e->len = 9 + payload;
    e->at = 0;
    e->left = 0;
    e->zero_next = false;
    e->more = true;
}

int coil_encoder_next(coil_encoder *e)
{
    if (e->left > 0) {
        e->left--;
        return e->bytes[e->at++];
    }
    if (!e->more) {
        int delimiter = e->len > 0 ? 0 : -1;
        e->len = 0;
        return delimiter;
    }
    if (e->zero_next) {
        e->at++;
    }
    size_t run = 0;
    while (run < 254 && e->at + run < e->len && e->bytes[e->at + run] != 0) {
        run++;
    }
    e->more = e->at + run < e->len;
    e->zero_next = e->more && run < 254;
    e->left = (uint8_t)run;
    return (int)run + 1;
}
