#include "test.h"

#include "../core/crc.h"
#include "../core/number.h"

static uint16_t crc_of(const char *text) {
    uint16_t crc = CRC_START;
    while (*text)
        crc = crc_over(crc, (uint8_t)*text++);
    return crc;
}

static bool reads(const char *text, int32_t expected) {
    int32_t value = 12345;
    return number_read(text, (uint8_t)strlen(text), &value) && value == expected;
}

static bool no_number(const char *text) {
    int32_t value;
    return !number_read(text, (uint8_t)strlen(text), &value);
}

static bool writes(int32_t value, uint8_t decimals, const char *expected) {
    char text[16];
    uint8_t length = number_write(text, value, decimals);
    return length == strlen(expected) && memcmp(text, expected, length) == 0;
}

void test_numbers(void) {
    char line[64];
    /* The published check value of CRC-16/IBM-3740, and a line of ../README.md. */
    CHECK(crc_of("123456789") == 0x29B1);
    CHECK(crc_of("OK,1") == 0xB617);
    /* Against the division as it is defined, over every byte in two places. */
    for (int byte = 0x20; byte < 0x7F; byte++) {
        char payload[] = {(char)byte, 'x', (char)(0x9E - byte), 0}, whole[16], ours[16];
        host_line(whole, payload);
        sprintf(ours, "%s*%04X\n", payload, crc_of(payload));
        CHECK(strcmp(whole, ours) == 0);
    }
    host_line(line, "123456789");
    CHECK(strcmp(line, "123456789*29B1\n") == 0);

    CHECK(reads("0", 0) && reads("-12", -12000) && reads("+7", 7000) && reads("834.25", 834250));
    CHECK(reads("1.", 1000) && reads(".5", 500) && reads("-.5", -500) && reads("-0", 0) && reads("000012.50", 12500));
    CHECK(reads("1.2345", 1234) && reads("1.9999", 1999));
    /* What is not zero never becomes zero: as a rate that would be "at once". */
    CHECK(reads("0.0001", 1) && reads("-0.00001", -1) && reads("0.0000", 0));
    CHECK(reads("2000000", 2000000000) && reads("99999999999999999999", 2000000000) && reads("-99999999999", -2000000000));
    CHECK(reads("4294967296", 2000000000) && reads("2147483.648", 2000000000));
    CHECK(no_number("") && no_number("-") && no_number("+") && no_number(".") && no_number("-."));
    CHECK(no_number("1e3") && no_number("nan") && no_number("inf") && no_number(" 1") && no_number("1 "));
    CHECK(no_number("0x10") && no_number("++1") && no_number("1-") && no_number("1.2.3") && no_number("1_0"));

    uint16_t id = 7;
    CHECK(number_read_id("65535", 5, &id) && id == 65535);
    CHECK(number_read_id("0", 1, &id) && id == 0);
    CHECK(number_read_id("00042", 5, &id) && id == 42);
    CHECK(!number_read_id("65536", 5, &id) && !number_read_id("", 0, &id) && !number_read_id("-1", 2, &id));
    CHECK(!number_read_id("99999999999999", 14, &id) && !number_read_id("1.0", 3, &id));

    CHECK(writes(0, 0, "0") && writes(0, 2, "0.00") && writes(5, 2, "0.05") && writes(-5, 2, "-0.05"));
    CHECK(writes(123456, 2, "1234.56") && writes(-2534, 2, "-25.34") && writes(741, 2, "7.41"));
    CHECK(writes(INT32_MIN, 0, "-2147483648") && writes(INT32_MAX, 3, "2147483.647"));
    CHECK(number_write_unsigned(line, UINT32_MAX) == 10 && memcmp(line, "4294967295", 10) == 0);
}
