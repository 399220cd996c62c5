#include "test.h"

#include "../core/ramp.h"

/* Frames until it arrives; 0 if not within `most`. */
static unsigned frames(struct ramp *ramp, unsigned most) {
    for (unsigned count = 1; count <= most; count++)
        if (ramp_step(ramp, 50))
            return count;
    return 0;
}

static void it_keeps_its_rate_and_arrives_once(void) {
    struct ramp ramp;
    ramp_stand(&ramp, 1500000);
    CHECK(!ramp_step(&ramp, 50) && ramp.now == 1500000);
    ramp_go(&ramp, 1700000, 100000); /* 200 us at 100 us/s: 2 s */
    CHECK(frames(&ramp, 1000) == 100 && ramp.now == 1700000 && !ramp_step(&ramp, 50));
    ramp_go(&ramp, 1300000, 100000);
    CHECK(frames(&ramp, 1000) == 200 && ramp.now == 1300000);
    ramp_go(&ramp, 2000000, 0); /* at once: with the next frame */
    CHECK(frames(&ramp, 10) == 1 && ramp.now == 2000000);
    ramp_go(&ramp, 2000000, 100);
    CHECK(frames(&ramp, 10) == 1);
    ramp_go(&ramp, 1000000, 2000000000);
    CHECK(frames(&ramp, 10) == 1 && ramp.now == 1000000);
}

/* Rates that do not divide by the frames lose nothing: after whole seconds the way is exact. */
static void slow_and_odd_rates_are_exact(void) {
    static const int32_t RATES[] = {1, 7, 49, 50, 51, 333, 12345, 99999};
    for (size_t i = 0; i < sizeof RATES / sizeof RATES[0]; i++) {
        struct ramp ramp;
        ramp_stand(&ramp, 1500000);
        ramp_go(&ramp, 2500000, RATES[i]);
        for (unsigned frame = 0; frame < 500; frame++)
            ramp_step(&ramp, 50);
        CHECK(ramp.now == 1500000 + 10 * RATES[i]);
    }
}

static void a_new_aim_replaces_one_under_way(void) {
    struct ramp ramp;
    ramp_stand(&ramp, 1500000);
    ramp_go(&ramp, 2000000, 100000);
    for (unsigned frame = 0; frame < 50; frame++)
        CHECK(!ramp_step(&ramp, 50));
    CHECK(ramp.now == 1600000);
    ramp_go(&ramp, 1500000, 200000);
    CHECK(frames(&ramp, 1000) == 25 && ramp.now == 1500000);
}

static void the_pulse_never_leaves_its_bounds(void) {
    struct ramp ramp;
    ramp_stand(&ramp, 1500250);
    CHECK(ramp_half_us(&ramp, 1000000, 2000000) == 3001);
    ramp_stand(&ramp, 1500249);
    CHECK(ramp_half_us(&ramp, 1000000, 2000000) == 3000);
    ramp_stand(&ramp, 2000400); /* rounds to 2000.5 */
    CHECK(ramp_half_us(&ramp, 1000000, 2000400) == 4000);
    ramp_stand(&ramp, 1000100);
    CHECK(ramp_half_us(&ramp, 1000100, 2000400) == 2001);
    ramp_stand(&ramp, 100);
    CHECK(ramp_half_us(&ramp, 1000000, 2000000) == 2000);
    ramp_stand(&ramp, 90000000);
    CHECK(ramp_half_us(&ramp, 1000000, 2000000) == 4000);
}

void test_ramp(void) {
    it_keeps_its_rate_and_arrives_once();
    slow_and_odd_rates_are_exact();
    a_new_aim_replaces_one_under_way();
    the_pulse_never_leaves_its_bounds();
}
