/* Everything that belongs to one board: its pins, sensors, scales, limits and timers. Another board is another pair of this file
   and board.c; core/ and main.c stay as they are. This one: ATmega328P at 16 MHz, 5 V, and the sensors of ../building.md. */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

#include "core/link.h"
#include "core/ports.h"

#define BOARD_NAME "reference"
/* 0 where no temperature sensor is fitted: the channel and its limit are then not offered. */
#ifndef BOARD_HAS_CASE
#define BOARD_HAS_CASE 1
#endif

#define BAUD_RATE 115200ul
#ifndef SAMPLES_PER_S
#define SAMPLES_PER_S 200u
#endif
/* 50 a second suit every servo. A digital one may take more (its data sheet): the surface then moves in finer steps. */
#ifndef FRAMES_PER_S
#define FRAMES_PER_S 50u
#endif

/* Starts everything, disarmed, pin low. */
void board_begin(void);
/* The rig's clock in us; wraps. */
uint32_t board_now_us(void);
/* A byte of the host's, if one came. */
bool board_heard(uint8_t *byte);
/* A new sample, if one is complete, and the middle of the time over which it was taken. */
bool board_sampled(struct reading *now, uint32_t *t_us);
#ifndef PASSIVE
/* Whether a servo frame began since the last call. */
bool board_frame(void);
#endif
/* The program is alive. Without this for 32 ms pulses stop, for 64 ms the chip resets; a reset chip sends no pulse. */
void board_alive(void);
/* Nothing more to do until the next interrupt. */
void board_rest(void);

#endif
