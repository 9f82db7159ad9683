/* A board's limits as they lie in flash: two places, written in turn, so that a supply that fails
 * while one is written leaves the other. Portable; the board reads and writes the flash. */
#ifndef LIMITS_STORE_H
#define LIMITS_STORE_H

#include "coil_link.h"

typedef struct {
    uint32_t sequence; /* the newer of two counts on */
    uint16_t channels; /* of the board that wrote it, and */
    uint16_t steps;    /* its steps: another build must not read these limits as its own */
    coil_limits limits;
    uint16_t spare;
    uint32_t check;    /* CRC-32 over everything before it */
} limits_record;

/* The newer good record, or NULL if neither is. */
const limits_record *limits_newest(const limits_record *a, const limits_record *b, uint16_t steps);

/* Fills in `record` as the one that follows `newest` (or NULL). */
void limits_seal(limits_record *record, const coil_limits *limits, uint16_t steps,
                 const limits_record *newest);

#endif
