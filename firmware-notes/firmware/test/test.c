// The driven edition's parts, one by one and together, with a million lines of nonsense at the end.
#include "fake.h"

#include "../ramp.h"

static bool pulses, light;
static uint16_t pulse, narrowest = UINT16_MAX, widest;

void board_pulse(uint16_t ticks) {
    pulses = true;
    pulse = ticks;
    if (ticks < narrowest) narrowest = ticks;
    if (ticks > widest) widest = ticks;
}
void board_stop(void) { pulses = false; }
void board_light(bool on) { light = on; }

static const Reading WELL = {.current_ma = 150, .supply_mv = 7400, .angle_cdeg = 0, .case_lost = true};

static void sample(const Reading *reading) {
    fake_ms += BOARD_SAMPLE_MS;
    rig_sample(reading, fake_ms * 1000u);
    rig_watch();
}

static void begin(void) {
    rig_begin();
    sample(&WELL);
    quiet();
}

static Heard take(Receiver *receiver, const char *bytes) {
    Heard heard = HEARD_NOTHING;
    while (*bytes != '\0') {
        heard = receiver_take(receiver, (uint8_t)*bytes++);
    }
    return heard;
}

static void checks_are_those_published(void) {
    // CRC-16/IBM-3740: its catalogue's check value over these nine bytes.
    uint16_t crc = CRC_START;
    for (const char *c = "123456789"; *c != '\0'; c++) crc = crc16(crc, (uint8_t)*c);
    CHECK(crc == 0x29B1);
}

static void a_line_is_taken_or_is_damage(void) {
    Receiver r = {0};
    CHECK(take(&r, "123456789*29B1\n") == HEARD_LINE && strcmp(r.text, "123456789") == 0);
    CHECK(take(&r, "123456789*29b1\r\n") == HEARD_LINE && strcmp(r.text, "123456789") == 0);
    CHECK(take(&r, "123456789*29B2\n") == HEARD_DAMAGE);
    CHECK(take(&r, "123456789*29B\n") == HEARD_DAMAGE);
    CHECK(take(&r, "12345678929B1\n") == HEARD_DAMAGE);
    CHECK(take(&r, "*FFFF\n") == HEARD_DAMAGE);
    CHECK(take(&r, "\n") == HEARD_NOTHING && take(&r, "\r\n") == HEARD_NOTHING);
    // 193 bytes, check and LF: 199 and 1.
    char line[300];
    for (int length = 193; length <= 240; length++) {
        uint16_t crc = CRC_START;
        for (int i = 0; i < length; i++) crc = crc16(crc, 'x'), line[i] = 'x';
        snprintf(line + length, sizeof line - (size_t)length, "*%04X\n", crc);
        CHECK(take(&r, line) == (length + 6 <= LINE_BYTES ? HEARD_LINE : HEARD_DAMAGE));
        // In step again.
        CHECK(take(&r, "123456789*29B1\n") == HEARD_LINE);
    }
    receiver_take(&r, 0x80);
    CHECK(take(&r, "*0000\n") == HEARD_DAMAGE);
}

static void numbers_are_decimals(void) {
    int32_t milli;
    const struct {
        const char *text;
        int32_t milli;
    } good[] = {{"0", 0}, {"1500", 1500000}, {"-12", -12000}, {"+7.4", 7400}, {"834.25", 834250}, {".5", 500}, {"5.", 5000},
                {"0.0009", 0}, {"1.23456789", 1234}, {"1000000", 1000000000}, {"000000000000012", 12000}, {"-0", 0}};
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) CHECK(number_milli(good[i].text, &milli) && milli == good[i].milli);
    const char *bad[] = {"", "-", ".", "1e3", "1,5", " 1", "1 ", "0x10", "1000001", "99999999999", "--1", "1.2.3", "nan"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) CHECK(!number_milli(bad[i], &milli));
    uint16_t id;
    CHECK(number_id("0", &id) && id == 0 && number_id("65535", &id) && id == 65535);
    const char *no_id[] = {"", "65536", "-1", "+1", "1.0", "99999999999"};
    for (size_t i = 0; i < sizeof no_id / sizeof *no_id; i++) CHECK(!number_id(no_id[i], &id));
    Line line;
    line_begin(&line, "S");
    line_fixed(&line, -5, 2);
    line_fixed(&line, 7384, 3);
    line_fixed(&line, INT32_MIN, 0);
    line_number(&line, UINT32_MAX);
    line_empty(&line);
    line_end(&line);
    CHECK(strncmp(line.text, "S,-0.05,7.384,-2147483648,4294967295,*", 38) == 0 && line.text[line.length - 1] == '\n');
    // Too much for a line is cut, and its end stands.
    line_begin(&line, "EV");
    for (int i = 0; i < 40; i++) line_number(&line, 123456);
    line_end(&line);
    CHECK(line.length <= sizeof line.text && line.text[line.length - 1] == '\n');
}

