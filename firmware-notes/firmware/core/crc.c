#include "crc.h"

/* Bit by bit, as the definition reads: polynomial 0x1021, nothing reflected. A table would cost 512 bytes of flash and save
   nothing that is missing: a line of 50 bytes takes about 0.3 ms. */
uint16_t crc_over(uint16_t crc, uint8_t byte) {
    crc ^= (uint16_t)((uint16_t)byte << 8);
    for (uint8_t bit = 0; bit < 8; bit++) {
        uint16_t next = (uint16_t)(crc << 1);
        crc = (uint16_t)((crc & 0x8000u) ? next ^ 0x1021u : next);
    }
    return crc;
}
