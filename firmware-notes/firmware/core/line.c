#include "line.h"

#include <string.h>

#include "crc.h"
#include "number.h"

static const char *const WORDS[COMMANDS] = {"ASK", "LIMIT", "ARM", "GO", "DISARM"};

void line_forget(struct line_in *in) {
    in->length = 0;
    in->too_long = false;
}

static int8_t hex_digit(char c) {
    if (c >= '0' && c <= '9')
        return (int8_t)(c - '0');
    if (c >= 'A' && c <= 'F')
        return (int8_t)(c - 'A' + 10);
    if (c >= 'a' && c <= 'f')
        return (int8_t)(c - 'a' + 10);
    return -1;
}

/* The length of the payload if `*` and four hex digits of its checksum follow it; otherwise 0. */
static uint8_t checked_payload(const char *line, uint8_t length) {
    uint16_t crc = CRC_START, stated = 0;
    if (length < 6 || line[length - 5] != '*')
        return 0;
    for (uint8_t i = (uint8_t)(length - 4); i < length; i++) {
        int8_t digit = hex_digit(line[i]);
        if (digit < 0)
            return 0;
        stated = (uint16_t)((stated << 4) | (uint16_t)digit);
    }
    length = (uint8_t)(length - 5);
    for (uint8_t i = 0; i < length; i++) {
        if (line[i] < 0x20 || line[i] > 0x7E || line[i] == '*')
            return 0;
        crc = crc_over(crc, (uint8_t)line[i]);
    }
    return crc == stated ? length : 0;
}

bool line_field(struct line_said *said, const char **field, uint8_t *length) {
    if (!said->has_rest)
        return false;
    const char *comma = memchr(said->rest, ',', said->rest_length);
    *field = said->rest;
    *length = comma ? (uint8_t)(comma - said->rest) : said->rest_length;
    said->has_rest = comma != NULL;
    if (comma) {
        said->rest = comma + 1;
        said->rest_length = (uint8_t)(said->rest_length - *length - 1);
    }
    return true;
}

static bool is_word(const char *field, uint8_t length, const char *word) {
    return strlen(word) == length && memcmp(field, word, length) == 0;
}

static enum line_is read_payload(const char *payload, uint8_t length, struct line_said *said) {
    const char *field;
    uint8_t field_length;
    said->rest = payload;
    said->rest_length = length;
    said->has_rest = true;
    line_field(said, &field, &field_length);
    if (is_word(field, field_length, "ALIVE"))
        return said->has_rest ? LINE_DAMAGED : LINE_ALIVE;
    for (uint8_t which = 0; which < COMMANDS; which++) {
        if (!is_word(field, field_length, WORDS[which]))
            continue;
        said->command = (enum command)which;
        if (line_field(said, &field, &field_length) && number_read_id(field, field_length, &said->id))
            return LINE_COMMAND;
        break;
    }
    return LINE_DAMAGED;
}

enum line_is line_take(struct line_in *in, uint8_t byte, struct line_said *said) {
    if (byte != '\n') {
        if (in->length < sizeof in->held)
            in->held[in->length++] = (char)byte;
        else
            in->too_long = true;
        return LINE_NONE;
    }
    uint8_t length = in->length;
    bool too_long = in->too_long;
    line_forget(in);
    if (too_long)
        return LINE_DAMAGED;
    if (length > 0 && in->held[length - 1] == '\r')
        length--;
    if (length == 0)
        return LINE_NONE;
    length = checked_payload(in->held, length);
    return length > 0 ? read_payload(in->held, length, said) : LINE_DAMAGED;
}
