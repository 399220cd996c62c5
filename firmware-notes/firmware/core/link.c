#include "link.h"

#include <string.h>

#include "crc.h"
#include "number.h"
#include "ports.h"
#include "say.h"

#ifdef PASSIVE
#define DRIVE "passive"
#define PULSE_CHANNEL ""
#else
#define DRIVE "driven"
#define PULSE_CHANNEL ",pulse_us"
#endif

#define ROOM_FOR_EVENT 48
/* `RIG` with all channels and `OK`: below 100 bytes with a name of up to 16 letters. Samples leave so much free, so that what is said
   once never waits for what is said always. */
#define ROOM_FOR_ANSWER 100

static const char *const EVENT_CODE[EVENTS] = {"armed", "disarmed", "arrived", "over-current", "over-temperature",
    "under-voltage", "stalled", "host-lost", "sensor-fault", "bad-line"};

static void say_identity(void) {
    struct say say;
    say_begin(&say, "RIG,1,");
    say_text(&say, LINK_BOARD.name);
    say_text(&say, "," FIRMWARE_VERSION "," DRIVE);
    say_number(&say, LINK_BOARD.samples_per_s, 0);
    say_text(&say, PULSE_CHANNEL);
    for (uint8_t channel = 0; channel < CHANNELS; channel++) {
        if (!((GUARD_BOARD.fitted >> channel) & 1u))
            continue;
        say_text(&say, ",");
        say_text(&say, CHANNEL_NAME[channel]);
    }
    say_end(&say);
}

/* A detail is written as its sample would be. */
static void say_detail(struct say *say, uint8_t event, int32_t detail) {
    switch (event) {
    case EVENT_ARRIVED:
        say_thousandths(say, detail);
        break;
    case EVENT_STALLED:
        say_half_us(say, (uint16_t)detail);
        break;
    case EVENT_OVER_CURRENT:
        say_number(say, detail, CHANNEL_DECIMALS[CHANNEL_CURRENT]);
        break;
    case EVENT_OVER_TEMPERATURE:
        say_number(say, detail, CHANNEL_DECIMALS[CHANNEL_CASE]);
        break;
    case EVENT_UNDER_VOLTAGE:
        say_number(say, detail, CHANNEL_DECIMALS[CHANNEL_SUPPLY]);
        break;
    case EVENT_HOST_LOST:
        say_number(say, detail, 0);
        break;
    case EVENT_SENSOR_FAULT:
        say_text(say, ",");
        say_text(say, CHANNEL_NAME[detail]);
        break;
    default:
        break;
    }
}

static void say_event(const struct event_waiting *event) {
    struct say say;
    say_begin(&say, "EV");
    say_unsigned(&say, event->t_us);
    say_text(&say, ",");
    say_text(&say, EVENT_CODE[event->event]);
    say_detail(&say, event->event, event->detail);
    say_end(&say);
}

static void flush_events(struct rig *rig) {
    uint8_t said = 0;
    while (said < rig->waiting_count && port_room() >= ROOM_FOR_EVENT)
        say_event(&rig->waiting[said++]);
    rig->waiting_count = (uint8_t)(rig->waiting_count - said);
    memmove(rig->waiting, rig->waiting + said, rig->waiting_count * sizeof rig->waiting[0]);
}

/* Tells at once where there is room. Where even the waiting list is full, the newest is lost: a trip stops the pulses before it
   is told, and the commanded pulse in the samples tells it too. */
static void tell(struct rig *rig, enum event event, int32_t detail, uint32_t now_us) {
    if (rig->waiting_count < EVENTS_WAITING) {
        struct event_waiting *next = &rig->waiting[rig->waiting_count++];
        next->t_us = now_us;
        next->event = (uint8_t)event;
        next->detail = detail;
    }
    flush_events(rig);
}

static void answer(uint16_t id, const char *refusal) {
    struct say say;
    say_begin(&say, refusal ? "NO" : "OK");
    say_unsigned(&say, id);
    if (refusal) {
        say_text(&say, ",");
        say_text(&say, refusal);
    }
    say_end(&say);
}

static const char FIELDS[] = "wrong-number-of-fields";

