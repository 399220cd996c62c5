#include "ramp.h"

void ramp_stand(struct ramp *ramp, int32_t at) {
    ramp->now = at;
    ramp->to = at;
    ramp->per_s = 0;
    ramp->rest = 0;
    ramp->under_way = false;
}

void ramp_go(struct ramp *ramp, int32_t to, int32_t per_s) {
    ramp->to = to;
    ramp->per_s = per_s;
    ramp->rest = 0;
    ramp->under_way = true;
}

bool ramp_step(struct ramp *ramp, uint16_t frames_per_s) {
    if (!ramp->under_way)
        return false;
    int32_t way = ramp->to - ramp->now;
    int32_t step = ramp->per_s / (int32_t)frames_per_s;
    ramp->rest = (uint16_t)(ramp->rest + (uint16_t)(ramp->per_s % (int32_t)frames_per_s));
    if (ramp->rest >= frames_per_s) {
        ramp->rest = (uint16_t)(ramp->rest - frames_per_s);
        step++;
    }
    if (ramp->per_s == 0 || (way < 0 ? -way : way) <= step) {
        ramp->now = ramp->to;
        ramp->under_way = false;
        return true;
    }
    ramp->now += way < 0 ? -step : step;
    return false;
}

uint16_t ramp_half_us(const struct ramp *ramp, int32_t lo, int32_t hi) {
    int32_t half = (ramp->now + 250) / 500;
    int32_t least = (lo + 499) / 500, most = hi / 500;
    if (half < least)
        half = least;
    if (half > most)
        half = most;
    return (uint16_t)half;
}
