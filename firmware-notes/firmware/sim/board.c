/* A simulated board: the reference firmware's own bytes on simavr's ATmega328P, a servo and a hinge behind its pins.

   It judges by nothing that the firmware says: pulses come from the timer's registers (pin.c), sensors are voltages (plant.c),
   the serial line is bytes at their pace. What happens is written as JSON lines (--events).

     board --elf FILE [--link PATH] [--events FILE] [--said FILE] [--feed FILE] [--free] [--for S] [--reset-on-open]
           [--do "S COMMAND"]... [--plant KEY=NUMBER,...]

   Commands, at a time of the chip's (--do) or at once (standard input):
     say PAYLOAD      a line of the host's, its checksum added
     current MA       so much more current is read          sag V       the supply is so much lower
     rail SENSOR MV   angle, current, supply, case stands at so many mV; rail SENSOR off
     hang             the main program stands still, interrupts go on
     seize NM         the hinge holds with so much more friction
     reset            as the reset line does                quit */
#define _GNU_SOURCE
#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "avr_adc.h"
#include "avr_uart.h"
#include "pin.h"
#include "plant.h"
#include "port.h"
#include "sim_avr.h"
#include "sim_elf.h"

#define HZ 16000000.0
#define PLANT_STEP 1600u          /* cycles: 0.1 ms */
#define LOOK_STEP 16000u          /* cycles between looks at the world outside: 1 ms */
#define BYTE_CYCLES 1389u         /* ten bits at 115200 baud */
#define HANG_AT 0x7000u           /* flash that the firmware does not use */
#define PAINT 0xA5

static avr_t *avr;
static struct pin pin;
static struct plant plant;
static struct plant_kind kind = {.stiffness_nm_per_deg = 0.012, .friction_nm = 0.10, .tight_wide_deg = 2.0, .stop_up_deg = 60.0, .stop_down_deg = -60.0, .stop_nm_per_deg = 0.25};
static FILE *events, *said;
static double rail_mv[4] = {-1, -1, -1, -1};
static const char *const SENSORS[4] = {"angle", "current", "supply", "case"};
static const char *reset_cause = "power";
static uint64_t slept;
static volatile sig_atomic_t ended;

static double seconds(uint64_t cycle) { return (double)cycle / HZ; }

static void note(const char *what, const char *more) {
    if (events)
        fprintf(events, "{\"t_s\":%.6f,\"what\":\"%s\"%s%s}\n", seconds(avr->cycle), what, *more ? "," : "", more);
}

/* ---- the chip's own outputs and inputs ---- */

static void on_pulse(uint64_t rose, uint64_t fell) {
    double us = (double)(fell - rose) / (HZ / 1e6);
    plant_pulse(&plant, us);
    if (events)
        fprintf(events, "{\"t_s\":%.6f,\"what\":\"pulse\",\"us\":%.4f,\"rose\":%llu,\"cycles\":%llu}\n", seconds(rose), us,
            (unsigned long long)rose, (unsigned long long)(fell - rose));
}

/* When a line was out whole; samples are left to --said. */
static void note_line(char byte) {
    static char line[160];
    static size_t length;
    char more[200];
    if (byte != '\n') {
        if (length < sizeof line - 1 && byte >= ' ' && byte != '"' && byte != '\\')
            line[length++] = byte;
        return;
    }
    line[length] = 0;
    length = 0;
    if (strncmp(line, "S,", 2) == 0)
        return;
    snprintf(more, sizeof more, "\"line\":\"%s\"", line);
    note("line-said", more);
}

static void on_byte_said(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    (void)param;
    plug_send((uint8_t)value);
    if (said)
        fputc((int)value, said);
    note_line((char)value);
}

static void on_conversion(struct avr_irq_t *irq, uint32_t value, void *param) {
    union {
        avr_adc_mux_t mux;
        uint32_t value;
    } asked = {.value = value};
    (void)irq;
    (void)param;
    int sensor = asked.mux.src & 3;
    double mv = rail_mv[sensor] >= 0 ? rail_mv[sensor] : plant_sensor_mv(&plant, sensor);
    mv = fmax(0.0, fmin(5000.0, mv));
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + sensor), (uint32_t)lround(mv));
}