static void a_ramp_goes_at_its_rate_and_arrives_once(void) {
    Ramp ramp;
    ramp_stand(&ramp, 3000);
    CHECK(!ramp_pass(&ramp, 10));
    // 100 us/s, from 1500 to 1600 us: a second.
    ramp_go(&ramp, 3200, 100000);
    uint16_t before = 3000;
    for (int ms = 1; ms < 1000; ms++) {
        CHECK(!ramp_pass(&ramp, 1));
        CHECK(ramp_ticks(&ramp) >= before && ramp_ticks(&ramp) <= 3200);
        // Within a tick of what a straight line says.
        CHECK(abs(ramp_ticks(&ramp) - (3000 + 200 * ms / 1000)) <= 1);
        before = ramp_ticks(&ramp);
    }
    int arrived = 0;
    for (int ms = 0; ms < 20; ms++) arrived += ramp_pass(&ramp, 1);
    CHECK(arrived == 1 && ramp_ticks(&ramp) == 3200);
    // Replaced under way, to the other side, in odd steps of time.
    ramp_go(&ramp, 4000, 400000);
    ramp_pass(&ramp, 100);
    uint16_t turned = ramp_ticks(&ramp);
    CHECK(turned > 3270 && turned < 3290);
    ramp_go(&ramp, 2000, 33333);
    while (!ramp_pass(&ramp, 7)) CHECK(ramp_ticks(&ramp) <= turned && ramp_ticks(&ramp) >= 2000);
    CHECK(ramp_ticks(&ramp) == 2000);
    // At once, and faster than can be counted.
    ramp_go(&ramp, 5000, 0);
    CHECK(ramp_pass(&ramp, 1) && ramp_ticks(&ramp) == 5000);
    ramp_go(&ramp, 1000, 1000000000);
    while (!ramp_pass(&ramp, 1000)) CHECK(ramp_ticks(&ramp) >= 1000);
    CHECK(ramp_ticks(&ramp) == 1000);
    // As slow as can be said, it moves still: a thousandth of a microsecond a second.
    ramp_go(&ramp, 1001, 1);
    CHECK(!ramp_pass(&ramp, 1000));
    CHECK(ramp.at > (int32_t)1000 << 16);
}

static void limits_are_set_disarmed_whole_or_not_at_all(void) {
    begin();
    hear("LIMIT,1,pulse_lo_us=1200,pulse_hi_us=1800,current_ma=1000,stall_ms=300,case_c=65.5,supply_v=5.55");
    CHECK(said("OK,1"));
    const char *refused[] = {"LIMIT,2,pulse_lo_us=1000,speed=5", "LIMIT,2,pulse_lo_us=1900", "LIMIT,2,pulse_hi_us=2600", "LIMIT,2,current_ma=x",
                             "LIMIT,2,current_ma=0", "LIMIT,2,current_ma", "LIMIT,2", "LIMIT,2,"};
    for (size_t i = 0; i < sizeof refused / sizeof *refused; i++) {
        quiet();
        hear(refused[i]);
        CHECK(strstr(fake_sent, "NO,2,") != NULL && strstr(fake_sent, "OK") == NULL);
    }
    quiet();
    hear("ARM,3");
    CHECK(said("OK,3") && pulses && light && pulse == 3000);
    hear("LIMIT,4,pulse_hi_us=2000");
    CHECK(said("NO,4,armed"));
    hear("GO,5,1801,0");
    CHECK(said("NO,5,outside-limits"));
    hear("GO,6,1199.5,0");
    CHECK(said("NO,6,outside-limits"));
    hear("GO,7,1800,0");
    CHECK(said("OK,7"));
    sample(&WELL);
    CHECK(pulse == 3600 && strstr(fake_sent, "arrived,1800*") != NULL);
    hear("DISARM,8");
    CHECK(said("OK,8") && !pulses && !light);
    hear("GO,9,1500,0");
    CHECK(said("NO,9,disarmed"));
    // Armed again it goes on from the last pulse, unless that is outside now.
    hear("ARM,10");
    CHECK(pulse == 3600);
    hear("DISARM,11");
    hear("LIMIT,12,pulse_hi_us=1700");
    hear("ARM,13");
    CHECK(said("OK,13") && pulse == 2900);
}

static void no_pulse_before_it_is_armed_and_none_with_a_reason_against(void) {
    rig_begin();
    CHECK(!pulses);
    quiet();
    hear("ARM,1");
    CHECK(said("NO,1,no-sample-yet"));
    Reading low = WELL;
    low.supply_mv = 4700;
    sample(&low);
    hear("ARM,2");
    CHECK(said("NO,2,under-voltage"));
    Reading broken = WELL;
    broken.angle_lost = true;
    sample(&broken);
    hear("ARM,3");
    CHECK(said("NO,3,sensor-fault") && !pulses);
    sample(&WELL);
    hear("GO,4,1500,0");
    CHECK(said("NO,4,disarmed") && !pulses);
}

