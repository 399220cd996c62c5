/* A million random lines: sound commands, sound ones with a byte changed, and noise, with time, samples and a sending buffer that
   fills and drains. Fixed seed. */
#include "test.h"

#include "../core/link.h"

static struct rig rig;
static uint32_t now_us, state = 0x2545F491;

static uint32_t draw(uint32_t below) {
    state ^= state << 13;
    state ^= state >> 17;
    state ^= state << 5;
    return state % below;
}

static struct reading any_reading(void) {
    struct reading now = {.value = {(int32_t)draw(10000) - 5000, (int32_t)draw(1400), 700, 300}, .missing = 0, .fitted = 0x0F};
    if (draw(2000) == 0)
        now.value[draw(CHANNELS)] = draw(2) ? 9999 : 0;
    if (draw(3000) == 0)
        now.missing = (uint8_t)draw(16);
    return now;
}

static size_t any_command(char *line, unsigned id) {
    static const char *const NAMES[] = {"pulse_lo_us", "pulse_hi_us", "stall_ms", "current_ma", "case_c", "supply_v", "warp"};
    char payload[200];
    switch (draw(8)) {
    case 0:
        sprintf(payload, "ASK,%u", id);
        break;
    case 1:
        sprintf(payload, "LIMIT,%u,%s=%u.%u", id, NAMES[draw(7)], draw(3000), draw(100));
        break;
    case 2:
    case 3:
        sprintf(payload, "ARM,%u", id);
        break;
    case 4:
        sprintf(payload, "DISARM,%u", id);
        break;
    default:
        sprintf(payload, "GO,%u,%u.%u,%u", id, 400 + draw(2200), draw(10000), draw(4) ? draw(100000) : 0);
        break;
    }
    return host_line(line, payload);
}

static size_t noise(char *line) {
    size_t length = draw(250);
    for (size_t i = 0; i < length; i++)
        line[i] = (char)(draw(4) ? (uint32_t)"ARMGOLIT,=*0123456789.\r"[draw(23)] : draw(256));
    line[length] = '\n';
    return length + 1;
}


static bool ever_allowed;

/* What must hold after every byte, sample and frame. */
static void hold(void) {
#ifndef PASSIVE
    const int32_t *of = rig.limits.of;
    CHECK(fake.pulses == rig.armed);
    CHECK(of[LIMIT_PULSE_LO] >= PULSE_SHORTEST && of[LIMIT_PULSE_HI] <= PULSE_LONGEST && of[LIMIT_PULSE_LO] < of[LIMIT_PULSE_HI]);
    if (fake.pulses) {
        CHECK(ever_allowed);
        CHECK(fake.half_us * 500l >= of[LIMIT_PULSE_LO] && fake.half_us * 500l <= of[LIMIT_PULSE_HI]);
        CHECK(fake.half_us >= 1000 && fake.half_us <= 5000);
    }
#endif
}

static void pass_time(void) {
    now_us += draw(20000);
    fake.room = draw(10) ? 255 : (uint16_t)draw(256);
    rig_tick(&rig, now_us);
    hold();
    if (draw(2)) {
        struct reading now = any_reading();
        rig_sample(&rig, &now, now_us, now_us);
        hold();
    }
#ifndef PASSIVE
    if (draw(2)) {
        rig_frame(&rig, now_us);
        hold();
    }
#endif
    if (draw(400) == 0)
        now_us += 600000;
}

static void feed(const char *line, size_t length) {
    for (size_t i = 0; i < length; i++) {
        while (!rig_listens(&rig)) {
            fake.room = 255;
            rig_tick(&rig, now_us);
        }
        rig_byte(&rig, (uint8_t)line[i], now_us);
        hold();
        fake.room = 255;
    }
}

void test_random(void) {
    char line[600], wanted[40], refused[40];
    unsigned long armings = 0, answered = 0;
    fake_forget();
    rig_start(&rig);
    for (unsigned long i = 0; i < 1000000; i++) {
        pass_time();
        fake.said_length = 0;
        unsigned id = draw(65536), kind = draw(10);
        size_t length = kind < 7 ? any_command(line, id) : noise(line);
        if (kind == 6)
            line[draw((uint32_t)length - 6)] ^= (char)(1u << draw(8)); /* in the payload: a digit of the checksum has two cases */
#ifndef PASSIVE
        bool was_armed = rig.armed;
        /* Pulses may begin only by a sound ARM, which only a sound command can be: noise must not hit on one. */
        ever_allowed = was_armed || kind < 6;
        feed(line, length);
        armings += !was_armed && rig.armed;
        CHECK(was_armed || !rig.armed || memcmp(line, "ARM,", 4) == 0);
#else
        feed(line, length);
        CHECK(!fake.pulses && fake.pulse_calls == 0);
#endif
        ever_allowed = true;
        sprintf(wanted, "OK,%u*", id);
        sprintf(refused, "NO,%u,", id);
        unsigned count = fake_count(wanted) + fake_count(refused);
        if (kind < 6) {
            CHECK(count == 1 && fake_count("OK,") + fake_count("NO,") == 1);
            answered += count;
        } else {
            CHECK(fake_count("OK,") + fake_count("NO,") == 0);
        }
    }
    /* The run must have tried what it is for. */
#ifdef PASSIVE
    (void)armings;
#else
    CHECK(armings > 10000);
#endif
    CHECK(answered > 500000);
    printf("random lines: 1000000, commands answered: %lu, armings: %lu\n", answered, armings);
}