static void on_reset(struct avr_io_t *io) {
    char cause[64];
    (void)io;
    pin_reset(&pin);
    memset(avr->data + 0x100, PAINT, avr->ramend - 0xFF);
    snprintf(cause, sizeof cause, "\"cause\":\"%s\"", reset_cause);
    note("reset", cause);
    reset_cause = "watchdog";
}

static avr_io_t reset_notice = {.kind = "board", .reset = on_reset};

static void on_sleep(avr_t *chip, avr_cycle_count_t cycles) {
    (void)chip;
    slept += cycles + 1;
}

/* The largest stretch of RAM that nothing has written to since the reset: what the stack never reached. */
static unsigned untouched(void) {
    unsigned best = 0, run = 0;
    for (unsigned at = 0x100; at <= avr->ramend; at++) {
        run = avr->data[at] == PAINT ? run + 1 : 0;
        if (run > best)
            best = run;
    }
    return best;
}

static void on_xon(struct avr_irq_t *irq, uint32_t value, void *param);
static void on_xoff(struct avr_irq_t *irq, uint32_t value, void *param);

static void chip_begin(const char *elf) {
    elf_firmware_t firmware = {0};
    if (elf_read_firmware(elf, &firmware)) {
        fprintf(stderr, "%s: cannot be read as firmware; build it with `make`\n", elf);
        exit(2);
    }
    avr = avr_make_mcu_by_name("atmega328p");
    avr_init(avr);
    avr->log = LOG_NONE;
    avr_load_firmware(avr, &firmware);
    avr->frequency = (uint32_t)HZ;
    avr->vcc = avr->avcc = avr->aref = 5000;
    avr->sleep = on_sleep;
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte_said, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), on_conversion, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), on_xon, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), on_xoff, NULL);
    pin.on_pulse = on_pulse;
    pin_begin(&pin, avr);
    avr_register_io(avr, &reset_notice);
    avr_reset(avr);
}

/* ---- the host's bytes, at the pace of the wire ---- */

static uint8_t waiting[1 << 16];
static size_t waiting_in, waiting_out;
static uint64_t next_byte;
static FILE *feed;

static int next_waiting(void) {
    if (waiting_out != waiting_in)
        return waiting[waiting_out++ % sizeof waiting];
    int byte = feed ? fgetc(feed) : -1;
    if (feed && byte == EOF) {
        fclose(feed);
        feed = NULL;
        note("fed", "");
    }
    return byte >= 0 ? byte : plug_heard();
}

/* simavr hands a byte over a little later than a byte's time after the last was read, so that an endless stream would run its queue
   over, which no wire does: it says when to wait. */
static bool queue_full;

static void on_xon(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    (void)param;
    (void)value;
    queue_full = false;
}

static void on_xoff(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    (void)param;
    queue_full = value != 0;
}

static void send_byte(void) {
    if (queue_full || avr->cycle < next_byte)
        return;
    int byte = next_waiting();
    if (byte < 0)
        return;
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), (uint32_t)byte);
    next_byte = avr->cycle + BYTE_CYCLES;
    if (byte == '\n' && !feed)
        note("line-heard", "");
}

static void say(const char *payload) {
    char line[256];
    unsigned crc = 0xFFFF;
    for (const char *c = payload; *c; c++) {
        crc ^= (unsigned)(unsigned char)*c << 8;
        for (int bit = 0; bit < 8; bit++)
            crc = (crc & 0x8000 ? crc << 1 ^ 0x1021 : crc << 1) & 0xFFFF;
    }
    int length = snprintf(line, sizeof line, "%s*%04X\n", payload, crc);
    for (int i = 0; i < length; i++)
        waiting[waiting_in++ % sizeof waiting] = (uint8_t)line[i];
}

