#include "test.h"

#include "../core/link.h"
#include "../core/ports.h"

unsigned long checks, failures;
struct fake_board fake;

const struct link_board LINK_BOARD = {"reference", 200, 50};
const struct guard_board GUARD_BOARD = {
    .defaults = {{1500000, 60000, 4800, 1000000, 2000000, 300000}},
    .most_current = 5000000,
    .most_supply = 9500,
    .fitted = 0x0F,
    .stall_ma = 900,
    .current_ms = 20,
    .supply_ms = 20,
};

uint16_t port_room(void) { return fake.room; }

void port_send(const char *bytes, uint8_t length) {
    if (fake.said_length + length > sizeof fake.said)
        fake.said_length = 0;
    memcpy(fake.said + fake.said_length, bytes, length);
    fake.said_length += length;
    CHECK(length <= LINE_LONGEST);
    CHECK(length <= fake.room);
}

#ifndef PASSIVE
void servo_pulse(uint16_t half_us) {
    fake.pulses = true;
    fake.half_us = half_us;
    fake.pulse_calls++;
}

void servo_off(void) {
    fake.pulses = false;
    fake.off_calls++;
}
#endif

void fake_forget(void) {
    memset(&fake, 0, sizeof fake);
    fake.room = 255;
}

unsigned fake_count(const char *words) {
    unsigned count = 0;
    size_t length = strlen(words);
    for (size_t at = 0; at + length <= fake.said_length; at++)
        count += memcmp(fake.said + at, words, length) == 0;
    return count;
}

bool fake_said(const char *words) { return fake_count(words) > 0; }

/* The remainder of the message, shifted left by 16 bits, on division by x^16 + x^12 + x^5 + 1, the first 16 bits inverted. */
static unsigned remainder_of(const char *payload) {
    unsigned long rest = 0;
    size_t length = strlen(payload);
    for (size_t at = 0; at < length + 2; at++) {
        unsigned byte = at < length ? (unsigned char)payload[at] : 0;
        if (at < 2)
            byte ^= 0xFF;
        for (int bit = 7; bit >= 0; bit--) {
            rest = (rest << 1) | ((byte >> bit) & 1u);
            if (rest & 0x10000ul)
                rest ^= 0x11021ul;
        }
    }
    return (unsigned)rest;
}

size_t host_line(char *at, const char *payload) { return (size_t)sprintf(at, "%s*%04X\n", payload, remainder_of(payload)); }

int main(void) {
    test_numbers();
    test_lines();
    test_ramp();
    test_guard();
    test_link();
    test_random();
    printf("%lu checks, %lu failed\n", checks, failures);
    return failures != 0;
}
