/* One line being written, its checksum counted along. Every call but say_text puts its own comma first. */
#ifndef SAY_H
#define SAY_H

#include <stdint.h>

/* The longest is `RIG` with all channels, below 100 bytes. */
#define SAY_LONGEST 120

struct say {
    char bytes[SAY_LONGEST];
    uint8_t length;
};

void say_begin(struct say *say, const char *word);
void say_text(struct say *say, const char *text);
void say_unsigned(struct say *say, uint32_t value);
void say_number(struct say *say, int32_t value, uint8_t decimals);
/* A pulse in half microseconds: 1500 or 1500.5. */
void say_half_us(struct say *say, uint16_t half_us);
/* Thousandths, without zeros at the end. */
void say_thousandths(struct say *say, int32_t value);
/* With checksum and end. */
uint8_t say_whole_length(const struct say *say);
/* Puts the checksum behind it and sends it. */
void say_end(struct say *say);

#endif
