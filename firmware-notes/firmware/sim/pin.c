#include "pin.h"

#include "avr_timer.h"
#include "sim_io.h"

#define BIT 1
enum { DDRB_AT = 0x24, PORTB_AT = 0x25, TCCR1A_AT = 0x80, TCCR1B_AT, TCNT1L_AT = 0x84, ICR1L_AT = 0x86, ICR1H_AT, OCR1AL_AT, OCR1AH_AT };
#define CYCLES_A_STEP 8u

static unsigned com(const struct pin *pin) { return pin->tccr1a >> 6; }

static bool level(const struct pin *pin) {
    if (!(pin->ddr >> BIT & 1))
        return false; /* an input; the wire's own resistor pulls it down */
    return com(pin) ? pin->latch : pin->port >> BIT & 1;
}

static void settle(struct pin *pin, uint64_t cycle) {
    bool now = level(pin);
    if (now == pin->level)
        return;
    pin->level = now;
    if (now)
        pin->rose = cycle;
    else
        pin->on_pulse(pin->rose, cycle);
}

void pin_advance(struct pin *pin, uint64_t cycle) {
    while (pin->running) {
        uint64_t match = pin->bottom + CYCLES_A_STEP * (pin->ocr_active + 1u);
        uint64_t next = pin->bottom + CYCLES_A_STEP * (pin->top + 1u);
        if (!pin->ended && match <= cycle) {
            pin->ended = true;
            if (com(pin) == 2)
                pin->latch = false;
            settle(pin, match);
        } else if (next <= cycle) {
            pin->bottom = next;
            pin->ended = false;
            pin->ocr_active = pin->ocr_written;
            if (com(pin) == 2)
                pin->latch = true;
            settle(pin, next);
        } else {
            break;
        }
    }
}

/* Mode 14, clock divided by eight: the only one that is modelled. */
static bool known_mode(const struct pin *pin) { return (pin->tccr1a & 3) == 2 && (pin->tccr1b & 0x1F) == 0x1A; }

static uint16_t counter(avr_t *avr) {
    uint8_t low = avr->io[AVR_DATA_TO_IO(TCNT1L_AT)].r.c(avr, TCNT1L_AT, avr->io[AVR_DATA_TO_IO(TCNT1L_AT)].r.param);
    return (uint16_t)(low | avr->data[TCNT1L_AT + 1] << 8);
}

static void compare_counters(struct pin *pin) {
    uint64_t ours = (pin->avr->cycle - pin->bottom) / CYCLES_A_STEP, theirs = counter(pin->avr);
    uint64_t off = ours > theirs ? ours - theirs : theirs - ours;
    if (off > pin->worst_off && off < pin->top)
        pin->worst_off = off;
}

static void clock_written(struct pin *pin, uint8_t value) {
    bool ran = pin->running;
    pin->tccr1b = value;
    pin->running = known_mode(pin);
    if (ran)
        pin->disturbed++;
    if (pin->running && !ran) {
        pin->bottom = pin->avr->cycle;
        pin->ocr_active = pin->ocr_written;
        pin->ended = true;
    }
}

/* What stood behind a register before this model looked in. */
static struct watched {
    avr_io_addr_t at;
    avr_io_write_t then;
    void *param;
    struct pin *pin;
} watched[] = {{.at = TCCR1A_AT}, {.at = TCCR1B_AT}, {.at = TCNT1L_AT}, {.at = ICR1L_AT}, {.at = OCR1AL_AT}, {.at = DDRB_AT}, {.at = PORTB_AT}};

static void take(struct pin *pin, avr_io_addr_t at, uint8_t value) {
    const uint8_t *data = pin->avr->data;
    switch (at) {
    case TCCR1A_AT:
        if (pin->running)
            compare_counters(pin);
        pin->tccr1a = value;
        pin->disturbed += pin->running && !known_mode(pin);
        break;
    case TCCR1B_AT:
        clock_written(pin, value);
        break;
    case TCNT1L_AT:
        pin->disturbed += pin->running;
        break;
    case ICR1L_AT:
        pin->top = (uint16_t)(value | data[ICR1H_AT] << 8);
        pin->disturbed += pin->running;
        break;
    case OCR1AL_AT:
        pin->ocr_written = (uint16_t)(value | data[OCR1AH_AT] << 8);
        break;
    case DDRB_AT:
        pin->ddr = value;
        break;
    default:
        pin->port = value;
        break;
    }
}

/* In fast PWM simavr's compare event stays where OCR1A stood when the timer was set up. Its next frame is told where it stands
   now, which is when the chip takes a new value over: so that flag and interrupt come as the data sheet has them. */
static void move_compare(struct pin *pin, avr_timer_comp_t *compare) {
    if (compare->r_ocr == OCR1AL_AT)
        compare->comp_cycles = CYCLES_A_STEP * (pin->ocr_written + 1u);
}

static void on_write(struct avr_t *avr, avr_io_addr_t at, uint8_t value, void *param) {
    struct watched *one = param;
    pin_advance(one->pin, avr->cycle);
    take(one->pin, at, value);
    settle(one->pin, avr->cycle);
    if (one->then)
        one->then(avr, at, value, one->param);
    else
        avr->data[at] = value;
    if (at == OCR1AL_AT && one->then)
        move_compare(one->pin, one->param);
}

void pin_begin(struct pin *pin, avr_t *avr) {
    pin->avr = avr;
    for (unsigned i = 0; i < sizeof watched / sizeof watched[0]; i++) {
        struct watched *one = &watched[i];
        unsigned io = AVR_DATA_TO_IO(one->at);
        one->then = avr->io[io].w.c;
        one->param = avr->io[io].w.param;
        one->pin = pin;
        avr->io[io].w.c = on_write;
        avr->io[io].w.param = one;
    }
}

void pin_reset(struct pin *pin) {
    pin_advance(pin, pin->avr->cycle);
    pin->tccr1a = pin->tccr1b = pin->ddr = pin->port = 0;
    pin->running = pin->latch = false;
    pin->ocr_written = 0;
    settle(pin, pin->avr->cycle);
}
