/* What the core asks of a board. Only board.c (or a test) answers. Nothing here may wait. */
#ifndef PORTS_H
#define PORTS_H

#include <stdbool.h>
#include <stdint.h>

/* Bytes that can be taken for sending now. */
uint16_t port_room(void);
/* Takes bytes for sending; the core has asked for the room. */
void port_send(const char *bytes, uint8_t length);

#ifndef PASSIVE
/* The pulse of the frames to come, in half microseconds; begins to send where none was sent. */
void servo_pulse(uint16_t half_us);
/* No pulse begins after this. One that has begun is ended whole: a cut one would be a command of its own. */
void servo_off(void);
#endif

#endif