static void arm_now(void) {
    begin();
    hear("ARM,1");
    CHECK(pulses);
    quiet();
}

static void everything_that_trips_stops_the_pulses_and_is_told(void) {
    Reading bad = WELL;
    arm_now();
    bad.current_ma = 2501;
    sample(&bad);
    CHECK(pulses);
    sample(&WELL);
    sample(&bad);
    CHECK(pulses);
    sample(&bad);
    CHECK(!pulses && strstr(fake_sent, "over-current,2501*") != NULL);
    // Nothing but ARM brings them back.
    hear("ALIVE");
    hear("GO,2,1500,0");
    sample(&WELL);
    CHECK(!pulses);

    arm_now();
    bad = WELL;
    bad.supply_mv = 4799;
    for (int i = 0; i < 10; i++) sample(&bad), hear("ALIVE");
    CHECK(pulses);
    sample(&bad);
    CHECK(!pulses && strstr(fake_sent, "under-voltage,4.799*") != NULL);

    arm_now();
    bad = WELL;
    bad.case_lost = false;
    bad.case_dc = 701;
    sample(&bad);
    CHECK(!pulses && strstr(fake_sent, "over-temperature,70.1*") != NULL);

    arm_now();
    bad = WELL;
    bad.current_ma = 950;
    for (int i = 0; i < 100; i++) sample(&bad), hear("ALIVE");
    CHECK(pulses);
    sample(&bad);
    CHECK(!pulses && strstr(fake_sent, "stalled,1500*") != NULL);
    // One that moves is none, and one that only holds is none.
    arm_now();
    for (int i = 0; i < 400; i++) {
        bad.angle_cdeg = (int32_t)(i * 2);
        sample(&bad), hear("ALIVE");
    }
    bad.current_ma = 899;
    for (int i = 0; i < 400; i++) sample(&bad), hear("ALIVE");
    CHECK(pulses);

    arm_now();
    bad = WELL;
    bad.angle_lost = true;
    sample(&bad);
    CHECK(!pulses && strstr(fake_sent, "sensor-fault,angle_deg*") != NULL);
}

static void a_silent_host_is_lost_after_half_a_second_also_where_the_clock_wraps(void) {
    for (int wrap = 0; wrap < 2; wrap++) {
        fake_ms = wrap ? UINT32_MAX - 250 : 1000;
        arm_now();
        for (int i = 0; i < 99; i++) sample(&WELL);
        CHECK(pulses);
        // Damaged lines keep nothing alive, and no word that is none.
        hear_raw("ALIVE*0000\n");
        hear("HELLO");
        sample(&WELL);
        CHECK(!pulses && strstr(fake_sent, "host-lost,500*") != NULL);
        arm_now();
        for (int i = 0; i < 1000; i++) {
            sample(&WELL);
            if (i % 30 == 0) hear("ALIVE");
        }
        CHECK(pulses);
    }
}

static void what_cannot_be_sent_is_left_out_and_counted(void) {
    begin();
    fake_room = 200;
    sample(&WELL);
    fake_room = 180;
    sample(&WELL);
    fake_room = 255;
    sample(&WELL);
    CHECK(strstr(fake_sent, "S,1,") != NULL && strstr(fake_sent, "S,2,") == NULL && strstr(fake_sent, "S,3,") != NULL);
    // A trip is told where a sample finds no room.
    arm_now();
    fake_room = 100;
    Reading bad = WELL;
    bad.angle_lost = true;
    sample(&bad);
    CHECK(!pulses && strstr(fake_sent, "sensor-fault") != NULL);
    fake_room = 255;
}

static uint32_t chance_state = 12345;
static uint32_t chance(uint32_t below) {
    // Numerical Recipes' "quick" generator (from memory): good enough to make nonsense.
    chance_state = chance_state * 1664525u + 1013904223u;
    return (uint32_t)(((uint64_t)chance_state * below) >> 32);
}

