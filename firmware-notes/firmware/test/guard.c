#include "test.h"

#include "../core/guard.h"

static struct limits limits;
static struct guard guard;

static struct reading calm(void) {
    struct reading now = {.value = {0, 200, 741, 250}, .missing = 0, .fitted = 0x0F};
    return now;
}

/* Milliseconds until it trips with this reading, a sample every 5 ms from a time on; 0 if it does not within 2 s. */
static uint32_t trips_after(struct reading now, enum trip expected, uint32_t from_us) {
    guard_begin(&guard);
    CHECK(guard_watch(&guard, &limits, &(struct reading){.value = {0, 200, 741, 250}, .fitted = 0x0F}, from_us) == TRIP_NONE);
    for (uint32_t ms = 5; ms <= 2000; ms += 5) {
        enum trip trip = guard_watch(&guard, &limits, &now, from_us + 1000 * ms);
        if (trip != TRIP_NONE) {
            CHECK(trip == expected);
            return ms;
        }
    }
    return 0;
}

static void every_limit_trips_in_its_time(uint32_t from_us) {
    struct reading now = calm();
    CHECK(trips_after(now, TRIP_NONE, from_us) == 0);
    now.value[CHANNEL_CURRENT] = 1501;
    CHECK(trips_after(now, TRIP_CURRENT, from_us) == 20);
    now.value[CHANNEL_CURRENT] = 899;
    CHECK(trips_after(now, TRIP_NONE, from_us) == 0);
    now.value[CHANNEL_CURRENT] = 900; /* what counts as pushing: and stands */
    CHECK(trips_after(now, TRIP_STALL, from_us) == 300);
    now = calm();
    now.value[CHANNEL_SUPPLY] = 479;
    CHECK(trips_after(now, TRIP_SUPPLY, from_us) == 20);
    now.value[CHANNEL_SUPPLY] = 480;
    CHECK(trips_after(now, TRIP_NONE, from_us) == 0);
    now.value[CHANNEL_CASE] = 601;
    CHECK(trips_after(now, TRIP_CASE, from_us) == 5);
    now.value[CHANNEL_CASE] = 600;
    CHECK(trips_after(now, TRIP_NONE, from_us) == 0);
    for (uint8_t channel = 0; channel < CHANNELS; channel++) {
        now = calm();
        now.missing = (uint8_t)(1u << channel);
        CHECK(trips_after(now, TRIP_SENSOR, from_us) == 5);
        now.fitted = (uint8_t)(0x0Fu & ~now.missing); /* a sensor that is not there cannot fail */
        CHECK(trips_after(now, TRIP_NONE, from_us) == 0);
    }
}

/* Surges shorter than the time allowed do not trip, and do not add up. */
static void a_surge_is_let_pass(void) {
    struct reading surge = calm(), quiet = calm();
    surge.value[CHANNEL_CURRENT] = 4000;
    surge.value[CHANNEL_SUPPLY] = 300;
    guard_begin(&guard);
    for (uint32_t ms = 0; ms < 1000; ms += 5)
        CHECK(guard_watch(&guard, &limits, ms % 20 < 15 ? &surge : &quiet, 1000 * ms) == TRIP_NONE);
}

static void a_surface_that_moves_is_not_stalled(void) {
    struct reading now = calm();
    now.value[CHANNEL_CURRENT] = 1200;
    guard_begin(&guard);
    for (uint32_t ms = 0; ms < 2000; ms += 5) {
        now.value[CHANNEL_ANGLE] += 2; /* 4 degrees a second */
        CHECK(guard_watch(&guard, &limits, &now, 1000 * ms) == TRIP_NONE);
    }
}

/* A low current limit must not hide a stall: it counts from 60 % of the limit. */
static void a_low_limit_lowers_what_counts_as_a_stall(void) {
    struct reading now = calm();
    limits.of[LIMIT_CURRENT] = 500000;
    now.value[CHANNEL_CURRENT] = 300;
    CHECK(trips_after(now, TRIP_STALL, 0) == 300);
    now.value[CHANNEL_CURRENT] = 299;
    CHECK(trips_after(now, TRIP_NONE, 0) == 0);
    limits = GUARD_BOARD.defaults;
}

static bool takes(const char *name, int32_t value, enum limit which) {
    struct limits next = GUARD_BOARD.defaults;
    return limits_set(&next, name, (uint8_t)strlen(name), value) == NULL && next.of[which] == value;
}

static bool refuses(const char *name, int32_t value, const char *word) {
    struct limits next = GUARD_BOARD.defaults;
    const char *refusal = limits_set(&next, name, (uint8_t)strlen(name), value);
    if (!refusal)
        refusal = limits_whole(&next);
    return refusal && strcmp(refusal, word) == 0;
}

static void limits_are_taken_or_refused_with_a_word(void) {
    CHECK(takes("current_ma", 2500000, LIMIT_CURRENT) && takes("case_c", 70000, LIMIT_CASE) && takes("supply_v", 5550, LIMIT_SUPPLY));
    CHECK(takes("pulse_lo_us", 900000, LIMIT_PULSE_LO) && takes("pulse_hi_us", 2100000, LIMIT_PULSE_HI) && takes("stall_ms", 500000, LIMIT_STALL));
    CHECK(takes("pulse_lo_us", 500000, LIMIT_PULSE_LO) && takes("pulse_hi_us", 2500000, LIMIT_PULSE_HI));
    CHECK(refuses("pulse_lo_us", 499999, "senseless-number") && refuses("pulse_hi_us", 2500001, "senseless-number"));
    CHECK(refuses("pulse_hi_us", 1000500, "senseless-number") && refuses("pulse_lo_us", 2000000, "senseless-number"));
    CHECK(refuses("current_ma", 0, "senseless-number") && refuses("current_ma", -5000, "senseless-number"));
    CHECK(refuses("current_ma", 5000001, "beyond-sensor") && refuses("supply_v", 9501, "beyond-sensor"));
    CHECK(refuses("stall_ms", 19999, "senseless-number") && refuses("stall_ms", 60000001, "senseless-number"));
    CHECK(refuses("case_c", -1, "senseless-number") && refuses("case_c", 150001, "senseless-number"));
    CHECK(refuses("supply_v", -1, "senseless-number"));
    CHECK(refuses("warp", 1000, "unknown-limit") && refuses("", 1000, "unknown-limit") && refuses("current_m", 1, "unknown-limit"));
}

void test_guard(void) {
    limits = GUARD_BOARD.defaults;
    every_limit_trips_in_its_time(0);
    every_limit_trips_in_its_time(UINT32_MAX - 9999); /* the clock wraps in the middle of it */
    every_limit_trips_in_its_time(UINT32_MAX - 249999);
    a_surge_is_let_pass();
    a_surface_that_moves_is_not_stalled();
    a_low_limit_lowers_what_counts_as_a_stall();
    limits_are_taken_or_refused_with_a_word();
    struct reading now = calm();
    CHECK(guard_objection(&limits, &now) == TRIP_NONE);
    now.value[CHANNEL_SUPPLY] = 0;
    CHECK(guard_objection(&limits, &now) == TRIP_SUPPLY);
    now = calm();
    now.value[CHANNEL_CASE] = 900;
    CHECK(guard_objection(&limits, &now) == TRIP_CASE);
    now = calm();
    now.value[CHANNEL_CURRENT] = 1501;
    CHECK(guard_objection(&limits, &now) == TRIP_CURRENT);
    now.missing = 2;
    CHECK(guard_objection(&limits, &now) == TRIP_SENSOR);
}
