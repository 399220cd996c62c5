/* CRC-16/IBM-3740, the checksum of every line. Nothing of lines or boards in here. */
#ifndef CRC_H
#define CRC_H

#include <stdint.h>

#define CRC_START 0xFFFFu

uint16_t crc_over(uint16_t crc, uint8_t byte);

#endif
