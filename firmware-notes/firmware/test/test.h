/* The smallest test frame: a check that fails says where, and the run goes on. */
#ifndef TEST_H
#define TEST_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

extern unsigned long checks, failures;

#define CHECK(what)                                                                                                           \
    do {                                                                                                                      \
        checks++;                                                                                                             \
        if (!(what)) {                                                                                                        \
            failures++;                                                                                                       \
            if (failures < 20)                                                                                                \
                printf("%s:%d: not so: %s\n", __FILE__, __LINE__, #what);                                                     \
        }                                                                                                                     \
    } while (0)

/* A board of memory: what the core says, and the pulse it asks for. */
struct fake_board {
    char said[1 << 16];
    size_t said_length;
    uint16_t room;
    bool pulses;
    uint16_t half_us;
    unsigned long pulse_calls, off_calls;
};

extern struct fake_board fake;
void fake_forget(void);
/* Whether these words stand in what was said. */
bool fake_said(const char *words);
unsigned fake_count(const char *words);

/* A payload as a line of the host's, by the definition of the checksum and not by the core's code. */
size_t host_line(char *at, const char *payload);

void test_numbers(void);
void test_lines(void);
void test_ramp(void);
void test_guard(void);
void test_link(void);
void test_random(void);

#endif
