// ATmega328P at 16 MHz. Timer 0: the millisecond. Timer 1: the servo's pulse. ADC, USART and watchdog. Numbers of registers and bits
// by the chip's data sheet.
//
// PB1 (OC1A) servo pulse, with a resistor of 10 k to ground: the pin floats until the rig is armed, and while the chip starts.
// PC0 current sensor, PC1 angle, PC2 supply divider, PC3 thermistor (with -DBOARD_CASE). PB5 light: armed. PD0, PD1 serial.
#include "board.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <util/atomic.h>

#ifdef BOARD_CASE
#define CHANNELS 4
#else
#define CHANNELS 3
#endif
enum { CURRENT, ANGLE, SUPPLY, CASE };

// ---- a reset by the watchdog leaves it running, and short: it is stopped before anything else ----------------------------

void unwatch(void) __attribute__((naked, used, section(".init3")));
void unwatch(void) {
    MCUSR = 0;
    wdt_disable();
}

// ---- the clock, and the samples that it starts ---------------------------------------------------------------------------

static volatile uint32_t ms;
static uint8_t until_sample = BOARD_SAMPLE_MS;

static volatile uint16_t sums[4];
static volatile uint8_t at_channel, conversions_left;
static uint32_t begun_us;
// A whole sample, until it is taken.
static volatile uint16_t ready[4];
static volatile uint32_t ready_us;
static volatile bool is_ready;

static void convert(uint8_t channel) {
    ADMUX = (uint8_t)(_BV(REFS0) | channel);
    ADCSRA |= _BV(ADSC);
}

ISR(TIMER0_COMPA_vect) {
    ms++;
    if (--until_sample > 0) return;
    until_sample = BOARD_SAMPLE_MS;
    // The wrap of the microseconds is that of 32 bits.
    begun_us = ms * 1000u;
    for (uint8_t i = 0; i < CHANNELS; i++) sums[i] = 0;
    at_channel = 0;
    conversions_left = CHANNELS * BOARD_SUMMED;
    convert(0);
}

// The channels in turn, so that the middles of their sums are a tenth of a millisecond apart.
ISR(ADC_vect) {
    sums[at_channel] += ADC;
    if (++at_channel == CHANNELS) at_channel = 0;
    if (--conversions_left > 0) {
        convert(at_channel);
        return;
    }
    for (uint8_t i = 0; i < CHANNELS; i++) ready[i] = sums[i];
    ready_us = begun_us;
    is_ready = true;
}

uint32_t board_ms(void) {
    uint32_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { now = ms; }
    return now;
}

// ---- what the sums mean --------------------------------------------------------------------------------------------------

// All conversions at an end of the range: a wire is off, or shorted.
static bool at_bottom(uint16_t sum) {
    return sum < BOARD_SUMMED;
}
static bool at_top(uint16_t sum) {
    return sum > BOARD_SUMMED * 1022u;
}

#ifdef BOARD_CASE
// Thermistor of 10 k at 25 degrees and B = 3950 K to ground, 10 k to 5 V. The sum at every 10 degrees from -10, worked out from
// R = 10 k exp(B (1/T - 1/298.15 K)) (the B equation, from memory).
static const uint16_t SUM_AT[] = {6985, 6308, 5472, 4552, 3647, 2835, 2161, 1630, 1225, 922, 699, 534};
#define LOWEST_DC (-100)

static int16_t case_dc(uint16_t sum) {
    const uint8_t last = sizeof SUM_AT / sizeof *SUM_AT - 1;
    uint8_t i = 0;
    while (i + 1 < last && sum < SUM_AT[i + 1]) i++;
    int16_t span = (int16_t)(SUM_AT[i] - SUM_AT[i + 1]), into = (int16_t)(SUM_AT[i] - sum);
    return (int16_t)(LOWEST_DC + 100 * i + (int32_t)into * 100 / span);
}
#endif

bool board_sample(Reading *reading, uint32_t *t_us) {
    uint16_t sum[4];
    bool any;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        any = is_ready;
        is_ready = false;
        for (uint8_t i = 0; i < CHANNELS; i++) sum[i] = ready[i];
        *t_us = ready_us;
    }
    if (!any) return false;
    reading->current_ma = ((int32_t)sum[CURRENT] - BOARD_CURRENT_ZERO) * BOARD_CURRENT_UA / 1000;
    reading->current_lost = at_bottom(sum[CURRENT]);
    reading->angle_cdeg = ((int32_t)sum[ANGLE] - BOARD_ANGLE_ZERO) * BOARD_ANGLE_MDEG / 10;
    reading->angle_lost = at_bottom(sum[ANGLE]) || at_top(sum[ANGLE]);
    reading->supply_mv = (int32_t)sum[SUPPLY] * BOARD_SUPPLY_UV / 1000;
