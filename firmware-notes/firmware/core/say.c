#include "say.h"

#include "crc.h"
#include "number.h"
#include "ports.h"

/* `*`, four digits, LF. */
#define TAIL 6

void say_begin(struct say *say, const char *word) {
    say->length = 0;
    say_text(say, word);
}

void say_text(struct say *say, const char *text) {
    while (*text && say->length < SAY_LONGEST - TAIL)
        say->bytes[say->length++] = *text++;
}

static void say_written(struct say *say, const char *digits, uint8_t count) {
    for (uint8_t i = 0; i < count && say->length < SAY_LONGEST - TAIL; i++)
        say->bytes[say->length++] = digits[i];
}

void say_unsigned(struct say *say, uint32_t value) {
    char digits[13];
    say_text(say, ",");
    say_written(say, digits, number_write_unsigned(digits, value));
}

void say_number(struct say *say, int32_t value, uint8_t decimals) {
    char digits[13];
    say_text(say, ",");
    say_written(say, digits, number_write(digits, value, decimals));
}

void say_half_us(struct say *say, uint16_t half_us) {
    say_unsigned(say, half_us / 2u);
    if (half_us & 1u)
        say_text(say, ".5");
}

void say_thousandths(struct say *say, int32_t value) {
    uint8_t decimals = 3;
    while (decimals > 0 && value % 10 == 0) {
        value /= 10;
        decimals--;
    }
    say_number(say, value, decimals);
}

uint8_t say_whole_length(const struct say *say) { return (uint8_t)(say->length + TAIL); }

void say_end(struct say *say) {
    static const char HEX[] = "0123456789ABCDEF";
    uint16_t crc = CRC_START;
    for (uint8_t i = 0; i < say->length; i++)
        crc = crc_over(crc, (uint8_t)say->bytes[i]);
    say->bytes[say->length++] = '*';
    for (int8_t shift = 12; shift >= 0; shift = (int8_t)(shift - 4))
        say->bytes[say->length++] = HEX[(crc >> shift) & 0xFu];
    say->bytes[say->length++] = '\n';
    port_send(say->bytes, say->length);
}