#ifdef PASSIVE

static const char *obey(struct rig *rig, struct line_said *said, uint32_t now_us) {
    (void)rig;
    (void)now_us;
    if (said->command != COMMAND_ASK)
        return "passive";
    if (said->has_rest)
        return FIELDS;
    say_identity();
    return NULL;
}

#else

static const char NO_NUMBER[] = "no-number";
static const char *const TRIP_WORD[] = {"", "over-current", "over-temperature", "under-voltage", "stalled", "sensor-fault"};

static void stop(struct rig *rig) {
    servo_off();
    rig->armed = false;
    rig->ramp.under_way = false;
    rig->ramp.to = rig->ramp.now;
}

/* Pulses stop first; then it is told. */
static void trip(struct rig *rig, enum event event, int32_t detail, uint32_t now_us) {
    stop(rig);
    tell(rig, event, detail, now_us);
}

static const char *set_limits(struct rig *rig, struct line_said *said) {
    struct limits next = rig->limits;
    const char *field;
    uint8_t length;
    if (rig->armed)
        return "armed";
    if (!said->has_rest)
        return FIELDS;
    while (line_field(said, &field, &length)) {
        const char *equals = memchr(field, '=', length);
        int32_t value;
        if (!equals)
            return FIELDS;
        uint8_t name = (uint8_t)(equals - field);
        if (!number_read(equals + 1, (uint8_t)(length - name - 1), &value))
            return NO_NUMBER;
        const char *refusal = limits_set(&next, field, name, value);
        if (refusal)
            return refusal;
    }
    const char *refusal = limits_whole(&next);
    if (!refusal)
        rig->limits = next;
    return refusal;
}

static const char *arm(struct rig *rig, uint32_t now_us) {
    if (rig->armed)
        return NULL;
    if (!rig->sampled)
        return "no-sample-yet";
    enum trip objection = guard_objection(&rig->limits, &rig->last);
    if (objection != TRIP_NONE)
        return TRIP_WORD[objection];
    if (!rig->placed || !limits_allow(&rig->limits, rig->ramp.now))
        ramp_stand(&rig->ramp, limits_middle(&rig->limits));
    rig->placed = true;
    rig->armed = true;
    guard_begin(&rig->guard);
    rig->sent_half_us = ramp_half_us(&rig->ramp, rig->limits.of[LIMIT_PULSE_LO], rig->limits.of[LIMIT_PULSE_HI]);
    servo_pulse(rig->sent_half_us);
    tell(rig, EVENT_ARMED, 0, now_us);
    return NULL;
}

static const char *go(struct rig *rig, struct line_said *said) {
    const char *field;
    uint8_t length;
    int32_t number[2];
    for (uint8_t i = 0; i < 2; i++) {
        if (!line_field(said, &field, &length))
            return FIELDS;
        if (!number_read(field, length, &number[i]))
            return NO_NUMBER;
    }
    if (said->has_rest)
        return FIELDS;
    if (number[1] < 0)
        return NO_NUMBER;
    if (!rig->armed)
        return "not-armed";
    if (!limits_allow(&rig->limits, number[0]))
        return "outside-limits";
    ramp_go(&rig->ramp, number[0], number[1]);
    return NULL;
}

static void disarm(struct rig *rig, uint32_t now_us) {
    bool was_armed = rig->armed;
    stop(rig);
    if (was_armed)
        tell(rig, EVENT_DISARMED, 0, now_us);
}

static const char *obey(struct rig *rig, struct line_said *said, uint32_t now_us) {
    if (said->command == COMMAND_LIMIT)
        return set_limits(rig, said);
    if (said->command == COMMAND_GO)
        return go(rig, said);
    if (said->has_rest)
        return FIELDS;
    if (said->command == COMMAND_ASK)
        say_identity();
    else if (said->command == COMMAND_ARM)
        return arm(rig, now_us);
    else
        disarm(rig, now_us);
    return NULL;
}

