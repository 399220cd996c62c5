#include "rig.h"

#include <stddef.h>
#include <string.h>

#include "board.h"
#include "link.h"
#include "ramp.h"

// A sample or a word of a damaged line leaves so many bytes for what must be said.
#define RESERVE_BYTES 160

static Receiver receiver;
static Line line;
static uint16_t seq;
// Of the latest sample.
static uint32_t clock_us;
static Reading latest;
static bool sampled;

#ifndef RIG_PASSIVE
static Limits limits;
static Guard guard;
static Ramp ramp;
static bool armed;
static bool commanded;
static uint32_t heard_ms;
static uint32_t ramped_ms;
#endif

static void send(uint8_t reserve) {
    line_end(&line);
    if (board_room() >= line.length + reserve) board_send(line.text, line.length);
}

static void event_begin(const char *code) {
    line_begin(&line, "EV");
    line_number(&line, clock_us);
    line_text(&line, code);
}

static void event(const char *code, uint8_t reserve) {
    event_begin(code);
    send(reserve);
}

static void identify(void) {
    line_begin(&line, "RIG");
    line_number(&line, 1);
    line_text(&line, BOARD_NAME);
    line_text(&line, BOARD_FIRMWARE);
#ifdef RIG_PASSIVE
    line_text(&line, "passive");
#else
    line_text(&line, "driven");
#endif
    line_number(&line, 1000 / BOARD_SAMPLE_MS);
#ifndef RIG_PASSIVE
    line_text(&line, "pulse_us");
#endif
    line_text(&line, "angle_deg");
    line_text(&line, "current_ma");
    line_text(&line, "supply_v");
#ifdef BOARD_CASE
    line_text(&line, "case_c");
#endif
    send(0);
}

static void answer_ok(uint16_t id) {
    line_begin(&line, "OK");
    line_number(&line, id);
    send(0);
}

static void answer_no(uint16_t id, const char *reason) {
    line_begin(&line, "NO");
    line_number(&line, id);
    line_text(&line, reason);
    send(0);
}

static void value_or_nothing(int32_t value, uint8_t decimals, bool lost) {
    if (lost)
        line_empty(&line);
    else
        line_fixed(&line, value, decimals);
}

#ifndef RIG_PASSIVE

static void answer(uint16_t id, const char *objection) {
    if (objection == NULL)
        answer_ok(id);
    else
        answer_no(id, objection);
}

static void line_ticks(uint16_t ticks) {
    // Half microseconds as tenths.
    if (ticks & 1)
        line_fixed(&line, (int32_t)ticks * 5, 1);
    else
        line_number(&line, ticks / 2);
}

static void stop(void) {
    board_stop();
    board_light(false);
    armed = false;
    ramp.under_way = false;
}

// Pulses stop first; then it is told.
static void trip_begin(const char *code) {
    stop();
    event_begin(code);
}

static void trip_number(const char *code, uint32_t number) {
    trip_begin(code);
    line_number(&line, number);
    send(0);
}

static bool allowed(uint16_t ticks) {
    return limits.pulse_lo <= ticks && ticks <= limits.pulse_hi;
}

static const char *set_limits(char *rest) {
    if (armed) return "armed";
    if (rest == NULL) return "no-limit";
    Limits wanted = limits;
    for (char *pair = field_next(&rest); pair != NULL; pair = field_next(&rest)) {
        char *number = strchr(pair, '=');
        int32_t milli;
        if (number == NULL) return "not-name=number";
        *number++ = '\0';
        if (!number_milli(number, &milli)) return "senseless-number";
        if (!limits_set(&wanted, pair, milli)) return "unknown-or-senseless-limit";
    }
    if (!limits_agree(&wanted)) return "senseless-number";
    limits = wanted;
    return NULL;
}

static const char *arm(void) {
    if (armed) return NULL;
    if (!sampled) return "no-sample-yet";
    const char *objection = guard_objects(&limits, &latest);
    if (objection != NULL) return objection;
    if (!commanded || !allowed(ramp_ticks(&ramp))) ramp_stand(&ramp, (uint16_t)((limits.pulse_lo + limits.pulse_hi) / 2));
    guard_begin(&guard, &latest);
    ramped_ms = board_ms();
    armed = commanded = true;
    board_pulse(ramp_ticks(&ramp));
    board_light(true);
    return NULL;
}

static const char *go(char *pulse, char *rate) {
    int32_t pulse_milli, rate_milli;
    if (!number_milli(pulse, &pulse_milli) || !number_milli(rate, &rate_milli) || rate_milli < 0) return "senseless-number";
    if (!armed) return "disarmed";
    if (pulse_milli < 0 || pulse_milli > 5000000) return "outside-limits";
    // To the nearest tick, which is where a limit between ticks stands as well.
    uint16_t ticks = (uint16_t)((pulse_milli + 250) / 500);
    if (pulse_milli < (int32_t)limits.pulse_lo * 500 || pulse_milli > (int32_t)limits.pulse_hi * 500 || !allowed(ticks))
        return "outside-limits";
    ramp_go(&ramp, ticks, rate_milli);
    return NULL;
}

// Whether the line is one that a host sends.
static bool command(const char *kind, uint16_t id, char *rest) {
    if (strcmp(kind, "LIMIT") == 0) {
        answer(id, set_limits(rest));
    } else if (strcmp(kind, "GO") == 0) {
        char *pulse = field_next(&rest), *rate = field_next(&rest);
        if (rate == NULL || rest != NULL) return false;
        answer(id, go(pulse, rate));
    } else if (rest != NULL) {
        return false;
    } else if (strcmp(kind, "ARM") == 0) {
        const char *objection = arm();
        if (objection == NULL) event("armed", 0);
        answer(id, objection);
    } else if (strcmp(kind, "DISARM") == 0) {
        stop();
        event("disarmed", 0);
        answer_ok(id);
    } else {
        return false;
    }
    return true;
}

