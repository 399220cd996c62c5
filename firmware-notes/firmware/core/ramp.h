/* The commanded pulse on its way, one step a servo frame. Pulses are in thousandths of a microsecond. */
#ifndef RAMP_H
#define RAMP_H

#include <stdbool.h>
#include <stdint.h>

struct ramp {
    int32_t now;
    int32_t to;
    int32_t per_s; /* thousandths of a microsecond a second; 0 is at once */
    uint16_t rest; /* what integer steps left over of the rate */
    bool under_way;
};

/* Stands at a pulse. */
void ramp_stand(struct ramp *ramp, int32_t at);
/* Sets out from wherever it is. */
void ramp_go(struct ramp *ramp, int32_t to, int32_t per_s);
/* One frame on; true where this brought it to its end. */
bool ramp_step(struct ramp *ramp, uint16_t frames_per_s);

/* The pulse in half microseconds, within two pulses that it never leaves, whatever was asked. */
uint16_t ramp_half_us(const struct ramp *ramp, int32_t lo, int32_t hi);

#endif
