#include "board.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <util/atomic.h>

/* Pins: servo on PB1 (OC1A), which the timer switches by itself; sensors on ADC0...ADC3. */
#define SERVO_BIT PB1

/* Sample clock: Timer0 compares every 125 us; each tick takes the last conversion and starts the next. */
#define TICK_US 125u
#define TICKS_A_SAMPLE (1000000ul / TICK_US / SAMPLES_PER_S)
/* In which order channels are converted: angle and current four times in ten, so that noise is averaged where it counts. */
static const uint8_t ORDER[10] = {CHANNEL_ANGLE, CHANNEL_CURRENT, CHANNEL_ANGLE, CHANNEL_CURRENT, CHANNEL_SUPPLY,
    CHANNEL_ANGLE, CHANNEL_CURRENT, CHANNEL_ANGLE, CHANNEL_CURRENT, CHANNEL_CASE};
#define ROUNDS (TICKS_A_SAMPLE / sizeof ORDER)
#if 1000000ul % (TICK_US * SAMPLES_PER_S * 10u) != 0
#error "SAMPLES_PER_S must make a whole number of rounds of ten ticks: 100, 200, 400"
#endif

#define FITTED ((1u << CHANNEL_ANGLE) | (1u << CHANNEL_CURRENT) | (1u << CHANNEL_SUPPLY) | (BOARD_HAS_CASE << CHANNEL_CASE))

/* How a sum of conversions becomes a reading: (sum - zero * count) * per_65536 / 65536 / count. A step of the converter is 5 V /
   1024 = 4.883 mV. A mean at or beyond `low` or `high` is no reading: a broken wire or a sensor driven past its end. */
struct scale {
    int16_t zero_tenths;
    int32_t per_65536;
    int16_t low, high;
};

static const struct scale SCALE[CHANNELS] = {
    /* 2.5 V at 0 degree, 40 mV per degree: 0.122 degree a step, +-50 degrees from 0.5 to 4.5 V. */
    [CHANNEL_ANGLE] = {5120, 800000L, 20, 1003},
    /* 0.5 V at 0 mA, 0.8 V per A (20 milliohm, amplified 40 times): 6.1 mA a step, 5.5 A at 4.9 V. */
    [CHANNEL_CURRENT] = {1024, 400000L, 20, 1003},
    /* Halved by two equal resistors: 9.77 mV a step, 9.8 V at 4.9 V. No voltage is a reading: the pack is not plugged in. */
    [CHANNEL_SUPPLY] = {0, 64000L, -1, 1003},
    /* 0.5 V at 0 degree C, 10 mV per degree: 0.49 degree a step. */
    [CHANNEL_CASE] = {1024, 320000L, 20, 1003},
};

const struct link_board LINK_BOARD = {BOARD_NAME, SAMPLES_PER_S, FRAMES_PER_S};

/* Safe limits until the host sets others (common practice, no source). */
const struct guard_board GUARD_BOARD = {
    .defaults = {{[LIMIT_CURRENT] = 1500000L, [LIMIT_CASE] = 60000L, [LIMIT_SUPPLY] = 4800L, [LIMIT_PULSE_LO] = 1000000L,
        [LIMIT_PULSE_HI] = 2000000L, [LIMIT_STALL] = 300000L}},
    .most_current = 5000000L,
    .most_supply = 9500L,
    .fitted = FITTED,
    .stall_ma = 900,
    .current_ms = 20,
    .supply_ms = 20,
};

static volatile uint32_t ticks;

/* ---- sensors ---- */

static volatile uint16_t sums_done[CHANNELS];
static volatile uint32_t sums_at; /* tick at which they were complete, whenever they are read */
static volatile bool sums_new;
static uint16_t sums[CHANNELS];

static void select_channel(uint8_t place) { ADMUX = (uint8_t)(_BV(REFS0) | ORDER[place]); }

