/* Limits and integrators: the part of the link that stands between what was asked and what is
 * applied. For coil_link.c only. */
#ifndef COIL_LIMIT_H
#define COIL_LIMIT_H

#include "coil_link.h"

#define COIL_SLOT_MS 10u

static inline uint16_t coil_smaller(uint16_t a, uint16_t b)
{
    return a < b ? a : b;
}

/* Limits in force. */
uint16_t coil_most(const coil_link *link, size_t channel);
uint16_t coil_mean_most(const coil_link *link, size_t channel);
uint16_t coil_window_s(const coil_link *link);

void coil_limit_nothing(coil_limits *limits, uint16_t window_s, uint16_t steps);

/* After reset: every mean at its limit. */
void coil_begin_heat(coil_link *link);
/* After the limits in force changed: means stay what they are. Under a longer window than before, and
 * before the first frame, they start at the limit. */
void coil_set_window(coil_link *link);
/* Counts the duties applied since the last call; true if a slot ended and that changed them. */
bool coil_count_heat(coil_link *link);
/* Turns what is wanted into what is applied; true if that is something new. */
bool coil_limit_duties(coil_link *link);

#endif
