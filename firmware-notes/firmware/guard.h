// What the rig allows while it is armed, and its watch over it. Nothing of lines, nothing of the chip.
#ifndef GUARD_H
#define GUARD_H

#include <stdbool.h>
#include <stdint.h>

// Widths in half microseconds.
typedef struct {
    int32_t current_ma;
    int32_t supply_mv; // lowest
    int16_t case_dc;   // tenths of a degree Celsius
    uint16_t pulse_lo;
    uint16_t pulse_hi;
    uint16_t stall_ms;
} Limits;

// No host can set pulses beyond these.
#define PULSE_SHORTEST 1000u
#define PULSE_LONGEST 5000u

// One sample of the rig's own inputs.
typedef struct {
    int32_t current_ma;
    int32_t supply_mv;
    int32_t angle_cdeg; // hundredths of a degree
    int16_t case_dc;
    bool current_lost;
    bool angle_lost;
    bool case_lost;
} Reading;

typedef enum {
    GUARD_QUIET,
    GUARD_OVER_CURRENT,
    GUARD_OVER_TEMPERATURE,
    GUARD_UNDER_VOLTAGE,
    GUARD_STALLED,
} Guarded;

typedef struct {
    uint8_t over;     // samples in a row
    uint16_t under_ms;
    uint16_t still_ms;
    int32_t still_at_cdeg;
} Guard;

// One named limit in thousandths of its unit. False: the name is none, or the number makes no sense.
bool limits_set(Limits *limits, const char *name, int32_t milli);
bool limits_agree(const Limits *limits);

void guard_begin(Guard *guard, const Reading *now);
// `stall_ma`: a surface that stands while the servo draws this is stalled.
Guarded guard_watch(Guard *guard, const Limits *limits, int32_t stall_ma, const Reading *now, uint16_t ms);
// Why the rig cannot be armed; NULL if it can.
const char *guard_objects(const Limits *limits, const Reading *now);

#endif