/* One conversion takes 104 us at 125 kHz, so the one begun at the last tick is done. */
ISR(TIMER0_COMPA_vect) {
    static uint8_t place, round;
    static bool settled; /* the converter's very first result takes longer than a tick: the sample with it is left out */
    sums[ORDER[place]] += ADC;
    ticks++;
    if (++place == sizeof ORDER) {
        place = 0;
        if (++round == ROUNDS) {
            round = 0;
            for (uint8_t channel = 0; channel < CHANNELS; channel++) {
                sums_done[channel] = sums[channel];
                sums[channel] = 0;
            }
            sums_at = ticks;
            sums_new = settled;
            settled = true;
        }
    }
    select_channel(place);
    ADCSRA |= _BV(ADSC);
}

static void sensors_begin(void) {
    DIDR0 = 0x0F;
    select_channel(0);
    ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
    TCCR0A = _BV(WGM01);
    OCR0A = (uint8_t)(F_CPU / 8u / 1000000u * TICK_US - 1u);
#if F_CPU / 8u * TICK_US / 1000000u > 256u || F_CPU / 8u * TICK_US % 1000000u != 0
#error "TICK_US must be a whole number of Timer0's steps, 256 at most: the rig's clock stands on it"
#endif
    TIMSK0 = _BV(OCIE0A);
    TCCR0B = _BV(CS01);
    ADCSRA |= _BV(ADSC);
}

static uint8_t conversions(uint8_t channel) {
    uint8_t count = 0;
    for (uint8_t i = 0; i < sizeof ORDER; i++)
        count = (uint8_t)(count + (ORDER[i] == channel));
    return (uint8_t)(count * ROUNDS);
}

/* Scaled in two parts, so that 32 bits are enough, and rounded to the nearest. */
static int32_t scaled(const struct scale *scale, uint16_t sum, uint8_t count) {
    int32_t above = (int32_t)sum - (int32_t)scale->zero_tenths * count / 10;
    int32_t per = scale->per_65536 / count;
    int32_t half = above < 0 ? -32768L : 32768L;
    return (above * per + half) / 65536L;
}

bool board_sampled(struct reading *now, uint32_t *t_us) {
    uint16_t sum[CHANNELS];
    bool is_new = false;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        is_new = sums_new;
        sums_new = false;
        if (is_new) {
            for (uint8_t channel = 0; channel < CHANNELS; channel++)
                sum[channel] = sums_done[channel];
            *t_us = sums_at * TICK_US - 1000000ul / SAMPLES_PER_S / 2u;
        }
    }
    if (!is_new)
        return false;
    now->fitted = FITTED;
    now->missing = 0;
    for (uint8_t channel = 0; channel < CHANNELS; channel++) {
        const struct scale *scale = &SCALE[channel];
        uint8_t count = conversions(channel);
        int16_t mean = (int16_t)(sum[channel] / count);
        if (mean <= scale->low || mean >= scale->high)
            now->missing = (uint8_t)(now->missing | (1u << channel));
        now->value[channel] = scaled(scale, sum[channel], count);
    }
    return true;
}

uint32_t board_now_us(void) {
    uint32_t now = 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { now = ticks; }
    return now * TICK_US;
}

/* The watchdog has called: nothing is moved or excused any more. */
static volatile bool dying;

/* ---- servo ---- */

#ifndef PASSIVE

#define HALF_US_A_FRAME (2000000ul / FRAMES_PER_S)
/* Nearer to the frame's end than this, half microseconds, a pulse could begin while the pin is being disconnected. */
#define TOO_LATE 8u

static volatile bool frame_new;

/* Fast PWM up to ICR1 (mode 14), half a microsecond a step. The pin is not connected to the timer: no pulses. */
static void servo_begin(void) {
    PORTB &= (uint8_t)~_BV(SERVO_BIT);
    DDRB |= _BV(SERVO_BIT);
    TCCR1A = _BV(WGM11);
    TCCR1B = _BV(WGM13) | _BV(WGM12);
    ICR1 = HALF_US_A_FRAME - 1u;
    OCR1A = 3000u - 1u;
    TIMSK1 = _BV(TOIE1);
    TCCR1B |= _BV(CS11);
}

/* A frame began. It runs long before the shortest pulse ends, so OCF1A says from here on whether this frame's pulse is over. */
ISR(TIMER1_OVF_vect) {
    TIFR1 = _BV(OCF1A);
    frame_new = true;
}

