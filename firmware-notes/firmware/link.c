#include "link.h"

#include <stddef.h>

uint16_t crc16(uint16_t crc, uint8_t byte) {
    crc ^= (uint16_t)((uint16_t)byte << 8);
    for (uint8_t bit = 0; bit < 8; bit++)
        crc = (uint16_t)((crc & 0x8000u) ? (uint32_t)(crc << 1) ^ 0x1021u : (uint32_t)(crc << 1));
    return crc;
}

static int8_t hex_digit(char c) {
    if (c >= '0' && c <= '9') return (int8_t)(c - '0');
    if (c >= 'A' && c <= 'F') return (int8_t)(c - 'A' + 10);
    if (c >= 'a' && c <= 'f') return (int8_t)(c - 'a' + 10);
    return -1;
}

// The payload without its check, if the check holds.
static bool unwrap(Receiver *r) {
    if (r->length < 6 || r->text[r->length - 5] != '*') return false;
    uint8_t end = (uint8_t)(r->length - 5);
    uint16_t said = 0, crc = CRC_START;
    for (uint8_t i = end + 1; i < r->length; i++) {
        int8_t digit = hex_digit(r->text[i]);
        if (digit < 0) return false;
        said = (uint16_t)(said << 4 | (uint16_t)digit);
    }
    for (uint8_t i = 0; i < end; i++) {
        uint8_t byte = (uint8_t)r->text[i];
        if (byte < 0x20 || byte > 0x7E || byte == '*') return false;
        crc = crc16(crc, byte);
    }
    r->text[end] = '\0';
    return crc == said;
}

Heard receiver_take(Receiver *r, uint8_t byte) {
    if (byte != '\n') {
        // With its LF the line would be too long; what else comes up to there belongs to it.
        if (r->length >= LINE_BYTES - 1)
            r->spoiled = true;
        else
            r->text[r->length++] = (char)byte;
        return HEARD_NOTHING;
    }
    bool spoiled = r->spoiled;
    if (r->length > 0 && r->text[r->length - 1] == '\r') r->length--;
    bool empty = r->length == 0 && !spoiled;
    bool whole = !spoiled && unwrap(r);
    r->length = 0;
    r->spoiled = false;
    if (empty) return HEARD_NOTHING;
    return whole ? HEARD_LINE : HEARD_DAMAGE;
}

char *field_next(char **rest) {
    char *field = *rest;
    if (field == NULL) return NULL;
    char *c = field;
    while (*c != '\0' && *c != ',') c++;
    if (*c == ',') {
        *c = '\0';
        *rest = c + 1;
    } else {
        *rest = NULL;
    }
    return field;
}

bool number_milli(const char *text, int32_t *milli) {
    const int32_t most = 1000000000;
    bool below = *text == '-', any = false;
    if (*text == '-' || *text == '+') text++;
    int32_t value = 0;
    for (; *text >= '0' && *text <= '9'; text++) {
        any = true;
        int32_t digit = (*text - '0') * (int32_t)1000;
        if (value > (most - digit) / 10) return false;
        value = value * 10 + digit;
    }
    if (*text == '.') {
        text++;
        int32_t place = 100;
        for (; *text >= '0' && *text <= '9'; text++, place /= 10) {
            any = true;
            value += (*text - '0') * place; // beyond the third: place is 0
        }
    }
    if (!any || *text != '\0') return false;
    *milli = below ? -value : value;
    return true;
}

bool number_id(const char *text, uint16_t *id) {
    uint32_t value = 0;
    if (*text == '\0') return false;
    for (; *text != '\0'; text++) {
        if (*text < '0' || *text > '9') return false;
        value = value * 10 + (uint32_t)(*text - '0');
        if (value > UINT16_MAX) return false;
    }
    *id = (uint16_t)value;
    return true;
}

// Room is kept for check and end.
static void put(Line *line, char c) {
    if (line->length < sizeof line->text - 6) line->text[line->length++] = c;
}

static void put_text(Line *line, const char *text) {
    while (*text != '\0') put(line, *text++);
}

static void put_number(Line *line, uint32_t number, uint8_t decimals) {
    char digits[11];
    uint8_t n = 0;
    do {
        digits[n++] = (char)('0' + number % 10);
        number /= 10;
    } while (number != 0 || n <= decimals);
    while (n > 0) {
        put(line, digits[--n]);
        if (n == decimals && decimals > 0) put(line, '.');
    }
}

void line_begin(Line *line, const char *kind) {
    line->length = 0;
    put_text(line, kind);
}

void line_text(Line *line, const char *text) {
    put(line, ',');
    put_text(line, text);
}

void line_number(Line *line, uint32_t number) {
    put(line, ',');
    put_number(line, number, 0);
}

void line_fixed(Line *line, int32_t value, uint8_t decimals) {
    put(line, ',');
    if (value < 0) put(line, '-');
    put_number(line, value < 0 ? 0u - (uint32_t)value : (uint32_t)value, decimals);
}

void line_empty(Line *line) {
    put(line, ',');
}

void line_end(Line *line) {
    static const char HEX[] = "0123456789ABCDEF";
    uint16_t crc = CRC_START;
    for (uint8_t i = 0; i < line->length; i++) crc = crc16(crc, (uint8_t)line->text[i]);
    line->text[line->length++] = '*';
    for (int8_t shift = 12; shift >= 0; shift = (int8_t)(shift - 4)) line->text[line->length++] = HEX[(crc >> shift) & 0xF];
    line->text[line->length++] = '\n';
}
