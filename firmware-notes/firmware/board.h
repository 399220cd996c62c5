// All that the rig needs of a board. Another board is a port of board.c, and of the numbers here.
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

#include "guard.h"

// What the rig calls itself.
#define BOARD_NAME "bench-one"
#define BOARD_FIRMWARE "1.0"
// Samples at this distance: 200 a second, as many as 115200 baud carry with room for answers.
#define BOARD_SAMPLE_MS 5

// While nobody has set others. Set them for the weakest servo that you will put to the rig.
#define BOARD_CURRENT_MA 2500
#define BOARD_SUPPLY_MV 4800
#define BOARD_CASE_DC 700
#define BOARD_PULSE_LO (2 * 900)
#define BOARD_PULSE_HI (2 * 2100)
#define BOARD_STALL_MS 500
// A surface that stands while its servo draws this is stalled, mA.
#define BOARD_STALL_MA 900

// Sensors. Each channel's sum is of BOARD_SUMMED conversions of 0 to 1023 against the board's 5 V.
#define BOARD_SUMMED 8
// Current sensor: 0.5 V at nought, 0.8 V an ampere. Sum at nought, and microamperes a step of the sum.
#define BOARD_CURRENT_ZERO 819
#define BOARD_CURRENT_UA 763
// Potentiometer of 270 degrees across the supply. Sum at neutral, and thousandths of a degree a step; minus if it runs the other way.
// Rough is enough here: `hingewright calibrate angle` finds the rest.
#define BOARD_ANGLE_ZERO 4096
#define BOARD_ANGLE_MDEG 33
// Supply at the servo's plug through 10 k over 5.6 k: microvolts a step of the sum.
#define BOARD_SUPPLY_UV 1700

void board_begin(void);
// Since the start; both wrap.
uint32_t board_ms(void);

// The next sample, if there is one, with the board's clock when it was taken, microseconds. Never waits.
bool board_sample(Reading *reading, uint32_t *t_us);

// A byte from the host, if there is one.
bool board_heard(uint8_t *byte);
// Bytes that can be sent without waiting.
uint8_t board_room(void);
// No more than there is room for.
void board_send(const char *bytes, uint8_t count);

// Still alive: called at each sample, or the watchdog starts the rig anew, disarmed.
void board_alive(void);
// Nothing to do until something happens.
void board_rest(void);

#ifndef RIG_PASSIVE
// Pulses of this width, half microseconds, from the next frame on.
void board_pulse(uint16_t ticks);
// No pulse begins any more. One that has begun is finished: cut short it would be another command to the servo.
void board_stop(void);
void board_light(bool on);
#endif

#endif
