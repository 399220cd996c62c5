#include "guard.h"

#include <stddef.h>
#include <string.h>

/* A surface that has come further than this is moving: hundredths of a degree. */
#define STILL_CDEG 50
/* A low current limit must not hide a stall behind it. */
#define STALL_SHARE_OF_LIMIT_PERCENT 60

const char *const CHANNEL_NAME[CHANNELS] = {"angle_deg", "current_ma", "supply_v", "case_c"};
const uint8_t CHANNEL_DECIMALS[CHANNELS] = {2, 0, 2, 1};

static const char *const LIMIT_NAME[LIMITS] = {"current_ma", "case_c", "supply_v", "pulse_lo_us", "pulse_hi_us", "stall_ms"};

static bool has(uint8_t set, enum channel channel) { return (set >> channel) & 1u; }

static bool within(int32_t value, int32_t lo, int32_t hi) { return value >= lo && value <= hi; }

static bool sensible(enum limit which, int32_t value) {
    switch (which) {
    case LIMIT_CURRENT:
        return value >= 1000;
    case LIMIT_CASE:
        return within(value, 0, 150000);
    case LIMIT_SUPPLY:
        return value >= 0;
    case LIMIT_STALL:
        return within(value, 20000, 60000000);
    default:
        return within(value, PULSE_SHORTEST, PULSE_LONGEST);
    }
}

/* A limit that the board cannot watch is refused: taking it would promise what nobody keeps. */
static const char *watched(enum limit which, int32_t value) {
    static const char NO_SENSOR[] = "no-sensor", BEYOND[] = "beyond-sensor";
    if (which == LIMIT_CURRENT) {
        if (!has(GUARD_BOARD.fitted, CHANNEL_CURRENT))
            return NO_SENSOR;
        return value > GUARD_BOARD.most_current ? BEYOND : NULL;
    }
    if (which == LIMIT_SUPPLY) {
        if (!has(GUARD_BOARD.fitted, CHANNEL_SUPPLY))
            return NO_SENSOR;
        return value > GUARD_BOARD.most_supply ? BEYOND : NULL;
    }
    if (which == LIMIT_CASE && !has(GUARD_BOARD.fitted, CHANNEL_CASE))
        return NO_SENSOR;
    return NULL;
}

const char *limits_set(struct limits *limits, const char *name, uint8_t length, int32_t value) {
    for (uint8_t which = 0; which < LIMITS; which++) {
        if (strlen(LIMIT_NAME[which]) != length || memcmp(LIMIT_NAME[which], name, length) != 0)
            continue;
        if (!sensible((enum limit)which, value))
            return "senseless-number";
        limits->of[which] = value;
        return watched((enum limit)which, value);
    }
    return "unknown-limit";
}

const char *limits_whole(const struct limits *limits) {
    /* At least two steps of the timer apart, so that there is a pulse between them. */
    return limits->of[LIMIT_PULSE_HI] - limits->of[LIMIT_PULSE_LO] < 1000 ? "senseless-number" : NULL;
}

bool limits_allow(const struct limits *limits, int32_t pulse) {
    return within(pulse, limits->of[LIMIT_PULSE_LO], limits->of[LIMIT_PULSE_HI]);
}

int32_t limits_middle(const struct limits *limits) {
    return (limits->of[LIMIT_PULSE_LO] + limits->of[LIMIT_PULSE_HI]) / 2;
}

void guard_begin(struct guard *guard) { memset(guard, 0, sizeof *guard); }

static bool above_current(const struct limits *limits, const struct reading *now) {
    return has(now->fitted, CHANNEL_CURRENT) && now->value[CHANNEL_CURRENT] > limits->of[LIMIT_CURRENT] / 1000;
}

static bool below_supply(const struct limits *limits, const struct reading *now) {
    return has(now->fitted, CHANNEL_SUPPLY) && now->value[CHANNEL_SUPPLY] * 10 < limits->of[LIMIT_SUPPLY];
}

static bool above_case(const struct limits *limits, const struct reading *now) {
    return has(now->fitted, CHANNEL_CASE) && now->value[CHANNEL_CASE] * 100 > limits->of[LIMIT_CASE];
}

enum trip guard_objection(const struct limits *limits, const struct reading *now) {
    if (now->missing & now->fitted)
        return TRIP_SENSOR;
    if (below_supply(limits, now))
        return TRIP_SUPPLY;
    if (above_case(limits, now))
        return TRIP_CASE;
    return above_current(limits, now) ? TRIP_CURRENT : TRIP_NONE;
}

static uint32_t lasted(uint32_t *since, bool holds, uint32_t passed_us) {
    *since = holds ? *since + passed_us : 0;
    return *since;
}

static int32_t stall_ma(const struct limits *limits) {
    int32_t share = limits->of[LIMIT_CURRENT] / 1000 * STALL_SHARE_OF_LIMIT_PERCENT / 100;
    return share < GUARD_BOARD.stall_ma ? share : GUARD_BOARD.stall_ma;
}

static bool stands(struct guard *guard, const struct limits *limits, const struct reading *now) {
    int32_t way = now->value[CHANNEL_ANGLE] - guard->still_at;
    bool pushes = has(now->fitted, CHANNEL_CURRENT) && now->value[CHANNEL_CURRENT] >= stall_ma(limits);
    bool moved = way > STILL_CDEG || way < -STILL_CDEG;
    if (moved || !pushes)
        guard->still_at = now->value[CHANNEL_ANGLE];
    return pushes && !moved && has(now->fitted, CHANNEL_ANGLE);
}

enum trip guard_watch(struct guard *guard, const struct limits *limits, const struct reading *now, uint32_t t_us) {
    uint32_t passed_us = guard->began ? t_us - guard->last_us : 0;
    guard->last_us = t_us;
    guard->began = true;
    if (now->missing & now->fitted)
        return TRIP_SENSOR;
    if (lasted(&guard->over_us, above_current(limits, now), passed_us) >= 1000ul * GUARD_BOARD.current_ms)
        return TRIP_CURRENT;
    if (lasted(&guard->under_us, below_supply(limits, now), passed_us) >= 1000ul * GUARD_BOARD.supply_ms)
        return TRIP_SUPPLY;
    if (above_case(limits, now))
        return TRIP_CASE;
    if (lasted(&guard->still_us, stands(guard, limits, now), passed_us) >= (uint32_t)limits->of[LIMIT_STALL])
        return TRIP_STALL;
    return TRIP_NONE;
}