bool board_frame(void) {
    bool is_new = frame_new;
    frame_new = false;
    return is_new;
}

void servo_pulse(uint16_t half_us) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        if (dying)
            return;
        /* Buffered by the timer until the next frame begins: no pulse changes under way. */
        OCR1A = half_us - 1u;
        TIMSK1 = _BV(TOIE1);
        TCCR1A = _BV(COM1A1) | _BV(WGM11);
    }
}

static void disconnect(void) {
    TCCR1A = _BV(WGM11);
    TIMSK1 = _BV(TOIE1);
}

ISR(TIMER1_COMPA_vect) { disconnect(); }

void servo_off(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        bool late = TCNT1 >= HALF_US_A_FRAME - TOO_LATE;
        bool began = TIFR1 & _BV(TOV1);
        bool ended = TIFR1 & _BV(OCF1A);
        if (ended && !began && !late) {
            disconnect();
        } else if ((TCCR1A & _BV(COM1A1)) && !(TIMSK1 & _BV(OCIE1A))) {
            /* Within a pulse, or about to begin one: by the interrupt at its end. A flag from before is stale. */
            TIFR1 = _BV(OCF1A);
            TIMSK1 = _BV(TOIE1) | _BV(OCIE1A);
        }
    }
}

#endif

/* ---- serial ---- */

/* Sizes are powers of two, so that 8-bit places wrap by themselves. */
#define HEARD 128u
#define SENT 256u
static volatile uint8_t heard[HEARD], heard_in, heard_out;
static volatile uint8_t sent[SENT], sent_in, sent_out;

ISR(USART_RX_vect) {
    uint8_t byte = UDR0;
    uint8_t next = (heard_in + 1u) % HEARD;
    /* A byte without room is lost; its line's checksum tells. */
    if (next != heard_out) {
        heard[heard_in] = byte;
        heard_in = next;
    }
}

ISR(USART_UDRE_vect) {
    if (sent_out == sent_in) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
        return;
    }
    UDR0 = sent[sent_out];
    sent_out = (uint8_t)(sent_out + 1u);
}

static void serial_begin(void) {
    UCSR0A = _BV(U2X0);
    /* Rounded: 16 at 16 MHz, 2.1 % above 115200. */
    UBRR0 = (F_CPU + BAUD_RATE * 4ul) / (BAUD_RATE * 8ul) - 1ul;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

bool board_heard(uint8_t *byte) {
    if (heard_out == heard_in)
        return false;
    *byte = heard[heard_out];
    heard_out = (heard_out + 1u) % HEARD;
    return true;
}

uint16_t port_room(void) { return (uint8_t)(sent_out - sent_in - 1u); }

void port_send(const char *bytes, uint8_t length) {
    uint8_t at = sent_in;
    for (uint8_t i = 0; i < length; i++)
        sent[at++] = (uint8_t)bytes[i];
    /* Only whole lines are ever let go. */
    sent_in = at;
    UCSR0B |= _BV(UDRIE0);
}

/* ---- the chip ---- */

/* The watchdog stays on after it has reset the chip, at its shortest: it is stopped before anything else runs. */
void watchdog_off(void) __attribute__((naked, used, section(".init3")));
void watchdog_off(void) {
    MCUSR = 0;
    wdt_disable();
}

/* Twice 32 ms without a sign of life: after the first the pulses end in good order, after the second the chip resets. A program
   that wakes up in between is not let off: its state is not to be trusted. */
ISR(WDT_vect) {
#ifndef PASSIVE
    servo_off();
#endif
    dying = true;
}

static void watchdog_begin(void) {
    wdt_enable(WDTO_30MS);
    WDTCSR |= _BV(WDIE);
}

void board_begin(void) {
    watchdog_begin();
#ifndef PASSIVE
    servo_begin();
#endif
    serial_begin();
    sensors_begin();
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
}

void board_alive(void) {
    if (!dying)
        wdt_reset();
}

void board_rest(void) { sleep_mode(); }
