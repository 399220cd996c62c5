/* Decimal numbers of the link, read and written without floating point. */
#ifndef NUMBER_H
#define NUMBER_H

#include <stdbool.h>
#include <stdint.h>

/* The largest number that is told from larger ones, in thousandths. */
#define NUMBER_MOST 2000000000L

/* Reads an optional sign, digits, an optional point with digits; no exponent. The result is in thousandths: further digits are
   cut off, but what is not zero never becomes zero (a rate of zero means "at once"). Beyond +-NUMBER_MOST it stays there. */
bool number_read(const char *text, uint8_t length, int32_t *thousandths);

/* Reads 0...65535, digits only. */
bool number_read_id(const char *text, uint8_t length, uint16_t *id);

/* Writes a number that is given in units of 10^-decimals; returns how many bytes, 13 at most. No closing zero byte. */
uint8_t number_write(char *at, int32_t value, uint8_t decimals);
uint8_t number_write_unsigned(char *at, uint32_t value);

#endif
