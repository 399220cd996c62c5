// The commanded pulse on its way from one width to another. Widths in half microseconds, which are the timer's ticks.
#ifndef RAMP_H
#define RAMP_H

#include <stdbool.h>
#include <stdint.h>

typedef struct {
    int32_t at; // in 1/65536 of a tick, as all here
    int32_t to;
    int32_t a_ms;
    bool under_way;
} Ramp;

void ramp_stand(Ramp *ramp, uint16_t ticks);
// On to `ticks` at a rate in thousandths of a microsecond a second; 0 is at once.
void ramp_go(Ramp *ramp, uint16_t ticks, int32_t milli_us_per_s);
// Lets time pass. True once: when it arrives.
bool ramp_pass(Ramp *ramp, uint16_t ms);
uint16_t ramp_ticks(const Ramp *ramp);

#endif
