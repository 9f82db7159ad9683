#include "limits_store.h"

static uint32_t check(const limits_record *record)
{
    return coil_crc32((const uint8_t *)record, offsetof(limits_record, check));
}

static bool is_good(const limits_record *record, uint16_t steps)
{
    return record->check == check(record) && record->channels == COIL_CHANNELS &&
           record->steps == steps && coil_limits_fit(&record->limits, steps);
}

const limits_record *limits_newest(const limits_record *a, const limits_record *b, uint16_t steps)
{
    bool good_a = is_good(a, steps), good_b = is_good(b, steps);
    if (good_a && good_b) {
        return a->sequence - b->sequence < 0x80000000 ? a : b;
    }
    return good_a ? a : good_b ? b : NULL;
}

void limits_seal(limits_record *record, const coil_limits *limits, uint16_t steps,
                 const limits_record *newest)
{
    record->sequence = newest == NULL ? 0 : newest->sequence + 1;
    record->channels = COIL_CHANNELS;
    record->steps = steps;
    record->limits = *limits;
    record->spare = 0;
    record->check = check(record);
}
