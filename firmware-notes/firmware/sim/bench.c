// The chip on a bench of our own: simavr runs the firmware's own bytes, its ADC sees a servo and a hinge, its pulse pin is watched
// edge by edge, its serial port is a pseudo-terminal, or a script.
//
//   bench ELF --link PATH [--events FILE]            in real time, until it is killed; PATH leads to the terminal
//   bench ELF --script FILE --for MS [--events FILE] [--sent FILE]   as fast as it goes
//
// The plant: --stiffness --friction --spot DEG:NCM --stop DEG --source-v V --hand DEG:SECONDS. A script's lines: `MS bytes` are sent
// with an LF behind them, `MS !NAME [NUMBER]` happens: current (A), supply (V), angle-off, clock-off (the chip's millisecond stands
// still, as in a program that hangs), reset.
#define _GNU_SOURCE
#include <fcntl.h>
#include <pty.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "avr_adc.h"
#include "avr_uart.h"
#include "sim_avr.h"
#include "sim_elf.h"

#include "plant.h"

#define MHZ 16
#define STEP_US 100
// Ten bits at 115200 baud.
#define BYTE_CYCLES 1389
#define NO_PULSE_US 60000
// Registers, by their places in memory (the chip's data sheet).
#define DDRB 0x24
#define PORTB 0x25
#define TIMSK0 0x6E
#define TCCR1A 0x80
#define TCCR1B 0x81
#define OCR1A 0x88

static avr_t *avr;
static Plant plant;
static FILE *events, *sent;
static int terminal = -1;
static bool angle_off;

// The pin.
static uint64_t rose, last_fall, last_pulse_us;
static bool high;
// From the host to the chip.
static uint8_t waiting[1 << 16];
static size_t waiting_in, waiting_out;
static bool chip_listens = true;

static double now_us(void) {
    return (double)avr->cycle / MHZ;
}

static void note(const char *what, double number) {
    if (events) fprintf(events, "{\"t_us\":%.4f,\"what\":\"%s\",\"number\":%.4f}\n", now_us(), what, number);
}

static void pin_is(bool to, uint64_t cycle) {
    if (to == high) return;
    high = to;
    double width = (double)(cycle - rose) / MHZ;
    if (to) {
        note("rise", width);
        rose = cycle;
    } else {
        note("fall", width);
        last_pulse_us = (uint64_t)(width + 0.5);
        last_fall = cycle;
    }
}

// The compare output of timer 1 in normal mode, from what stands in its registers: simavr's own drives the pin when COM1A is
// written, which no chip does. At the tick on which the counter meets OCR1A the latch is set or cleared; the pin is the latch's
// while COM1A is not nought, else the port's, and no output's at all until DDRB says so.
static void follow_pin(void) {
    static uint64_t base, ticks;
    static uint16_t compare, written;
    static bool counts, latch;
    uint64_t cycle = avr->cycle;
    if ((avr->data[TCCR1B] & 7) != 2) {
        counts = latch = false;
        pin_is(false, cycle);
        return;
    }
    if (!counts) {
        counts = true;
        base = cycle;
        ticks = 0;
    }
    uint64_t passed = (cycle - base) / 8;
    uint8_t mode = avr->data[TCCR1A] >> 6;
    if (passed > ticks && mode >= 2) {
        uint64_t to_match = (uint16_t)(compare - (uint16_t)ticks - 1u);
        if (to_match < passed - ticks) {
            latch = mode == 3;
            if (avr->data[DDRB] & 2) pin_is(latch, base + 8 * (ticks + 1 + to_match));
        }
    }
    ticks = passed;
    if (mode == 0) pin_is((avr->data[DDRB] & avr->data[PORTB] & 2) != 0, cycle);
    // Its two bytes are written by two instructions, and taken at once by the second.
    uint16_t now = (uint16_t)(avr->data[OCR1A] | avr->data[OCR1A + 1] << 8);
    if (now == written) compare = now;
    written = now;
}

static void chip_sent(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)param;
    uint8_t byte = (uint8_t)value;
    if (sent) fputc(byte, sent);
    if (terminal >= 0 && write(terminal, &byte, 1) < 0) {
        // Nobody reads: a cable loses it as well.
    }
}

