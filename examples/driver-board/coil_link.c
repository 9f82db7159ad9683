#include "coil_limit.h"

#define STATUS_EVERY_MS 100u
#define HELLO_EVERY_MS 1000u
/* How far it has to cool before an over-temperature ends, 0.1 C. */
#define COOLER_DC 50
/* A reading older than this is none: whoever measures has stopped. */
#define READING_MS 2000u

static void all_off(coil_link *link)
{
    coil_count_heat(link);
    link->on = false;
    link->clamps = false;
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        link->wanted[i] = 0;
        link->duty[i] = 0;
    }
}

/* ---- Packets from the host ---- */

static bool carries(const coil_config *config, uint8_t packing)
{
    switch (packing) {
    case COIL_BYTE: return !config->two_way && config->steps <= 0xFF;
    case COIL_TWELVE: return !config->two_way && config->steps <= 0xFFF;
    case COIL_WORD: return !config->two_way;
    case COIL_SIGNED_WORD: return config->steps <= INT16_MAX;
    default: return false;
    }
}

static uint8_t narrowest(const coil_config *config)
{
    uint8_t packing = COIL_BYTE;
    while (packing < COIL_SIGNED_WORD && !carries(config, packing)) {
        packing++;
    }
    return packing;
}

static uint8_t judge(const coil_link *link, const uint8_t *p, size_t len)
{
    if (len > 0 && p[0] != 1) {
        return COIL_OTHER_MAJOR;
    }
    if (len < 28 || p[2] != 1) {
        return COIL_MALFORMED;
    }
    if (coil_get16(p + 6) != COIL_CHANNELS) {
        return COIL_WRONG_CHANNELS;
    }
    if (coil_get16(p + 8) != link->config.steps) {
        return COIL_WRONG_STEPS;
    }
    if (((p[5] & 1) != 0) != link->config.two_way) {
        return COIL_WRONG_POLARITY;
    }
    if (!carries(&link->config, p[4])) {
        return COIL_WRONG_PACKING;
    }
    uint32_t num = coil_get32(p + 16), den = coil_get32(p + 20), n = coil_get16(p + 26);
    if (num == 0 || den == 0 || (n != 0 && n != COIL_CHANNELS) || len < 28 + 4 * n) {
        return COIL_MALFORMED;
    }
    uint64_t hold_ms = coil_smaller(coil_get16(p + 14), link->config.hold_ms);
    return (uint64_t)den * 1000 > hold_ms * num ? COIL_TOO_SLOW : COIL_READY;
}

static bool take_hello(coil_link *link, const uint8_t *p, size_t len)
{
    bool was_on = link->on;
    all_off(link);
    link->greeted = false;
    if (len > 2 && p[2] == 2) {
        return was_on; /* a board's HELLO, most likely our own on a shorted line: no answer */
    }
    link->verdict = judge(link, p, len);
    link->hello_due = true;
    link->rate_num = len < 28 ? 0 : coil_get32(p + 16);
    link->rate_den = len < 28 ? 0 : coil_get32(p + 20);
    link->packing = narrowest(&link->config);
    link->hold_ms = link->config.hold_ms;
    coil_limit_nothing(&link->host, UINT16_MAX, UINT16_MAX);
    if (link->verdict == COIL_READY) {
        link->greeted = true;
        link->numbered = false;
        link->watchdog_off = false;
        link->reported_ms = link->now_ms;
        link->packing = p[4];
        link->hold_ms = coil_smaller(coil_get16(p + 14), link->config.hold_ms);
        if (coil_get16(p + 24) > 0) {
            link->host.window_s = coil_get16(p + 24);
        }
        for (size_t i = 0; i < coil_get16(p + 26); i++) {
            link->host.most[i] = coil_get16(p + 28 + 4 * i);
            link->host.mean_most[i] = coil_get16(p + 30 + 4 * i);
        }
    }
    coil_set_window(link);
    return was_on;
}

static size_t packed_size(uint8_t packing)
{
    switch (packing) {
    case COIL_BYTE: return COIL_CHANNELS;
    case COIL_TWELVE: return (3 * COIL_CHANNELS + 1) / 2;
    default: return 2 * COIL_CHANNELS;
    }
}

static int32_t unpacked(uint8_t packing, const uint8_t *p, size_t i)
{
    switch (packing) {
    case COIL_BYTE: return p[i];
    case COIL_TWELVE:
        p += i / 2 * 3;
        return i % 2 == 0 ? p[0] | (p[1] & 0x0F) << 8 : p[1] >> 4 | p[2] << 4;
    case COIL_WORD: return coil_get16(p + 2 * i);
    default: {
        int32_t word = coil_get16(p + 2 * i);
        return word > INT16_MAX ? word - 0x10000 : word;
    }
    }
}