/* ---- commands ---- */

static bool hang_wanted;

/* The main program, and not an interrupt of a few microseconds that it happens to be in. */
static void hang_when_possible(void) {
    if (!hang_wanted || !avr->sreg[S_I])
        return;
    hang_wanted = false;
    /* rjmp to itself */
    avr->flash[HANG_AT] = 0xFF;
    avr->flash[HANG_AT + 1] = 0xCF;
    avr->pc = HANG_AT;
    avr->state = cpu_Running;
}

static void reset_chip(const char *cause) {
    reset_cause = cause;
    avr_reset(avr);
}

static void rail(const char *how) {
    char name[16];
    double mv = -1;
    if (sscanf(how, "%15s %lf", name, &mv) < 1)
        return;
    for (int sensor = 0; sensor < 4; sensor++)
        if (strcmp(name, SENSORS[sensor]) == 0)
            rail_mv[sensor] = mv;
}

static void command(const char *words) {
    char quoted[320];
    snprintf(quoted, sizeof quoted, "\"command\":\"%.256s\"", words);
    note("command", quoted);
    if (strncmp(words, "say ", 4) == 0)
        say(words + 4);
    else if (sscanf(words, "current %lf", &plant.extra_a) == 1)
        plant.extra_a /= 1000.0;
    else if (sscanf(words, "sag %lf", &plant.sag_v) == 1)
        return;
    else if (sscanf(words, "seize %lf", &plant.kind.stall_nm) == 1)
        return;
    else if (strncmp(words, "rail ", 5) == 0)
        rail(words + 5);
    else if (strcmp(words, "hang") == 0)
        hang_wanted = true;
    else if (strcmp(words, "reset") == 0)
        reset_chip("reset");
    else if (strcmp(words, "quit") == 0)
        ended = 1;
    else
        fprintf(stderr, "no such command: %s\n", words);
}

static struct {
    double at_s;
    const char *words;
} planned[512];
static unsigned planned_count, planned_done;

static void do_planned(void) {
    while (planned_done < planned_count && seconds(avr->cycle) >= planned[planned_done].at_s)
        command(planned[planned_done++].words);
}

/* Commands typed while it runs. */
static void do_typed(void) {
    static char line[300];
    static size_t length;
    char byte;
    while (read(STDIN_FILENO, &byte, 1) == 1) {
        if (byte != '\n' && length < sizeof line - 1) {
            line[length++] = byte;
            continue;
        }
        line[length] = 0;
        length = 0;
        if (*line)
            command(line);
    }
}

/* ---- time ---- */

/* Lets the wall's clock catch up. A board that fell behind by more than a while does not run to make up for it. */
static void keep_pace(void) {
    static struct timespec began;
    static double ahead_from_s;
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    if (began.tv_sec == 0)
        began = now;
    double wall_s = (double)(now.tv_sec - began.tv_sec) + 1e-9 * (double)(now.tv_nsec - began.tv_nsec);
    double ahead_s = seconds(avr->cycle) - ahead_from_s - wall_s;
    if (ahead_s > 0.001)
        usleep((useconds_t)(1e6 * ahead_s));
    else if (ahead_s < -0.1)
        ahead_from_s += ahead_s;
}

static void on_signal(int signal) {
    (void)signal;
    ended = 1;
}

static void set_plant(char *words) {
    for (char *one = strtok(words, ","); one; one = strtok(NULL, ",")) {
        char key[32];
        double value;
        struct {
            const char *key;
            double *value;
        } const KEYS[] = {{"stiffness", &kind.stiffness_nm_per_deg}, {"friction", &kind.friction_nm}, {"tight_at", &kind.tight_at_deg},
            {"tight", &kind.tight_nm}, {"tight_wide", &kind.tight_wide_deg}, {"stop_up", &kind.stop_up_deg}, {"stop_down", &kind.stop_down_deg},
            {"stop", &kind.stop_nm_per_deg}, {"seized", &kind.stall_nm}};
        bool known = sscanf(one, "%31[^=]=%lf", key, &value) == 2;
        unsigned which = 0;
        while (known && which < sizeof KEYS / sizeof KEYS[0] && strcmp(key, KEYS[which].key) != 0)
            which++;
        if (known && which < sizeof KEYS / sizeof KEYS[0])
            *KEYS[which].value = value;
        else if (known && strcmp(key, "by_hand") == 0)
            kind.by_hand = value != 0;
        else
            fprintf(stderr, "no such part of the plant: %s\n", one), exit(2);
    }
}