// Words of the link, whole and broken, in any order.
static void nonsense(char *line, size_t size) {
    const char *words[] = {"ARM", "DISARM", "GO", "LIMIT", "ASK", "ALIVE", "RIG", "", "pulse_hi_us=2600", "pulse_lo_us=400", "pulse_hi_us=2100",
                           "current_ma=-5", "stall_ms=999999999", "1500", "2500", "500", "-1", "65536", "1e9", "99999999999999", ".", "*", "=",
                           "7", "1", "0", "2147483648", "pulse_lo_us=900", "supply_v=", "\x01", "a,b"};
    size_t length = 0, count = 1 + chance(5);
    line[0] = '\0';
    // Often enough what a host says, with any number in it.
    switch (chance(8)) {
    case 0:
        snprintf(line, size, "GO,%u,%u.%u,%u", chance(65536), chance(3000), chance(10), chance(5000));
        return;
    case 1:
        snprintf(line, size, "LIMIT,%u,pulse_%s_us=%u", chance(65536), chance(2) ? "lo" : "hi", chance(3000));
        return;
    case 2:
        snprintf(line, size, "%s,%u", chance(2) ? "ARM" : "DISARM", chance(65536));
        return;
    default:
        break;
    }
    for (size_t i = 0; i < count; i++) {
        const char *word = words[chance(sizeof words / sizeof *words)];
        length += (size_t)snprintf(line + length, size - length, i ? ",%s" : "%s", word);
    }
    if (chance(4) == 0) line[chance((uint32_t)length + 1)] = (char)(1 + chance(255));
}

static uint32_t count_of(const char *text, const char *what) {
    uint32_t count = 0;
    for (const char *at = text; (at = strstr(at, what)) != NULL; at++)
        if (at == text || at[-1] == '\n') count++;
    return count;
}

static void a_million_lines_of_nonsense_move_nothing_out_of_bounds(void) {
    begin();
    fake_ms = 5000;
    narrowest = UINT16_MAX, widest = 0;
    bool may_pulse = false;
    uint32_t armed_times = 0;
    char line[200];
    for (uint32_t i = 0; i < 1000000; i++) {
        quiet();
        nonsense(line, sizeof line);
        bool with_check = chance(3) > 0;
        if (with_check) {
            hear(line);
        } else {
            hear_raw(line);
            hear_raw("\n");
        }
        bool armed_now = count_of(fake_sent, "EV") > 0 && strstr(fake_sent, ",armed*") != NULL;
        CHECK(!pulses || may_pulse || armed_now);
        if (armed_now) armed_times++;
        // One answer at most to one line.
        CHECK(count_of(fake_sent, "OK,") + count_of(fake_sent, "NO,") <= 1);
        if (chance(10) == 0) sample(&WELL);
        may_pulse = pulses;
        if (pulses) CHECK(pulse >= PULSE_SHORTEST && pulse <= PULSE_LONGEST);
    }
    CHECK(armed_times > 100);
    CHECK(narrowest >= PULSE_SHORTEST && widest <= PULSE_LONGEST);
    // It was put to it.
    CHECK(narrowest < 2 * 700 && widest > 2 * 2300);
    printf("a million lines: armed %u times, pulses from %.1f to %.1f us\n", armed_times, narrowest / 2.0, widest / 2.0);
    // And bytes without any sense at all: it is in step again at the next line.
    rig_begin();
    sample(&WELL);
    for (uint32_t i = 0; i < 1000000; i++) rig_heard((uint8_t)chance(256));
    CHECK(!pulses);
    hear_raw("\n");
    quiet();
    hear("ASK,9");
    CHECK(said("OK,9"));
}

// Every numbered command of a well-behaved host has one answer, with its number.
static void each_numbered_command_is_answered_once(void) {
    begin();
    const char *kinds[] = {"ASK", "ARM", "GO", "DISARM", "LIMIT"};
    for (uint32_t i = 0; i < 20000; i++) {
        char line[80], ok[16], no[16];
        uint32_t id = chance(65536);
        uint32_t kind = chance(5);
        if (kind == 2)
            snprintf(line, sizeof line, "GO,%u,%u,%u", id, 400 + chance(2300), chance(2000));
        else if (kind == 4)
            snprintf(line, sizeof line, "LIMIT,%u,pulse_lo_us=%u", id, 400 + chance(2300));
        else
            snprintf(line, sizeof line, "%s,%u", kinds[kind], id);
        snprintf(ok, sizeof ok, "OK,%u*", id);
        snprintf(no, sizeof no, "NO,%u,", id);
        quiet();
        hear(line);
        CHECK(count_of(fake_sent, ok) + count_of(fake_sent, no) == 1);
        if (chance(4) == 0) sample(&WELL);
    }
}

int main(void) {
    checks_are_those_published();
    a_line_is_taken_or_is_damage();
    numbers_are_decimals();
    a_ramp_goes_at_its_rate_and_arrives_once();
    limits_are_set_disarmed_whole_or_not_at_all();
    no_pulse_before_it_is_armed_and_none_with_a_reason_against();
    everything_that_trips_stops_the_pulses_and_is_told();
    a_silent_host_is_lost_after_half_a_second_also_where_the_clock_wraps();
    what_cannot_be_sent_is_left_out_and_counted();
    each_numbered_command_is_answered_once();
    a_million_lines_of_nonsense_move_nothing_out_of_bounds();
    puts("driven: all as it should be");
    return 0;
}
