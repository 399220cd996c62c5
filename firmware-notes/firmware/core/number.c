#include "number.h"

static bool is_digit(char c) { return c >= '0' && c <= '9'; }

/* value * 10 + digit, staying at the most. */
static int32_t shifted(int32_t value, char digit) {
    if (value > (NUMBER_MOST - 9) / 10)
        return NUMBER_MOST;
    return value * 10 + (digit - '0');
}

bool number_read(const char *text, uint8_t length, int32_t *thousandths) {
    bool negative = false, point = false, any = false, not_zero = false;
    uint8_t i = 0, decimals = 0;
    int32_t value = 0;
    if (length > 0 && (text[0] == '-' || text[0] == '+')) {
        negative = text[0] == '-';
        i = 1;
    }
    for (; i < length; i++) {
        if (text[i] == '.' && !point) {
            point = true;
            continue;
        }
        if (!is_digit(text[i]))
            return false;
        any = true;
        not_zero |= text[i] != '0';
        if (point && decimals == 3)
            continue;
        value = shifted(value, text[i]);
        decimals = (uint8_t)(decimals + point);
    }
    if (!any)
        return false;
    for (; decimals < 3; decimals++)
        value = shifted(value, '0');
    if (value == 0 && not_zero)
        value = 1;
    *thousandths = negative ? -value : value;
    return true;
}

bool number_read_id(const char *text, uint8_t length, uint16_t *id) {
    uint32_t value = 0;
    if (length == 0)
        return false;
    for (uint8_t i = 0; i < length; i++) {
        if (!is_digit(text[i]))
            return false;
        value = value * 10 + (uint32_t)(text[i] - '0');
        if (value > 65535u)
            return false;
    }
    *id = (uint16_t)value;
    return true;
}

/* Digits with a point before the last `decimals` of them. */
static uint8_t write_digits(char *at, uint32_t value, uint8_t decimals) {
    char back[12];
    uint8_t count = 0, length = 0;
    do {
        if (decimals > 0 && count == decimals)
            back[length++] = '.';
        /* 16 bits where they are enough, and one division a digit: an 8-bit chip takes long over them. */
        uint32_t tenth = value > UINT16_MAX ? value / 10u : (uint16_t)value / 10u;
        back[length++] = (char)('0' + (uint8_t)(value - tenth * 10u));
        value = tenth;
        count++;
    } while (value > 0 || count <= decimals);
    for (uint8_t i = 0; i < length; i++)
        at[i] = back[length - 1 - i];
    return length;
}

uint8_t number_write(char *at, int32_t value, uint8_t decimals) {
    if (value >= 0)
        return write_digits(at, (uint32_t)value, decimals);
    at[0] = '-';
    return (uint8_t)(1 + write_digits(at + 1, 0u - (uint32_t)value, decimals));
}

uint8_t number_write_unsigned(char *at, uint32_t value) { return write_digits(at, value, 0); }
