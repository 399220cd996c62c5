#include "ramp.h"

void ramp_stand(Ramp *ramp, uint16_t ticks) {
    ramp->at = ramp->to = (int32_t)ticks << 16;
    ramp->under_way = false;
}

void ramp_go(Ramp *ramp, uint16_t ticks, int32_t milli_us_per_s) {
    ramp->to = (int32_t)ticks << 16;
    // 2 ticks a microsecond, 65536 parts a tick, 10^6 thousandths of a millisecond's share.
    int64_t a_ms = ((int64_t)milli_us_per_s << 17) / 1000000;
    if (milli_us_per_s == 0 || a_ms > INT32_MAX)
        a_ms = INT32_MAX;
    else if (a_ms == 0)
        a_ms = 1;
    ramp->a_ms = (int32_t)a_ms;
    ramp->under_way = true;
}

bool ramp_pass(Ramp *ramp, uint16_t ms) {
    if (!ramp->under_way || ms == 0) return false;
    bool up = ramp->to > ramp->at;
    int32_t left = up ? ramp->to - ramp->at : ramp->at - ramp->to;
    if (left / ramp->a_ms < ms) {
        ramp->at = ramp->to;
        ramp->under_way = false;
        return true;
    }
    int32_t step = ramp->a_ms * ms;
    ramp->at += up ? step : -step;
    return false;
}

uint16_t ramp_ticks(const Ramp *ramp) {
    return (uint16_t)(ramp->at >> 16);
}
