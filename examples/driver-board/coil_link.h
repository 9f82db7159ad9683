/* The board's end of the line: bytes from the host in, compare values for the coils out.
 *
 * Portable C99. Touches no hardware, takes no memory, calls no library, waits for nothing. Feed it
 * every byte that the line brings and the time once a millisecond; apply duty[] whenever it says
 * that they changed; keep the common output enable alive only while `on` is true; send what it has
 * to say. The packets are described in src/frame/wire/mod.rs, the board's duties in README.md.
 *
 *     coil_link_init(&link, &config, stored_limits_or_NULL);
 *     for (;;) {
 *         if (coil_link_tick(&link, milliseconds())) apply(link.duty, link.on);
 *         if (a byte came && coil_link_feed(&link, byte)) apply(link.duty, link.on);
 *         if (the line is free && (out = coil_link_next(&link)) >= 0) send(out);
 *         if (link.store_due) coil_link_stored(&link, write_to_flash(&link.base));
 *     }
 */
#ifndef COIL_LINK_H
#define COIL_LINK_H

#include "coil_wire.h"

enum coil_kind { COIL_HELLO = 1, COIL_DUTY = 2, COIL_OFF = 3, COIL_STATUS = 4, COIL_LIMITS = 5 };

/* The board's answer to a HELLO. */
enum coil_verdict {
    COIL_READY = 0,
    COIL_OTHER_MAJOR = 1,
    COIL_WRONG_CHANNELS = 2,
    COIL_WRONG_STEPS = 3,
    COIL_WRONG_POLARITY = 4,
    COIL_WRONG_PACKING = 5,
    COIL_TOO_SLOW = 6,      /* a frame lasts longer than hold */
    COIL_MALFORMED = 7,
    COIL_NO_HELLO_YET = 8
};

enum coil_packing { COIL_BYTE = 0, COIL_TWELVE = 1, COIL_WORD = 2, COIL_SIGNED_WORD = 3 };

/* Readings the board does not have. */
#define COIL_NO_TEMPERATURE INT16_MAX
#define COIL_NO_READING UINT16_MAX

/* What the board is. */
typedef struct {
    uint16_t steps;       /* compare value at full duty */
    bool two_way;         /* codes may be negative, down to -steps; steps are then <= 32767 */
    uint16_t hold_ms;     /* all off this long after the last good frame */
    uint32_t pwm_hz;      /* 0: not stated */
    bool knows_temperature, knows_supply, knows_current, keeps_limits;
    int16_t hottest_dc;   /* all off from here on, 0.1 C; back 5 C below */
} coil_config;

/* Largest |code|, and largest mean |code|, of each channel. */
typedef struct {
    uint16_t window_s;    /* time constant of the mean, at least 1 */
    uint16_t most[COIL_CHANNELS];
    uint16_t mean_most[COIL_CHANNELS];
} coil_limits;

/* All count from reset and wrap. */
typedef struct {
    uint16_t trips;
    uint32_t taken, missed, dropped, damaged, clamped;
} coil_counts;

typedef struct {
    /* For the board to apply. */
    int32_t duty[COIL_CHANNELS];
    bool on;              /* false: every coil is off, drop the output enable */
    bool store_due;       /* write `base` to flash, then call coil_link_stored */
    coil_limits base;     /* the board's own limits */

    /* For whoever looks on. */
    coil_counts counts;
    uint32_t frame;       /* last frame taken */
    bool greeted, watchdog_off, hot, clamps;

    /* Private. */
    coil_config config;
    coil_limits host;     /* what the host asked for besides; may only tighten */
    coil_decoder in;
    coil_encoder out;
    int32_t wanted[COIL_CHANNELS];
    uint32_t sum[COIL_CHANNELS];    /* |code| times ms in this slot */
    uint64_t store[COIL_CHANNELS];  /* the integrators, see coil_limit.c */
    uint32_t slots;                 /* slots in the window in force */
    uint32_t now_ms, counted_ms, slot_ms, frame_ms, reported_ms, measured_ms;
    uint32_t rate_num, rate_den;
    uint16_t hold_ms;
    uint8_t packing, verdict;
    bool fresh, numbered, hello_due, status_due;
    bool is_kept;                   /* `base` is what lies in flash */
    int16_t temperature_dc;
    uint16_t supply_10mv, current_10ma;
} coil_link;

/* Whether these limits could be this board's. */
bool coil_limits_fit(const coil_limits *limits, uint16_t steps);

/* All off. Without limits (NULL, or ones that do not fit) nothing is limited but to the steps.
 * What the coils did before the reset is not known, and a board that resets over and over must not
 * begin anew each time: so each mean starts at its limit, the one in force at the first frame. */
void coil_link_init(coil_link *link, const coil_config *config, const coil_limits *limits);

/* A byte from the line. True: apply duty[] and `on` now. */
bool coil_link_feed(coil_link *link, uint8_t byte);

/* The time, from any start, wrapping; at least once a millisecond. True: apply. */
bool coil_link_tick(coil_link *link, uint32_t now_ms);

/* Readings, at least once a second; COIL_NO_... for what is not known. True: apply. A board that
 * says it knows its temperature stays off until it tells one: a broken sensor is a hot one. Readings
 * older than two seconds are none. */
bool coil_link_measured(coil_link *link, int16_t temperature_dc, uint16_t supply_10mv,
                        uint16_t current_10ma);

/* After `store_due`: whether flash now holds `base`. */
void coil_link_stored(coil_link *link, bool well);

/* The next byte to send, or -1. */
int coil_link_next(coil_link *link);

/* Mean |code| of a channel over the window. */
uint16_t coil_link_mean(const coil_link *link, size_t channel);

#endif
