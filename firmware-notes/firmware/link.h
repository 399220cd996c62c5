// Lines of rig link version 1: taken apart, put together, checked. Knows no command, no chip.
#ifndef LINK_H
#define LINK_H

#include <stdbool.h>
#include <stdint.h>

// Of a line, its end included.
#define LINE_BYTES 200

// CRC-16/IBM-3740, a byte at a time; begins with CRC_START.
#define CRC_START 0xFFFFu
uint16_t crc16(uint16_t crc, uint8_t byte);

typedef enum {
    HEARD_NOTHING, // the line goes on
    HEARD_LINE,    // `text` is a whole line's payload
    HEARD_DAMAGE,  // a line ended that cannot be used
} Heard;

typedef struct {
    char text[LINE_BYTES];
    uint8_t length;
    bool spoiled;
} Receiver;

// One byte more. The payload is the receiver's until the next byte.
Heard receiver_take(Receiver *receiver, uint8_t byte);

// Cuts the next field off; NULL where there is none left. An empty field is "".
char *field_next(char **rest);
// A decimal in thousandths, with sign and fraction as they may be: digits beyond the third after the point are left out.
// False: it is none, or its size is above a million.
bool number_milli(const char *text, int32_t *milli);
// 0 to 65535, digits alone.
bool number_id(const char *text, uint16_t *id);

// A line being written.
typedef struct {
    char text[128];
    uint8_t length;
} Line;

void line_begin(Line *line, const char *kind);
// Each begins a new field.
void line_text(Line *line, const char *text);
void line_number(Line *line, uint32_t number);
// `value` in units of the last decimal.
void line_fixed(Line *line, int32_t value, uint8_t decimals);
void line_empty(Line *line);
// Check and end of line.
void line_end(Line *line);

#endif
