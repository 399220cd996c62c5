#include "guard.h"

#include <stddef.h>
#include <string.h>

// A single sample may be a spark; the second in a row is not.
#define OVER_CURRENT_SAMPLES 2
// A servo that starts pulls its supply down for a moment.
#define UNDER_VOLTAGE_MS 50
#define STILL_CDEG 30

static bool within(int32_t value, int32_t low, int32_t high) {
    return low <= value && value <= high;
}

bool limits_set(Limits *limits, const char *name, int32_t milli) {
    if (strcmp(name, "current_ma") == 0 && within(milli, 1000, 50000000)) {
        limits->current_ma = milli / 1000;
    } else if (strcmp(name, "case_c") == 0 && within(milli, 0, 150000)) {
        limits->case_dc = (int16_t)(milli / 100);
    } else if (strcmp(name, "supply_v") == 0 && within(milli, 0, 60000)) {
        limits->supply_mv = milli;
    } else if (strcmp(name, "pulse_lo_us") == 0 && within(milli, 500000, 2500000)) {
        // Inwards to the next tick.
        limits->pulse_lo = (uint16_t)((milli + 499) / 500);
    } else if (strcmp(name, "pulse_hi_us") == 0 && within(milli, 500000, 2500000)) {
        limits->pulse_hi = (uint16_t)(milli / 500);
    } else if (strcmp(name, "stall_ms") == 0 && within(milli, 20000, 60000000)) {
        limits->stall_ms = (uint16_t)(milli / 1000);
    } else {
        return false;
    }
    return true;
}

bool limits_agree(const Limits *limits) {
    return limits->pulse_lo < limits->pulse_hi;
}

void guard_begin(Guard *guard, const Reading *now) {
    guard->over = 0;
    guard->under_ms = guard->still_ms = 0;
    guard->still_at_cdeg = now->angle_cdeg;
}

static uint16_t longer(uint16_t since, bool holds, uint16_t ms) {
    if (!holds) return 0;
    return since > UINT16_MAX - ms ? UINT16_MAX : (uint16_t)(since + ms);
}

Guarded guard_watch(Guard *guard, const Limits *limits, int32_t stall_ma, const Reading *now, uint16_t ms) {
    guard->over = now->current_ma > limits->current_ma ? (uint8_t)(guard->over + 1) : 0;
    if (guard->over >= OVER_CURRENT_SAMPLES) return GUARD_OVER_CURRENT;
    if (!now->case_lost && now->case_dc > limits->case_dc) return GUARD_OVER_TEMPERATURE;
    guard->under_ms = longer(guard->under_ms, now->supply_mv < limits->supply_mv, ms);
    if (guard->under_ms > UNDER_VOLTAGE_MS) return GUARD_UNDER_VOLTAGE;

    int32_t moved = now->angle_cdeg - guard->still_at_cdeg;
    bool moves = moved > STILL_CDEG || moved < -STILL_CDEG;
    bool works = now->current_ma >= stall_ma;
    if (moves || !works) guard->still_at_cdeg = now->angle_cdeg;
    guard->still_ms = longer(guard->still_ms, works && !moves, ms);
    return guard->still_ms > limits->stall_ms ? GUARD_STALLED : GUARD_QUIET;
}

const char *guard_objects(const Limits *limits, const Reading *now) {
    if (now->current_lost || now->angle_lost) return "sensor-fault";
    if (now->supply_mv < limits->supply_mv) return "under-voltage";
    if (!now->case_lost && now->case_dc > limits->case_dc) return "over-temperature";
    if (now->current_ma > limits->current_ma) return "over-current";
    return NULL;
}