/* Whether the payload is exactly one code for each channel, all of them this driver's. */
static bool codes_are_good(const coil_link *link, const uint8_t *p, size_t len)
{
    if (len != packed_size(link->packing)) {
        return false;
    }
    if (link->packing == COIL_TWELVE && COIL_CHANNELS % 2 == 1 && p[len - 1] >> 4 != 0) {
        return false;
    }
    int32_t steps = link->config.steps;
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        int32_t code = unpacked(link->packing, p, i);
        if (code > steps || code < (link->config.two_way ? -steps : 0)) {
            return false;
        }
    }
    return true;
}

static bool take_duty(coil_link *link, uint32_t frame, const uint8_t *p, size_t len)
{
    uint32_t ahead = frame - link->frame;
    /* Serial numbers as in RFC 1982: newer is up to half the circle ahead. */
    bool newer = !link->numbered || (ahead != 0 && ahead < 0x80000000);
    bool ready = link->greeted && !link->hot && !link->store_due;
    if (!ready || !newer || !codes_are_good(link, p, len)) {
        link->counts.dropped++;
        return false;
    }
    coil_count_heat(link);
    link->counts.taken++;
    link->counts.missed += link->numbered ? ahead - 1 : 0;
    link->numbered = true;
    link->fresh = false;
    link->frame = frame;
    link->frame_ms = link->now_ms;
    link->watchdog_off = false;
    link->on = true;
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        link->wanted[i] = unpacked(link->packing, p, i);
    }
    coil_limit_duties(link);
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        link->counts.clamped += link->duty[i] != link->wanted[i];
    }
    return true;
}

/* Whether the payload is limits for this board, and this is the time to take them. */
static bool limits_are_good(const coil_link *link, const uint8_t *p, size_t len)
{
    if (link->store_due || len != 4 + 4 * COIL_CHANNELS || coil_get16(p) == 0 ||
        coil_get16(p + 2) != COIL_CHANNELS) {
        return false;
    }
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        const uint8_t *at = p + 4 + 4 * i;
        if (link->duty[i] != 0 || coil_get16(at) > link->config.steps ||
            coil_get16(at + 2) > link->config.steps) {
            return false;
        }
    }
    return true;
}

/* Sets the board's own limits, while all coils are off. What the host asked for besides stays. */
static bool take_limits(coil_link *link, const uint8_t *p, size_t len)
{
    bool was_on = link->on;
    link->verdict = link->greeted ? COIL_READY : COIL_NO_HELLO_YET;
    if (!limits_are_good(link, p, len)) {
        link->counts.dropped++;
        link->hello_due = true;
        return false;
    }
    all_off(link);
    bool same = link->base.window_s == coil_get16(p);
    link->base.window_s = coil_get16(p);
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        uint16_t most = coil_get16(p + 4 + 4 * i), mean_most = coil_get16(p + 6 + 4 * i);
        same = same && link->base.most[i] == most && link->base.mean_most[i] == mean_most;
        link->base.most[i] = most;
        link->base.mean_most[i] = mean_most;
    }
    if (same && link->is_kept) {
        link->hello_due = true; /* flash wears, and has them */
        return was_on;
    }
    coil_set_window(link);
    link->store_due = true; /* the answer waits for coil_link_stored */
    return was_on;
}

static bool take_packet(coil_link *link)
{
    const uint8_t *p = link->in.bytes + 5;
    size_t len = link->in.len - 9;
    switch (link->in.bytes[0]) {
    case COIL_HELLO: return take_hello(link, p, len);
    case COIL_DUTY: return take_duty(link, coil_get32(link->in.bytes + 1), p, len);
    case COIL_LIMITS: return take_limits(link, p, len);
    case COIL_OFF: {
        /* Whatever its number, and without touching the numbering: a stray OFF must be able to
         * stop the coils and must not be able to lock out the frames after it. */
        bool was_on = link->on;
        all_off(link);
        return was_on;
    }
    default: return false;
    }
}

/* ---- Packets to the host ---- */

static void write_hello(coil_link *link)
{
    const coil_config *config = &link->config;
    uint8_t *p = link->out.bytes + 5;
    *p++ = 1;
    *p++ = 0;
    *p++ = 2;
    *p++ = link->verdict;
    *p++ = link->packing;
    *p++ = (uint8_t)(config->two_way | config->knows_temperature << 1 | config->knows_supply << 2 |
                     config->knows_current << 3 | config->keeps_limits << 4);
    p = coil_put16(p, COIL_CHANNELS);
    p = coil_put16(p, config->steps);
    p = coil_put32(p, config->pwm_hz);
    p = coil_put16(p, link->hold_ms);
    p = coil_put32(p, link->rate_num);
    p = coil_put32(p, link->rate_den);
    p = coil_put16(p, coil_window_s(link));
    p = coil_put16(p, COIL_CHANNELS);
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        p = coil_put16(p, coil_most(link, i));
        p = coil_put16(p, coil_mean_most(link, i));
    }
    coil_encoder_begin(&link->out, COIL_HELLO, 0, (size_t)(p - link->out.bytes) - 5);
}

