/* The board's portable C on the end of a pipe. A command is one letter and its arguments, numbers
 * low byte first; every answer begins with its length in four bytes. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "limits_store.h"

static coil_link board;
static limits_record flash[2];

/* What is answered next. */
static uint8_t out[1u << 22];
static size_t out_len;

static void say(const void *bytes, size_t count)
{
    if (out_len + count > sizeof out) {
        abort();
    }
    memcpy(out + out_len, bytes, count);
    out_len += count;
}

static void say8(uint32_t value)
{
    uint8_t byte = (uint8_t)value;
    say(&byte, 1);
}

static void say32(uint32_t value)
{
    uint8_t bytes[4];
    coil_put32(bytes, value);
    say(bytes, 4);
}

static void ask(void *bytes, size_t count)
{
    if (fread(bytes, 1, count, stdin) != count) {
        exit(1);
    }
}

static uint8_t ask8(void)
{
    uint8_t byte;
    ask(&byte, 1);
    return byte;
}

static uint16_t ask16(void)
{
    uint8_t bytes[2];
    ask(bytes, 2);
    return coil_get16(bytes);
}

static uint32_t ask32(void)
{
    uint8_t bytes[4];
    ask(bytes, 4);
    return coil_get32(bytes);
}

/* A fresh copy of its own size, so that the sanitizer sees a read past its end. */
static uint8_t *ask_bytes(size_t *count)
{
    *count = ask32();
    uint8_t *bytes = malloc(*count + 1);
    ask(bytes, *count);
    return bytes;
}

static void decode(void)
{
    static coil_decoder decoder;
    size_t count;
    uint8_t *bytes = ask_bytes(&count);
    uint32_t damaged = 0;
    memset(&decoder, 0, sizeof decoder);
    say32(0);
    for (size_t i = 0; i < count; i++) {
        enum coil_heard heard = coil_decoder_take(&decoder, bytes[i]);
        damaged += heard == COIL_DAMAGED;
        if (heard == COIL_PACKET) {
            say32((uint32_t)decoder.len - 4);
            say(decoder.bytes, decoder.len - 4);
        }
    }
    coil_put32(out, damaged);
    free(bytes);
}

static void encode(void)
{
    static coil_encoder encoder;
    uint8_t kind = ask8();
    uint32_t frame = ask32();
    size_t count;
    uint8_t *bytes = ask_bytes(&count);
    if (count > COIL_PAYLOAD) {
        abort();
    }
    memcpy(encoder.bytes + 5, bytes, count);
    coil_encoder_begin(&encoder, kind, frame, count);
    for (int byte; (byte = coil_encoder_next(&encoder)) >= 0;) {
        say8((uint32_t)byte);
    }
    free(bytes);
}

static void init(void)
{
    coil_config config = {0};
    static coil_limits limits;
    config.steps = ask16();
    config.two_way = ask8() != 0;
    config.hold_ms = ask16();
    config.pwm_hz = ask32();
    uint8_t knows = ask8();
    config.knows_temperature = (knows & 2) != 0;
    config.knows_supply = (knows & 4) != 0;
    config.knows_current = (knows & 8) != 0;
    config.keeps_limits = (knows & 16) != 0;
    config.hottest_dc = (int16_t)ask16();
    limits.window_s = ask16();
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        limits.most[i] = ask16();
        limits.mean_most[i] = ask16();
    }
    /* The link must not rely on memory that begins as zero. */
    memset(&board, 0xA5, sizeof board);
    coil_link_init(&board, &config, limits.window_s == 0 ? NULL : &limits);
}

static void feed(void)
{
    size_t count;
    uint8_t *bytes = ask_bytes(&count);
    uint32_t changes = 0;
    for (size_t i = 0; i < count; i++) {
        changes += coil_link_feed(&board, bytes[i]);
    }
    say32(changes);
    free(bytes);
}

/* A tick each millisecond up to a time; answers those that changed something. */
static void run_until(void)
{
    uint32_t until = ask32();
    while (board.now_ms != until) {
        uint32_t now = board.now_ms + 1;
        if (coil_link_tick(&board, now)) {
            say32(now);
        }
    }
}

static void state(void)
{
    say8(board.on);
    say8(board.greeted);
    say8(board.store_due);
    say8(board.hot);
    say32(board.now_ms);
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        say32((uint32_t)board.duty[i]);
    }
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        say32(coil_link_mean(&board, i));
    }
}

/* What a board does after `store_due`, into the place that is not the newest. */
static void store(void)
{
    const limits_record *newest = limits_newest(&flash[0], &flash[1], board.config.steps);
    size_t place = newest == &flash[0] ? 1 : 0;
    limits_seal(&flash[place], &board.base, board.config.steps, newest);
    coil_link_stored(&board, true);
    say8((uint32_t)place);
}

static void reset_from_flash(void)
{
    coil_config config = board.config;
    const limits_record *newest = limits_newest(&flash[0], &flash[1], config.steps);
    coil_link_init(&board, &config, newest == NULL ? NULL : &newest->limits);
    say8(newest != NULL);
}

static void damage_flash(void)
{
    size_t place = ask8(), at = ask32() % sizeof flash[0];
    ((uint8_t *)&flash[place])[at] ^= ask8();
}

int main(void)
{
    memset(flash, 0xFF, sizeof flash);
    for (int command; (command = getchar()) != EOF;) {
        out_len = 0;
        switch (command) {
        case 'D': decode(); break;
        case 'E': encode(); break;
        case 'I': init(); break;
        case 'F': feed(); break;
        case 'T': say8(coil_link_tick(&board, ask32())); break;
        case 'U': run_until(); break;
        case 'M': {
            int16_t temperature = (int16_t)ask16();
            uint16_t supply = ask16();
            say8(coil_link_measured(&board, temperature, supply, ask16()));
            break;
        }
        case 'S': coil_link_stored(&board, ask8() != 0); break;
        case 'N':
            for (int byte; (byte = coil_link_next(&board)) >= 0;) {
                say8((uint32_t)byte);
            }
            break;
        case '?': state(); break;
        case 'W': store(); break;
        case 'R': reset_from_flash(); break;
        case 'X': damage_flash(); break;
        default: abort();
        }
        uint8_t len[4];
        coil_put32(len, (uint32_t)out_len);
        fwrite(len, 1, 4, stdout);
        fwrite(out, 1, out_len, stdout);
        fflush(stdout);
    }
    return 0;
}
