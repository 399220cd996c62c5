/* The level of the servo pin (PB1, OC1A) of a simulated ATmega328P, from the state of its timer's registers.

   simavr keeps the registers and the counter, but its pin does not follow OC1A in fast PWM mode. So the waveform generator is
   modelled here, as the chip's data sheet describes it (mode 14: set at BOTTOM, cleared at compare match, OCR1A taken over at
   BOTTOM, the pin the port's while COM1A is 0, an input after reset). Nothing of the firmware's protocol is asked: what the
   registers do is what the servo sees. */
#ifndef PIN_H
#define PIN_H

#include <stdbool.h>
#include <stdint.h>

#include "sim_avr.h"

struct pin {
    avr_t *avr;
    uint8_t tccr1a, tccr1b, ddr, port;
    uint16_t top, ocr_written, ocr_active;
    bool running, ended; /* this frame's compare match is past */
    uint64_t bottom;     /* cycle at which the counter stood at zero last */
    bool latch, level;
    uint64_t rose;
    unsigned disturbed; /* writes that no pulse may see: the counter, the top, the clock while it runs */
    uint64_t worst_off; /* of this model's counter against simavr's, steps */
    /* A pulse was whole: from its rise to its fall, cycles. */
    void (*on_pulse)(uint64_t rose, uint64_t fell);
};

void pin_begin(struct pin *pin, avr_t *avr);
/* After a reset of the chip. */
void pin_reset(struct pin *pin);
/* All edges up to a cycle. */
void pin_advance(struct pin *pin, uint64_t cycle);

#endif