struct options {
    const char *elf, *link;
    double for_s;
    bool free, reset_on_open;
};

static struct options read_options(int count, char **words) {
    struct options options = {.for_s = INFINITY};
    for (int i = 1; i < count; i++) {
        const char *name = words[i];
        char *value = i + 1 < count ? words[i + 1] : "";
        if (strcmp(name, "--free") == 0) {
            options.free = true;
            continue;
        } else if (strcmp(name, "--reset-on-open") == 0) {
            options.reset_on_open = true;
            continue;
        }
        i++;
        if (strcmp(name, "--elf") == 0)
            options.elf = value;
        else if (strcmp(name, "--link") == 0)
            options.link = value;
        else if (strcmp(name, "--events") == 0)
            events = fopen(value, "w");
        else if (strcmp(name, "--said") == 0)
            said = fopen(value, "w");
        else if (strcmp(name, "--feed") == 0)
            feed = fopen(value, "r");
        else if (strcmp(name, "--for") == 0)
            options.for_s = atof(value);
        else if (strcmp(name, "--plant") == 0)
            set_plant(value);
        else if (strcmp(name, "--do") == 0 && planned_count < sizeof planned / sizeof planned[0]) {
            char *words_from;
            planned[planned_count].at_s = strtod(value, &words_from);
            planned[planned_count++].words = words_from + strspn(words_from, " ");
        } else
            fprintf(stderr, "no such option: %s\n", name), exit(2);
    }
    if (!options.elf)
        fprintf(stderr, "which firmware? --elf build/driven.elf\n"), exit(2);
    return options;
}

static void run(const struct options *options) {
    uint64_t next_plant = 0, next_look = 0;
    while (!ended && seconds(avr->cycle) < options->for_s) {
        int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed) {
            note("crashed", "");
            break;
        }
        pin_advance(&pin, avr->cycle);
        for (; avr->cycle >= next_plant; next_plant += PLANT_STEP)
            plant_step(&plant, PLANT_STEP / HZ);
        send_byte();
        do_planned();
        hang_when_possible();
        if (avr->cycle < next_look)
            continue;
        next_look = avr->cycle + LOOK_STEP;
        if (options->link && plug_opened()) {
            note("port-opened", "");
            if (options->reset_on_open)
                reset_chip("port-opened");
        }
        plug_listen();
        plug_flush();
        if (!options->free) {
            do_typed();
            keep_pace();
        }
    }
}

int main(int count, char **words) {
    struct options options = read_options(count, words);
    char last[240];
    signal(SIGTERM, on_signal);
    signal(SIGINT, on_signal);
    signal(SIGPIPE, SIG_IGN);
    if (events)
        setlinebuf(events);
    plant_begin(&plant, &kind);
    chip_begin(options.elf);
    if (options.link)
        plug_begin(options.link);
    fcntl(STDIN_FILENO, F_SETFL, O_NONBLOCK);
    run(&options);
    snprintf(last, sizeof last, "\"cycles\":%llu,\"slept\":%llu,\"ram_untouched\":%u,\"pin_is_output\":%s,\"disturbed\":%u,\"counter_off\":%llu",
        (unsigned long long)avr->cycle, (unsigned long long)slept, untouched(), pin.ddr >> 1 & 1 ? "true" : "false", pin.disturbed, (unsigned long long)pin.worst_off);
    note("end", last);
    if (events)
        fclose(events);
    if (said)
        fclose(said);
    plug_end();
    return 0;
}
