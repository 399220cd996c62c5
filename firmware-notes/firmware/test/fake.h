// A board that is none: what a test sets, and what the rig did with it.
#include <assert.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../board.h"
#include "../link.h"
#include "../rig.h"

// Stays where NDEBUG is defined.
#define CHECK(what)                                                             \
    do {                                                                        \
        if (!(what)) {                                                          \
            fprintf(stderr, "%s:%d: not so: %s\n", __FILE__, __LINE__, #what);  \
            exit(1);                                                            \
        }                                                                       \
    } while (0)

static uint32_t fake_ms;
static uint8_t fake_room = 255;
static char fake_sent[1 << 16];
static size_t fake_count;

uint32_t board_ms(void) { return fake_ms; }
uint8_t board_room(void) { return fake_room; }
void board_send(const char *bytes, uint8_t count) {
    CHECK(count <= fake_room);
    if (fake_count + count >= sizeof fake_sent) fake_count = 0;
    memcpy(fake_sent + fake_count, bytes, count);
    fake_count += count;
    fake_sent[fake_count] = '\0';
}

static void quiet(void) {
    fake_count = 0;
    fake_sent[0] = '\0';
}

// With its check.
static void hear_raw(const char *bytes) {
    while (*bytes != '\0') rig_heard((uint8_t)*bytes++);
}
static void hear(const char *payload) {
    char line[256];
    uint16_t crc = CRC_START;
    for (const char *c = payload; *c != '\0'; c++) crc = crc16(crc, (uint8_t)*c);
    snprintf(line, sizeof line, "%s*%04X\n", payload, crc);
    hear_raw(line);
}
// A line with this payload was sent since `quiet`.
static bool said(const char *payload) {
    char wanted[160];
    snprintf(wanted, sizeof wanted, "%s*", payload);
    const char *at = strstr(fake_sent, wanted);
    return at != NULL && (at == fake_sent || at[-1] == '\n');
}
