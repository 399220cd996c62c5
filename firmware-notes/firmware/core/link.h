/* The rig's side of the link, version 1: what it says, and what it makes of the host's lines. Bytes, samples and time come in
   from main; nothing of registers in here. */
#ifndef LINK_H
#define LINK_H

#include "guard.h"
#include "line.h"
#include "ramp.h"

/* What this rig calls itself. */
struct link_board {
    const char *name;
    uint16_t samples_per_s;
    uint16_t frames_per_s;
};

extern const struct link_board LINK_BOARD;

#define FIRMWARE_VERSION "1.0"
/* An armed rig that hears nothing valid for so long disarms itself, us. */
#define HOST_LOST_US 500000ul

enum event {
    EVENT_ARMED, EVENT_DISARMED, EVENT_ARRIVED, EVENT_OVER_CURRENT, EVENT_OVER_TEMPERATURE, EVENT_UNDER_VOLTAGE,
    EVENT_STALLED, EVENT_HOST_LOST, EVENT_SENSOR_FAULT, EVENT_BAD_LINE, EVENTS
};

struct event_waiting {
    uint32_t t_us;
    int32_t detail;
    uint8_t event;
};

#define EVENTS_WAITING 6

struct rig {
    struct line_in line;
    struct reading last;
    struct event_waiting waiting[EVENTS_WAITING];
    uint8_t waiting_count;
    uint16_t seq;
    uint8_t was_missing;
    bool sampled;
#ifndef PASSIVE
    struct limits limits;
    struct guard guard;
    struct ramp ramp;
    uint16_t sent_half_us;
    uint32_t heard_us;
    bool placed; /* a pulse was commanded since the start */
    bool armed;
#endif
};

/* After a reset: disarmed, the board's own limits; says who it is. */
void rig_start(struct rig *rig);
/* Whether a byte of the host's may be given now: there is room for any answer, so that each command gets one. */
bool rig_listens(const struct rig *rig);
void rig_byte(struct rig *rig, uint8_t byte, uint32_t now_us);
/* A sample that was measured around t_us. */
void rig_sample(struct rig *rig, const struct reading *now, uint32_t t_us, uint32_t now_us);
#ifndef PASSIVE
/* A servo frame has begun: the pulse of the next one. */
void rig_frame(struct rig *rig, uint32_t now_us);
#endif
/* As often as possible: the host's silence, and events that found no room. */
void rig_tick(struct rig *rig, uint32_t now_us);

#endif