static void write_status(coil_link *link)
{
    const coil_counts *counts = &link->counts;
    uint8_t *p = link->out.bytes + 5;
    *p++ = (uint8_t)(link->on | link->watchdog_off << 1 | !link->greeted << 2 | link->clamps << 3 |
                     link->hot << 4);
    *p++ = 0;
    p = coil_put16(p, counts->trips);
    p = coil_put32(p, counts->taken);
    p = coil_put32(p, counts->missed);
    p = coil_put32(p, counts->dropped);
    p = coil_put32(p, counts->damaged);
    p = coil_put32(p, counts->clamped);
    p = coil_put16(p, (uint16_t)link->temperature_dc);
    p = coil_put16(p, link->supply_10mv);
    p = coil_put16(p, link->current_10ma);
    p = coil_put16(p, COIL_CHANNELS);
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        p = coil_put16(p, coil_link_mean(link, i));
    }
    coil_encoder_begin(&link->out, COIL_STATUS, link->frame, (size_t)(p - link->out.bytes) - 5);
}

int coil_link_next(coil_link *link)
{
    int byte = coil_encoder_next(&link->out);
    if (byte >= 0 || !(link->hello_due || link->status_due)) {
        return byte;
    }
    if (link->hello_due) {
        link->hello_due = false;
        write_hello(link);
    } else {
        link->status_due = false;
        write_status(link);
    }
    return coil_encoder_next(&link->out);
}

/* ---- What the board calls ---- */

void coil_link_init(coil_link *link, const coil_config *config, const coil_limits *limits)
{
    uint8_t *bytes = (uint8_t *)link;
    for (size_t i = 0; i < sizeof *link; i++) {
        bytes[i] = 0;
    }
    link->config = *config;
    link->hold_ms = config->hold_ms;
    link->packing = narrowest(config);
    link->hot = config->knows_temperature;
    link->temperature_dc = COIL_NO_TEMPERATURE;
    link->supply_10mv = COIL_NO_READING;
    link->current_10ma = COIL_NO_READING;
    link->reported_ms = 0u - HELLO_EVERY_MS; /* the first announcement at once */
    coil_limit_nothing(&link->base, 60, config->steps);
    coil_limit_nothing(&link->host, UINT16_MAX, UINT16_MAX);
    if (limits != NULL && coil_limits_fit(limits, config->steps)) {
        link->base = *limits;
        link->is_kept = true;
    }
    link->fresh = true;
    coil_begin_heat(link);
}

bool coil_link_feed(coil_link *link, uint8_t byte)
{
    switch (coil_decoder_take(&link->in, byte)) {
    case COIL_DAMAGED: link->counts.damaged++; return false;
    case COIL_PACKET: return take_packet(link);
    default: return false;
    }
}

bool coil_link_tick(coil_link *link, uint32_t now_ms)
{
    bool changed = false;
    link->now_ms = now_ms;
    if (now_ms - link->measured_ms > READING_MS) {
        changed = coil_link_measured(link, COIL_NO_TEMPERATURE, COIL_NO_READING, COIL_NO_READING);
    }
    if (now_ms - link->counted_ms >= COIL_SLOT_MS - link->slot_ms) {
        changed = coil_count_heat(link) || changed;
    }
    if (link->on && now_ms - link->frame_ms >= link->hold_ms) {
        all_off(link);
        link->counts.trips++;
        link->watchdog_off = true;
        changed = true;
    }
    uint32_t silent_ms = now_ms - link->reported_ms;
    if (link->greeted && silent_ms >= STATUS_EVERY_MS) {
        link->reported_ms = now_ms;
        link->status_due = true;
    } else if (!link->greeted && silent_ms >= HELLO_EVERY_MS && !link->hello_due) {
        link->reported_ms = now_ms;
        link->verdict = COIL_NO_HELLO_YET;
        link->hello_due = true;
    }
    return changed;
}

bool coil_link_measured(coil_link *link, int16_t temperature_dc, uint16_t supply_10mv,
                        uint16_t current_10ma)
{
    const coil_config *config = &link->config;
    bool was_on = link->on;
    link->measured_ms = link->now_ms;
    link->temperature_dc = temperature_dc;
    link->supply_10mv = supply_10mv;
    link->current_10ma = current_10ma;
    if (config->knows_temperature) {
        int32_t limit = config->hottest_dc - (link->hot ? COOLER_DC : 0);
        link->hot = temperature_dc >= limit; /* no reading is the highest of all */
    }
    if (link->hot) {
        all_off(link);
    }
    return was_on != link->on;
}

void coil_link_stored(coil_link *link, bool well)
{
    link->store_due = false;
    link->is_kept = well;
    link->config.keeps_limits = well; /* if not, they hold until the next reset, and we say so */
    link->hello_due = true;
}