#ifdef BOARD_CASE
    reading->case_dc = case_dc(sum[CASE]);
    reading->case_lost = at_bottom(sum[CASE]) || at_top(sum[CASE]);
#else
    reading->case_lost = true;
#endif
    return true;
}

// ---- serial --------------------------------------------------------------------------------------------------------------

// Powers of two, and the longest that 8 bits count.
#define HEARD_BYTES 64
#define SENT_BYTES 256
static volatile uint8_t heard[HEARD_BYTES], sent[SENT_BYTES];
static volatile uint8_t heard_in, heard_out, sent_in, sent_out;

ISR(USART_RX_vect) {
    uint8_t byte = UDR0;
    uint8_t next = (uint8_t)((heard_in + 1) % HEARD_BYTES);
    // A byte too many is lost, and its line damaged.
    if (next == heard_out) return;
    heard[heard_in] = byte;
    heard_in = next;
}

ISR(USART_UDRE_vect) {
    if (sent_in == sent_out) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
        return;
    }
    UDR0 = sent[sent_out++];
}

bool board_heard(uint8_t *byte) {
    if (heard_in == heard_out) return false;
    *byte = heard[heard_out];
    heard_out = (uint8_t)((heard_out + 1) % HEARD_BYTES);
    return true;
}

uint8_t board_room(void) {
    return (uint8_t)(SENT_BYTES - 1 - (uint8_t)(sent_in - sent_out));
}

void board_send(const char *bytes, uint8_t count) {
    while (count-- > 0) sent[sent_in++] = (uint8_t)*bytes++;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { UCSR0B |= _BV(UDRIE0); }
}

// ---- the servo's pulse ---------------------------------------------------------------------------------------------------

#ifndef RIG_PASSIVE
// Half microseconds.
#define FRAME 40000u
#define SOON 200u

static volatile bool running, rises;
static volatile uint16_t width;
static uint16_t this_width;

// Timer 1 runs through; its compare hardware raises the pin and lowers it, to the tick. The program only says in between which
// comes next, and has half a millisecond for it at least.
#define RAISE (_BV(COM1A1) | _BV(COM1A0))
#define LOWER _BV(COM1A1)

ISR(TIMER1_COMPA_vect) {
    if (rises) {
        this_width = width;
        OCR1A += this_width;
        TCCR1A = LOWER;
        rises = false;
    } else if (running) {
        OCR1A += FRAME - this_width;
        TCCR1A = RAISE;
        rises = true;
    } else {
        // The pin is the port's again, and low.
        TCCR1A = 0;
        TIMSK1 = 0;
    }
}

void board_pulse(uint16_t ticks) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        width = ticks;
        running = true;
        if (!(TIMSK1 & _BV(OCIE1A))) {
            DDRB |= _BV(PB1);
            OCR1A = TCNT1 + SOON;
            TIFR1 = _BV(OCF1A);
            TCCR1A = RAISE;
            rises = true;
            TIMSK1 = _BV(OCIE1A);
        }
    }
}

void board_stop(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        running = false;
        // From here on a compare lowers the pin. If it has raised it just before, the interrupt for that waits, and finishes the pulse.
        if (rises) {
            TCCR1A = LOWER;
            if (!(TIFR1 & _BV(OCF1A))) {
                TCCR1A = 0;
                TIMSK1 = 0;
                rises = false;
            }
        }
    }
}

void board_light(bool on) {
    if (on)
        PORTB |= _BV(PB5);
    else
        PORTB &= (uint8_t)~_BV(PB5);
}
#endif

// ---- beginning, and staying alive ----------------------------------------------------------------------------------------

void board_begin(void) {
    DDRB |= _BV(PB5);
    // 16 MHz / 64 / 250.
    TCCR0A = _BV(WGM01);
    OCR0A = 249;
    TCCR0B = _BV(CS01) | _BV(CS00);
    TIMSK0 = _BV(OCIE0A);
    // 2 MHz.
    TCCR1B = _BV(CS11);
    // 125 kHz, a conversion in 104 us.
    DIDR0 = _BV(ADC0D) | _BV(ADC1D) | _BV(ADC2D) | _BV(ADC3D);
    ADCSRA = _BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
    // 117647 baud: 2.1 % fast, which 10 bits a byte bear.
    UCSR0A = _BV(U2X0);
    UBRR0 = 16;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
    set_sleep_mode(SLEEP_MODE_IDLE);
    wdt_enable(WDTO_250MS);
    sei();
}

void board_alive(void) {
    wdt_reset();
}

// Until the next interrupt; the millisecond's comes in any case.
void board_rest(void) {
    sleep_mode();
}
