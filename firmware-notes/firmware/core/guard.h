/* The limits, and the watch over current, voltage, heat and motion while armed. Nothing of lines or pins. */
#ifndef GUARD_H
#define GUARD_H

#include <stdbool.h>
#include <stdint.h>

/* No pulse outside these is ever allowed, whatever the host sets: thousandths of a microsecond. */
#define PULSE_SHORTEST 500000L
#define PULSE_LONGEST 2500000L

enum channel { CHANNEL_ANGLE, CHANNEL_CURRENT, CHANNEL_SUPPLY, CHANNEL_CASE, CHANNELS };

/* The channel's name on the link, and how many decimals its reading has. */
extern const char *const CHANNEL_NAME[CHANNELS];
extern const uint8_t CHANNEL_DECIMALS[CHANNELS];

/* One sample. Angle in hundredths of a degree, current in mA, supply in hundredths of a volt, case in tenths of a degree C. */
struct reading {
    int32_t value[CHANNELS];
    uint8_t missing; /* bit n: channel n stands at the end of its range, which is no reading */
    uint8_t fitted;  /* bit n: the board has channel n */
};

enum limit { LIMIT_CURRENT, LIMIT_CASE, LIMIT_SUPPLY, LIMIT_PULSE_LO, LIMIT_PULSE_HI, LIMIT_STALL, LIMITS };

/* All in thousandths of their unit (mA, degree C, V, us, us, ms), as they come on the link. */
struct limits {
    int32_t of[LIMITS];
};

/* What a board is built for: its own safe limits, the most that its sensors tell, and how long a crossing must last. */
struct guard_board {
    struct limits defaults;
    int32_t most_current; /* thousandths of a mA: a limit beyond what the sensor can read would never trip */
    int32_t most_supply;
    uint8_t fitted;
    int16_t stall_ma;
    uint16_t current_ms; /* the surge of a servo that sets off is shorter (common practice, no source) */
    uint16_t supply_ms;
};

extern const struct guard_board GUARD_BOARD;

/* Sets one limit by its name; NULL, or the word to refuse with. Call limits_whole before they are used. */
const char *limits_set(struct limits *limits, const char *name, uint8_t length, int32_t value);
/* NULL if the limits make sense together. */
const char *limits_whole(const struct limits *limits);
bool limits_allow(const struct limits *limits, int32_t pulse);
/* Middle of the allowed pulses. */
int32_t limits_middle(const struct limits *limits);

enum trip { TRIP_NONE, TRIP_CURRENT, TRIP_CASE, TRIP_SUPPLY, TRIP_STALL, TRIP_SENSOR };

/* How long each crossing has lasted, us. */
struct guard {
    uint32_t over_us, under_us, still_us, last_us;
    int32_t still_at;
    bool began;
};

void guard_begin(struct guard *guard);

/* Why the rig cannot be armed with this reading; TRIP_NONE if it can. */
enum trip guard_objection(const struct limits *limits, const struct reading *now);

/* One sample on, at the rig's clock, which may wrap. */
enum trip guard_watch(struct guard *guard, const struct limits *limits, const struct reading *now, uint32_t t_us);

#endif