static void watch(struct rig *rig, const struct reading *now, uint32_t now_us) {
    switch (guard_watch(&rig->guard, &rig->limits, now, now_us)) {
    case TRIP_CURRENT:
        trip(rig, EVENT_OVER_CURRENT, now->value[CHANNEL_CURRENT], now_us);
        break;
    case TRIP_CASE:
        trip(rig, EVENT_OVER_TEMPERATURE, now->value[CHANNEL_CASE], now_us);
        break;
    case TRIP_SUPPLY:
        trip(rig, EVENT_UNDER_VOLTAGE, now->value[CHANNEL_SUPPLY], now_us);
        break;
    case TRIP_STALL:
        trip(rig, EVENT_STALLED, rig->sent_half_us, now_us);
        break;
    case TRIP_SENSOR: /* told, with the channel, by whoever sees the reading go */
        stop(rig);
        break;
    default:
        break;
    }
}

#endif

void rig_start(struct rig *rig) {
    memset(rig, 0, sizeof *rig);
#ifndef PASSIVE
    rig->limits = GUARD_BOARD.defaults;
#endif
    say_identity();
}

bool rig_listens(const struct rig *rig) { return rig->waiting_count == 0 && port_room() >= ROOM_FOR_ANSWER; }

void rig_byte(struct rig *rig, uint8_t byte, uint32_t now_us) {
    struct line_said said;
    enum line_is is = line_take(&rig->line, byte, &said);
    if (is == LINE_NONE)
        return;
    if (is == LINE_DAMAGED) {
        tell(rig, EVENT_BAD_LINE, 0, now_us);
        return;
    }
#ifndef PASSIVE
    rig->heard_us = now_us;
#endif
    if (is == LINE_COMMAND)
        answer(said.id, obey(rig, &said, now_us));
}

static void say_sample(struct rig *rig, const struct reading *now, uint32_t t_us) {
    struct say say;
    say_begin(&say, "S");
    say_unsigned(&say, rig->seq);
    say_unsigned(&say, t_us);
#ifndef PASSIVE
    if (rig->armed)
        say_half_us(&say, rig->sent_half_us);
    else
        say_text(&say, ",");
#endif
    for (uint8_t channel = 0; channel < CHANNELS; channel++) {
        uint8_t bit = (uint8_t)(1u << channel);
        if (now->fitted & bit & ~now->missing)
            say_number(&say, now->value[channel], CHANNEL_DECIMALS[channel]);
        else if (now->fitted & bit)
            say_text(&say, ",");
    }
    if (rig->waiting_count == 0 && port_room() >= (uint16_t)(say_whole_length(&say) + ROOM_FOR_ANSWER))
        say_end(&say);
}

void rig_sample(struct rig *rig, const struct reading *now, uint32_t t_us, uint32_t now_us) {
    uint8_t missing = now->missing & now->fitted;
    rig->last = *now;
    rig->sampled = true;
#ifndef PASSIVE
    if (rig->armed)
        watch(rig, now, now_us);
#endif
    for (uint8_t channel = 0; channel < CHANNELS; channel++)
        if ((missing & ~rig->was_missing) >> channel & 1u)
            tell(rig, EVENT_SENSOR_FAULT, channel, now_us);
    rig->was_missing = missing;
    say_sample(rig, now, t_us);
    /* The count goes on where no room was: that is how the host knows that a sample is lost. */
    rig->seq++;
}

#ifndef PASSIVE
void rig_frame(struct rig *rig, uint32_t now_us) {
    if (!rig->armed)
        return;
    bool arrived = ramp_step(&rig->ramp, LINK_BOARD.frames_per_s);
    rig->sent_half_us = ramp_half_us(&rig->ramp, rig->limits.of[LIMIT_PULSE_LO], rig->limits.of[LIMIT_PULSE_HI]);
    servo_pulse(rig->sent_half_us);
    if (arrived)
        tell(rig, EVENT_ARRIVED, rig->ramp.now, now_us);
}
#endif

void rig_tick(struct rig *rig, uint32_t now_us) {
#ifndef PASSIVE
    uint32_t unheard_us = now_us - rig->heard_us;
    if (rig->armed && unheard_us >= HOST_LOST_US)
        trip(rig, EVENT_HOST_LOST, (int32_t)(unheard_us / 1000u), now_us);
#else
    (void)now_us;
#endif
    flush_events(rig);
}
