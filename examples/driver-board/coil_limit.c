#include "coil_limit.h"

/* ---- Limits in force: the tighter of the board's own and the host's ---- */

uint16_t coil_most(const coil_link *link, size_t i)
{
    return coil_smaller(link->base.most[i], link->host.most[i]);
}

uint16_t coil_mean_most(const coil_link *link, size_t i)
{
    return coil_smaller(link->base.mean_most[i], link->host.mean_most[i]);
}

/* A shorter window is the tighter one: the mean over a longer window w2 is a mean of the mean over
 * w1, namely w1/w2 of it as it is and the rest smoothed over w2, so it never exceeds it for long. It
 * also forgets sooner, so whoever goes back to a longer one starts at the limit: see below. */
uint16_t coil_window_s(const coil_link *link)
{
    return coil_smaller(link->base.window_s, link->host.window_s);
}

bool coil_limits_fit(const coil_limits *limits, uint16_t steps)
{
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        if (limits->most[i] > steps || limits->mean_most[i] > steps) {
            return false;
        }
    }
    return limits->window_s > 0;
}

void coil_limit_nothing(coil_limits *limits, uint16_t window_s, uint16_t steps)
{
    limits->window_s = window_s;
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        limits->most[i] = steps;
        limits->mean_most[i] = steps;
    }
}

/* ---- The integrators ----
 *
 * Time is cut into slots of 10 ms. With S the sum of |code| * ms over a slot and N slots in the
 * window, each slot ends with
 *
 *     store = store + S - floor(store / N)
 *
 * and the mean is store / (10 N): a leaky integrator with the window as its time constant.
 *
 * Rounding: let e be what the store is ahead of the same sum without floor. Each slot turns e into
 * e * (1 - 1/N) + f with 0 <= f < 1, so 0 <= e < N for ever: the mean is never too low and less than
 * 0.1 code too high, whatever the window. Slots: against the continuous filter exp(-t/window), the
 * step response is off by less than steps / N (one slot late, and (1 - 1/N)^n for exp(-n/N)), which
 * is 0.02 % of full scale at 60 s.
 *
 * The clamp: while the mean is above its limit M, |code| <= M, so the mean cannot rise. It gets
 * above only in a slot that began at or below, thus by at most (steps - M) / N + 0.1 codes. A steady
 * request above M does not make the clamp come and go: the store falls until floor(store / N) = 10 M
 * and stays there, just above the limit; it takes a request below M to end it. */
#define SLOTS_PER_S (1000u / COIL_SLOT_MS)
/* A clock that jumps is followed this far; a watchdog has long ended whatever stood still. */
#define LONGEST_STEP_MS 10000u

static bool above_mean(const coil_link *link, size_t i)
{
    return link->store[i] > (uint64_t)coil_mean_most(link, i) * COIL_SLOT_MS * link->slots;
}

uint16_t coil_link_mean(const coil_link *link, size_t i)
{
    uint64_t unit = (uint64_t)COIL_SLOT_MS * link->slots;
    return (uint16_t)((link->store[i] + unit / 2) / unit);
}

void coil_begin_heat(coil_link *link)
{
    link->slots = coil_window_s(link) * SLOTS_PER_S;
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        link->store[i] = (uint64_t)coil_mean_most(link, i) * COIL_SLOT_MS * link->slots;
    }
}

void coil_set_window(coil_link *link)
{
    uint32_t slots = coil_window_s(link) * SLOTS_PER_S;
    bool longer = slots > link->slots;
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        /* Keeps the mean. In two parts, as the product would not fit; rounded up. */
        uint64_t whole = link->store[i] / link->slots;
        uint64_t rest = link->store[i] % link->slots;
        link->store[i] = whole * slots + (rest * slots + link->slots - 1) / link->slots;
    }
    link->slots = slots;
    /* A fresh board starts at whatever limit is in force when it first drives. What was forgotten
     * under a shorter window may have been heat: then no mean is believed below its limit. */
    for (size_t i = 0; (link->fresh || longer) && i < COIL_CHANNELS; i++) {
        uint64_t limit = (uint64_t)coil_mean_most(link, i) * COIL_SLOT_MS * slots;
        if (link->fresh || link->store[i] < limit) {
            link->store[i] = limit;
        }
    }
}

static int32_t clamp(int32_t code, uint16_t limit)
{
    return code > limit ? limit : code < -(int32_t)limit ? -(int32_t)limit : code;
}

static uint32_t magnitude(int32_t code)
{
    return (uint32_t)(code < 0 ? -code : code);
}

bool coil_limit_duties(coil_link *link)
{
    bool changed = false;
    link->clamps = false;
    for (size_t i = 0; i < COIL_CHANNELS; i++) {
        int32_t code = clamp(link->wanted[i], coil_most(link, i));
        if (above_mean(link, i)) {
            code = clamp(code, coil_mean_most(link, i));
        }
        link->clamps = link->clamps || code != link->wanted[i];
        changed = changed || code != link->duty[i];
        link->duty[i] = code;
    }
    return changed;
}

bool coil_count_heat(coil_link *link)
{
    bool changed = false;
    uint32_t ms = link->now_ms - link->counted_ms;
    link->counted_ms = link->now_ms;
    if (ms > LONGEST_STEP_MS) {
        ms = LONGEST_STEP_MS;
    }
    while (ms > 0) {
        uint32_t part = COIL_SLOT_MS - link->slot_ms;
        part = part < ms ? part : ms;
        ms -= part;
        link->slot_ms += part;
        bool ends = link->slot_ms == COIL_SLOT_MS;
        for (size_t i = 0; i < COIL_CHANNELS; i++) {
            link->sum[i] += magnitude(link->duty[i]) * part;
            if (ends) {
                link->store[i] += link->sum[i];
                link->store[i] -= (link->store[i] - link->sum[i]) / link->slots;
                link->sum[i] = 0;
            }
        }
        if (ends) {
            link->slot_ms = 0;
            changed = coil_limit_duties(link) || changed;
        }
    }
    return changed;
}
