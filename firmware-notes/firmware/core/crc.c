#include "crc.h"

/* A byte at once: for 0x1021 the eight steps of the division fold into three shifts, which test/numbers.c holds against the
   division itself. A table would cost 512 bytes of flash for little more speed. */
uint16_t crc_over(uint16_t crc, uint8_t byte) {
    uint8_t x = (uint8_t)((crc >> 8) ^ byte);
    x = (uint8_t)(x ^ (x >> 4));
    return (uint16_t)((uint16_t)(crc << 8) ^ (uint16_t)((uint16_t)x << 12) ^ (uint16_t)((uint16_t)x << 5) ^ x);
}