#else

static bool command(const char *kind, uint16_t id, char *rest) {
    (void)rest;
    static const char *const KINDS[] = {"LIMIT", "GO", "ARM", "DISARM"};
    for (uint8_t i = 0; i < sizeof KINDS / sizeof *KINDS; i++)
        if (strcmp(kind, KINDS[i]) == 0) {
            answer_no(id, "passive");
            return true;
        }
    return false;
}

#endif

// Whether a line with a good check says something that a host says.
static bool understood(char *rest) {
    char *kind = field_next(&rest);
    if (strcmp(kind, "ALIVE") == 0) return rest == NULL;
    char *number = field_next(&rest);
    uint16_t id;
    if (number == NULL || !number_id(number, &id)) return false;
    if (strcmp(kind, "ASK") == 0 && rest == NULL) {
        identify();
        answer_ok(id);
        return true;
    }
    return command(kind, id, rest);
}

void rig_begin(void) {
    memset(&receiver, 0, sizeof receiver);
    seq = 0;
    clock_us = 0;
    sampled = false;
#ifndef RIG_PASSIVE
    static const Limits DEFAULTS = {
        .current_ma = BOARD_CURRENT_MA,
        .supply_mv = BOARD_SUPPLY_MV,
        .case_dc = BOARD_CASE_DC,
        .pulse_lo = BOARD_PULSE_LO,
        .pulse_hi = BOARD_PULSE_HI,
        .stall_ms = BOARD_STALL_MS,
    };
    limits = DEFAULTS;
    commanded = false;
    stop();
#endif
    identify();
}

void rig_heard(uint8_t byte) {
    switch (receiver_take(&receiver, byte)) {
    case HEARD_NOTHING:
        return;
    case HEARD_LINE:
        if (understood(receiver.text)) {
#ifndef RIG_PASSIVE
            heard_ms = board_ms();
#endif
            return;
        }
        break;
    case HEARD_DAMAGE:
        break;
    }
    event("bad-line", RESERVE_BYTES);
}

static void say_sample(const Reading *now, uint32_t t_us) {
    line_begin(&line, "S");
    line_number(&line, seq++);
    line_number(&line, t_us);
#ifndef RIG_PASSIVE
    if (armed)
        line_ticks(ramp_ticks(&ramp));
    else
        line_empty(&line);
#endif
    value_or_nothing(now->angle_cdeg, 2, now->angle_lost);
    value_or_nothing(now->current_ma, 0, now->current_lost);
    line_fixed(&line, now->supply_mv, 3);
#ifdef BOARD_CASE
    value_or_nothing(now->case_dc, 1, now->case_lost);
#endif
    send(RESERVE_BYTES);
}

// A sensor that has just ceased to read.
static const char *newly_lost(const Reading *now) {
    const bool was = sampled;
    if (now->angle_lost && !(was && latest.angle_lost)) return "angle_deg";
    if (now->current_lost && !(was && latest.current_lost)) return "current_ma";
#ifdef BOARD_CASE
    if (now->case_lost && !(was && latest.case_lost)) return "case_c";
#endif
    return NULL;
}

void rig_sample(const Reading *now, uint32_t t_us) {
    clock_us = t_us;
    say_sample(now, t_us);
    const char *lost = newly_lost(now);
    latest = *now;
    sampled = true;
#ifdef RIG_PASSIVE
    if (lost != NULL) {
        event_begin("sensor-fault");
        line_text(&line, lost);
        send(RESERVE_BYTES);
    }
#else
    if (lost != NULL) {
        trip_begin("sensor-fault");
        line_text(&line, lost);
        send(0);
    }
    if (!armed) return;
    switch (guard_watch(&guard, &limits, BOARD_STALL_MA, now, BOARD_SAMPLE_MS)) {
    case GUARD_QUIET:
        break;
    case GUARD_OVER_CURRENT:
        trip_number("over-current", (uint32_t)now->current_ma);
        break;
    case GUARD_OVER_TEMPERATURE:
        trip_begin("over-temperature");
        line_fixed(&line, now->case_dc, 1);
        send(0);
        break;
    case GUARD_UNDER_VOLTAGE:
        trip_begin("under-voltage");
        line_fixed(&line, now->supply_mv, 3);
        send(0);
        break;
    case GUARD_STALLED:
        trip_begin("stalled");
        line_ticks(ramp_ticks(&ramp));
        send(0);
        break;
    }
#endif
}

void rig_watch(void) {
#ifndef RIG_PASSIVE
    if (!armed) return;
    uint32_t now_ms = board_ms();
    uint32_t unheard_ms = now_ms - heard_ms;
    if (unheard_ms >= RIG_HOST_LOST_MS) {
        trip_number("host-lost", unheard_ms);
        return;
    }
    uint32_t passed_ms = now_ms - ramped_ms;
    if (passed_ms == 0) return;
    ramped_ms = now_ms;
    bool arrived = ramp_pass(&ramp, passed_ms > 1000 ? 1000 : (uint16_t)passed_ms);
    board_pulse(ramp_ticks(&ramp));
    if (arrived) {
        event_begin("arrived");
        line_ticks(ramp_ticks(&ramp));
        send(0);
    }
#endif
}
