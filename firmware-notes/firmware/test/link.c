#include "test.h"

#include "../core/link.h"

static struct rig rig;
static uint32_t now_us;

static struct reading calm(void) {
    struct reading now = {.value = {-2534, 234, 741, 365}, .missing = 0, .fitted = 0x0F};
    return now;
}

static void sample(struct reading now) {
    now_us += 5000;
    rig_tick(&rig, now_us);
    rig_sample(&rig, &now, now_us - 2500, now_us);
}

static void say(const char *payload) {
    char line[600];
    size_t length = host_line(line, payload);
    for (size_t i = 0; i < length; i++)
        rig_byte(&rig, (uint8_t)line[i], now_us);
}

/* Says it, and whether the answer is this. */
static bool answers(const char *payload, const char *answer) {
    fake.said_length = 0;
    say(payload);
    return fake_said(answer) && fake_count("OK,") + fake_count("NO,") == 1;
}

static void begin(void) {
    fake_forget();
    now_us = 1000;
    rig_start(&rig);
    sample(calm());
}

#ifdef PASSIVE

static void a_passive_rig_answers_ask_alone(void) {
    begin();
    CHECK(fake_said("RIG,1,reference," FIRMWARE_VERSION ",passive,200,angle_deg,current_ma,supply_v,case_c*"));
    CHECK(fake_said("S,0,3500,-25.34,234,7.41,36.5*"));
    CHECK(answers("ASK,1", "OK,1*") && fake_said("RIG,1,"));
    CHECK(answers("ARM,2", "NO,2,passive*") && answers("GO,3,1500,0", "NO,3,passive*"));
    CHECK(answers("LIMIT,4,case_c=60", "NO,4,passive*") && answers("DISARM,5", "NO,5,passive*"));
    say("ALIVE");
    for (int i = 0; i < 400; i++)
        sample(calm());
    CHECK(!fake_said("host-lost"));
    struct reading broken = calm();
    broken.missing = 1;
    sample(broken);
    CHECK(fake_said(",sensor-fault,angle_deg*") && fake_said(",,234,7.41,36.5*"));
}

void test_link(void) { a_passive_rig_answers_ask_alone(); }

#else

static void it_says_who_it_is_and_what_it_reads(void) {
    begin();
    CHECK(fake_said("RIG,1,reference," FIRMWARE_VERSION ",driven,200,pulse_us,angle_deg,current_ma,supply_v,case_c*"));
    /* Disarmed: no pulse, so no reading of it. */
    CHECK(fake_said("S,0,3500,,-25.34,234,7.41,36.5*"));
    CHECK(answers("ASK,65535", "OK,65535*") && fake_said("RIG,1,"));
    struct reading broken = calm();
    broken.missing = 1u << CHANNEL_CURRENT;
    fake.said_length = 0;
    sample(broken);
    sample(broken);
    CHECK(fake_said("S,1,8500,,-25.34,,7.41,36.5*") && fake_count("sensor-fault,current_ma*") == 1);
}

static void nothing_moves_before_arm(void) {
    begin();
    CHECK(answers("GO,1,1500,0", "NO,1,not-armed*"));
    for (int frame = 0; frame < 100; frame++)
        rig_frame(&rig, now_us);
    CHECK(fake.pulse_calls == 0 && !fake.pulses);
    CHECK(answers("ARM,2", "OK,2*") && fake_said(",armed*") && fake.pulses && fake.half_us == 3000);
    CHECK(answers("ARM,3", "OK,3*") && !fake_said(",armed*")); /* a repeated ARM is no second one */
    CHECK(answers("DISARM,4", "OK,4*") && fake_said(",disarmed*") && !fake.pulses);
    CHECK(answers("DISARM,5", "OK,5*") && !fake_said(",disarmed*"));
    unsigned long calls = fake.pulse_calls;
    for (int frame = 0; frame < 100; frame++)
        rig_frame(&rig, now_us);
    CHECK(fake.pulse_calls == calls);
}

static void arming_without_a_sample_is_refused(void) {
    fake_forget();
    rig_start(&rig);
    CHECK(answers("ARM,1", "NO,1,no-sample-yet*"));
}

static void limits_are_set_while_disarmed_alone_and_all_or_none(void) {
    begin();
    CHECK(answers("LIMIT,1,pulse_lo_us=900,pulse_hi_us=2100,stall_ms=500,current_ma=2500,supply_v=5.55,case_c=70", "OK,1*"));
    CHECK(rig.limits.of[LIMIT_PULSE_HI] == 2100000 && rig.limits.of[LIMIT_SUPPLY] == 5550 && rig.limits.of[LIMIT_STALL] == 500000);
    CHECK(answers("LIMIT,2,pulse_lo_us=1000,current_ma=9000", "NO,2,beyond-sensor*") && rig.limits.of[LIMIT_PULSE_LO] == 900000);
    CHECK(answers("LIMIT,3", "NO,3,wrong-number-of-fields*") && answers("LIMIT,4,case_c", "NO,4,wrong-number-of-fields*"));
    CHECK(answers("LIMIT,5,case_c=x", "NO,5,no-number*") && answers("LIMIT,6,case_c=", "NO,6,no-number*"));
    CHECK(answers("LIMIT,7,=5", "NO,7,unknown-limit*") && answers("LIMIT,8,case_c=60,", "NO,8,wrong-number-of-fields*"));
    CHECK(answers("ARM,9", "OK,9*"));
    CHECK(answers("LIMIT,10,case_c=60", "NO,10,armed*") && rig.limits.of[LIMIT_CASE] == 70000);
}