static void chip_stops(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)value, (void)param;
    chip_listens = false;
}
static void chip_goes_on(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)value, (void)param;
    chip_listens = true;
}

static uint32_t chance_state = 1;
static double noise(void) {
    // Sum of uniform ones: near enough to normal, of unit variance.
    double sum = 0;
    for (int i = 0; i < 12; i++) {
        chance_state = chance_state * 1664525u + 1013904223u;
        sum += chance_state / 4294967296.0;
    }
    return sum - 6;
}

static uint32_t millivolts(double volts) {
    double mv = 1000 * volts;
    return mv < 0 ? 0 : mv > 5000 ? 5000 : (uint32_t)mv;
}

// A conversion begins: the pins are what the plant makes of them now.
static void convert(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)value;
    avr_irq_t *inputs = param;
    const Seen *seen = &plant.seen;
    double volts[4] = {
        0.5 + 0.8 * seen->current_a + 0.004 * noise(),
        angle_off ? 0 : 2.5 + seen->angle_deg * 5 / 270 + 0.002 * noise(),
        seen->supply_v * 5.6 / 15.6 + 0.002 * noise(),
        2.5,
    };
    for (int i = 0; i < 4; i++) avr_raise_irq(inputs + i, millivolts(volts[i]));
}

static avr_cycle_count_t step(avr_t *of, avr_cycle_count_t when, void *param) {
    (void)param;
    bool pulses = last_fall > 0 && of->cycle - last_fall < (uint64_t)NO_PULSE_US * MHZ;
    plant_step(&plant, STEP_US * 1e-6, pulses ? (double)last_pulse_us : 0);
    return when + STEP_US * MHZ;
}

static avr_cycle_count_t feed(avr_t *of, avr_cycle_count_t when, void *param) {
    (void)of;
    if (waiting_out != waiting_in && chip_listens) {
        uint8_t byte = waiting[waiting_out % sizeof waiting];
        waiting_out++;
        avr_raise_irq(param, byte);
        if (byte == '\n') note("host-line", 0);
    }
    return when + BYTE_CYCLES;
}

static void queue(const uint8_t *bytes, size_t count) {
    for (size_t i = 0; i < count && waiting_in - waiting_out < sizeof waiting; i++) waiting[waiting_in++ % sizeof waiting] = bytes[i];
}

static void happen(const char *what) {
    double number = 0;
    char name[32] = "";
    sscanf(what, "%31s %lf", name, &number);
    note(name, number);
    if (strcmp(name, "current") == 0) plant.forced_a = number;
    else if (strcmp(name, "supply") == 0) plant.forced_v = number;
    else if (strcmp(name, "angle-off") == 0) angle_off = true;
    else if (strcmp(name, "clock-off") == 0) avr->data[TIMSK0] = 0;
    else if (strcmp(name, "reset") == 0) avr_reset(avr);
    else {
        fprintf(stderr, "the script knows no !%s\n", name);
        exit(2);
    }
}

static void hang_up_if_broken(int state) {
    if (state == cpu_Done || state == cpu_Crashed) {
        note("crashed", state);
        if (events) fflush(events);
        fprintf(stderr, "the simulated chip has stopped, state %d\n", state);
        exit(3);
    }
}

static void run_until(uint64_t cycle) {
    while (avr->cycle < cycle) {
        hang_up_if_broken(avr_run(avr));
        follow_pin();
    }
}

static void no_sleep(avr_t *of, avr_cycle_count_t cycles) {
    (void)of, (void)cycles;
}

static void by_script(const char *path, uint64_t for_ms) {
    FILE *script = fopen(path, "r");
    if (!script) {
        perror(path);
        exit(2);
    }
    static char text[4096];
    while (fgets(text, sizeof text, script)) {
        char *rest;
        uint64_t ms = strtoull(text, &rest, 10);
        if (*rest == ' ') rest++;
        run_until(ms * 1000 * MHZ);
        if (*rest == '!')
            happen(rest + 1);
        else
            queue((const uint8_t *)rest, strlen(rest));
    }
    fclose(script);
    run_until(for_ms * 1000 * MHZ);
}

