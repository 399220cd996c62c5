// The rig: what it answers, when it is armed, what it tells. Calls the board, and is called by main.
#ifndef RIG_H
#define RIG_H

#include <stdbool.h>
#include <stdint.h>

#include "guard.h"

// No valid line of the host's for so long, and an armed rig disarms itself.
#define RIG_HOST_LOST_MS 500
// Bytes are taken from the host only while the answer to them can be sent: the longest is a RIG line and an OK.
#define RIG_ANSWER_BYTES 140

void rig_begin(void);
void rig_heard(uint8_t byte);
void rig_sample(const Reading *now, uint32_t t_us);
// Called as often as can be.
void rig_watch(void);

#endif