static void moves_are_kept_within_the_limits(void) {
    begin();
    CHECK(answers("ARM,1", "OK,1*"));
    CHECK(answers("GO,2,2000,500", "OK,2*"));
    CHECK(answers("GO,3,2000.001,500", "NO,3,outside-limits*") && answers("GO,4,999.9,0", "NO,4,outside-limits*"));
    CHECK(answers("GO,5,1500,-1", "NO,5,no-number*") && answers("GO,6,1500", "NO,6,wrong-number-of-fields*"));
    CHECK(answers("GO,7,1500,1,2", "NO,7,wrong-number-of-fields*") && answers("GO,8,1e3,0", "NO,8,no-number*"));
    CHECK(answers("GO,9,-1500,0", "NO,9,outside-limits*") && answers("GO,10,99999999999,0", "NO,10,outside-limits*"));
    CHECK(answers("ARM,11,1", "NO,11,wrong-number-of-fields*") && answers("ASK,12,", "NO,12,wrong-number-of-fields*"));
    fake.said_length = 0;
    for (int frame = 0; frame < 60; frame++) {
        say("ALIVE");
        rig_frame(&rig, now_us += 20000);
        rig_tick(&rig, now_us);
    }
    CHECK(fake.half_us == 4000 && fake_count(",arrived,2000*") == 1);
    /* The last commanded pulse is where it arms again; the middle if that is not allowed any more. */
    say("DISARM,20");
    CHECK(answers("ARM,21", "OK,21*") && fake.half_us == 4000);
    say("DISARM,22");
    CHECK(answers("LIMIT,23,pulse_hi_us=1800", "OK,23*") && answers("ARM,24", "OK,24*") && fake.half_us == 2800);
    CHECK(answers("GO,25,1500.25,0", "OK,25*"));
    rig_frame(&rig, now_us);
    CHECK(fake_said(",arrived,1500.25*") && fake.half_us == 3001);
}

/* Armed at a time, what a reading does within a second; the word of the event, or nothing. */
static bool trips(struct reading now, const char *words) {
    begin();
    say("ARM,1");
    fake.said_length = 0;
    for (int i = 0; i < 200 && fake.pulses; i++) {
        say("ALIVE");
        sample(now);
    }
    bool told = !fake.pulses && !rig.armed && fake_count(words) == 1;
    return told && answers("GO,2,1500,0", "NO,2,not-armed*");
}

static void every_trip_stops_the_pulses_and_is_told(void) {
    struct reading now = calm();
    now.value[CHANNEL_CURRENT] = 2310;
    CHECK(trips(now, ",over-current,2310*"));
    now = calm();
    now.value[CHANNEL_CURRENT] = 1000;
    CHECK(trips(now, ",stalled,1500*"));
    now = calm();
    now.value[CHANNEL_SUPPLY] = 455;
    CHECK(trips(now, ",under-voltage,4.55*"));
    now = calm();
    now.value[CHANNEL_CASE] = 612;
    CHECK(trips(now, ",over-temperature,61.2*"));
    now = calm();
    now.missing = 1u << CHANNEL_ANGLE;
    CHECK(trips(now, ",sensor-fault,angle_deg*"));
    CHECK(answers("ARM,3", "NO,3,sensor-fault*"));
    now = calm();
    now.value[CHANNEL_SUPPLY] = 0;
    sample(now);
    CHECK(answers("ARM,4", "NO,4,under-voltage*"));
}

/* From a time on: pulses end at the first look after 500 ms without a valid line, and not before. */
static void silence_ends_it(uint32_t from_us) {
    begin();
    now_us = from_us;
    say("ARM,1");
    rig_tick(&rig, now_us + 499999);
    CHECK(fake.pulses);
    now_us += 400000;
    say("ALIVE");
    rig_tick(&rig, now_us += 499999);
    CHECK(fake.pulses);
    for (int i = 0; i < 10; i++)
        rig_byte(&rig, (uint8_t)"ALIVE*0000\n"[i % 11], now_us); /* damaged lines are no heartbeat */
    rig_byte(&rig, '\n', now_us);
    rig_tick(&rig, now_us += 1);
    CHECK(!fake.pulses && fake_said(",host-lost,500*"));
    CHECK(answers("GO,2,1500,0", "NO,2,not-armed*"));
}

static void what_finds_no_room_is_told_later_and_samples_are_left_out(void) {
    begin();
    say("ARM,1");
    fake.said_length = 0;
    fake.room = 60;
    CHECK(!rig_listens(&rig));
    sample(calm());
    CHECK(fake.said_length == 0);
    fake.room = 20;
    struct reading now = calm();
    now.missing = 1;
    sample(now);
    CHECK(!fake.pulses && fake.said_length == 0);
    fake.room = 255;
    CHECK(!rig_listens(&rig)); /* what waits is said first */
    rig_tick(&rig, now_us);
    CHECK(fake_count("sensor-fault,angle_deg*") == 1 && rig_listens(&rig));
    sample(calm());
    CHECK(fake_said("S,3,")); /* two counts are missing: the host sees it */
}

void test_link(void) {
    it_says_who_it_is_and_what_it_reads();
    nothing_moves_before_arm();
    arming_without_a_sample_is_refused();
    limits_are_set_while_disarmed_alone_and_all_or_none();
    moves_are_kept_within_the_limits();
    every_trip_stops_the_pulses_and_is_told();
    silence_ends_it(10000);
    silence_ends_it(UINT32_MAX - 600000);
    what_finds_no_room_is_told_later_and_samples_are_left_out();
}

#endif