static double wall_s(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void in_real_time(const char *link) {
    int other;
    char name[128];
    struct termios raw = {0};
    cfmakeraw(&raw);
    raw.c_cflag |= CLOCAL | CREAD;
    if (openpty(&terminal, &other, name, &raw, NULL) != 0) {
        perror("no pseudo-terminal");
        exit(2);
    }
    // `other` stays open, so that a host may come and go.
    fcntl(terminal, F_SETFL, O_NONBLOCK);
    unlink(link);
    if (symlink(name, link) != 0) {
        perror(link);
        exit(2);
    }
    printf("linked at %s\n", link);
    fflush(stdout);
    double began = wall_s();
    uint8_t bytes[256];
    for (uint64_t ms = 1;; ms++) {
        ssize_t count = read(terminal, bytes, sizeof bytes);
        if (count > 0) queue(bytes, (size_t)count);
        run_until(ms * 1000 * MHZ);
        double ahead = (double)ms * 1e-3 - (wall_s() - began);
        if (ahead > 0) usleep((useconds_t)(1e6 * ahead));
        // What was slept through on a busy machine is not caught up: the host's clock counts as well.
        if (ahead < -0.05) began -= ahead;
        if (events && ms % 20 == 0) fflush(events);
    }
}

static void unknown(const char *option) {
    fprintf(stderr, "bench knows no %s; how it is called stands at the top of bench.c\n", option);
    exit(2);
}

int main(int count, char **words) {
    const char *elf = NULL, *link = NULL, *script = NULL;
    uint64_t for_ms = 0;
    Made made = PLANT_SOUND;
    for (int i = 1; i < count; i++) {
        if (words[i][0] != '-') {
            elf = words[i];
            continue;
        }
        if (i + 1 == count) unknown(words[i]);
        const char *name = words[i] + 2, *value = words[++i];
        if (!strcmp(name, "link")) link = value;
        else if (!strcmp(name, "script")) script = value;
        else if (!strcmp(name, "for")) for_ms = strtoull(value, NULL, 10);
        else if (!strcmp(name, "events")) events = fopen(value, "w");
        else if (!strcmp(name, "sent")) sent = fopen(value, "w");
        else if (!strcmp(name, "stiffness")) made.stiffness = atof(value);
        else if (!strcmp(name, "friction")) made.friction = atof(value);
        else if (!strcmp(name, "stop")) made.stop_deg = atof(value);
        else if (!strcmp(name, "source-v")) made.source_v = atof(value);
        else if (!strcmp(name, "spot")) sscanf(value, "%lf:%lf", &made.spot_deg, &made.spot_ncm);
        else if (!strcmp(name, "hand")) sscanf(value, "%lf:%lf", &made.hand_deg, &made.hand_s);
        else unknown(words[i - 1]);
    }
    elf_firmware_t firmware = {0};
    if (!elf || (!link && !script) || elf_read_firmware(elf, &firmware) != 0) {
        fprintf(stderr, "bench ELF --link PATH, or bench ELF --script FILE --for MS\n");
        return 2;
    }
    avr = avr_make_mcu_by_name("atmega328p");
    avr_init(avr);
    avr->log = LOG_ERROR;
    firmware.frequency = MHZ * 1000000;
    avr_load_firmware(avr, &firmware);
    avr->vcc = avr->avcc = avr->aref = 5000;
    avr->sleep = no_sleep;

    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= ~(uint32_t)(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), chip_sent, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), chip_stops, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), chip_goes_on, NULL);
    avr_irq_t *inputs = avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), convert, inputs);
    plant_begin(&plant, &made);
    avr_cycle_timer_register(avr, STEP_US * MHZ, step, NULL);
    avr_cycle_timer_register(avr, BYTE_CYCLES, feed, avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT));

    if (script)
        by_script(script, for_ms);
    else
        in_real_time(link);
    if (events) fclose(events);
    if (sent) fclose(sent);
    return 0;
}
