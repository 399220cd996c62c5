#include "test.h"

#include "../core/line.h"

static struct line_in in;
static struct line_said said;

/* What the last line is of some bytes, and how many lines came. */
static enum line_is taken(const char *bytes, size_t length, unsigned *lines) {
    enum line_is last = LINE_NONE;
    *lines = 0;
    for (size_t i = 0; i < length; i++) {
        enum line_is is = line_take(&in, (uint8_t)bytes[i], &said);
        if (is != LINE_NONE) {
            last = is;
            (*lines)++;
        }
    }
    return last;
}

static enum line_is is(const char *bytes) {
    unsigned lines;
    return taken(bytes, strlen(bytes), &lines);
}

static enum line_is payload_is(const char *payload) {
    char line[600];
    unsigned lines;
    return taken(line, host_line(line, payload), &lines);
}

static void commands_are_read(void) {
    const char *field;
    uint8_t length;
    CHECK(payload_is("GO,65535,1500.5,250") == LINE_COMMAND && said.command == COMMAND_GO && said.id == 65535);
    CHECK(line_field(&said, &field, &length) && length == 6 && memcmp(field, "1500.5", 6) == 0);
    CHECK(line_field(&said, &field, &length) && length == 3 && memcmp(field, "250", 3) == 0);
    CHECK(!line_field(&said, &field, &length));
    CHECK(payload_is("ASK,1") == LINE_COMMAND && said.command == COMMAND_ASK && !said.has_rest);
    CHECK(payload_is("LIMIT,2,a=1") == LINE_COMMAND && said.command == COMMAND_LIMIT && said.has_rest);
    CHECK(payload_is("ARM,3") == LINE_COMMAND && said.command == COMMAND_ARM);
    CHECK(payload_is("DISARM,4") == LINE_COMMAND && said.command == COMMAND_DISARM);
    /* A comma at the end is one more field, and empty. */
    CHECK(payload_is("ARM,3,") == LINE_COMMAND && line_field(&said, &field, &length) && length == 0);
    CHECK(payload_is("ALIVE") == LINE_ALIVE);
}

static void ends_and_cases_may_differ(void) {
    char line[32];
    host_line(line, "ALIVE");
    line[strlen(line) - 1] = 0;
    char with_cr[40], lower[40];
    sprintf(with_cr, "%s\r\n", line);
    CHECK(is(with_cr) == LINE_ALIVE);
    strcpy(lower, line);
    for (char *c = strchr(lower, '*'); *c; c++)
        *c = (char)(*c >= 'A' && *c <= 'F' ? *c + 32 : *c);
    strcat(lower, "\n");
    CHECK(strcmp(lower + 6, line + 6) != 0 && is(lower) == LINE_ALIVE);
    CHECK(is("\n\r\n\n") == LINE_NONE);
}

static void damage_is_told_and_the_next_line_is_whole(void) {
    static const char *const BAD[] = {"ALIVE*0000\n", "ALIVE\n", "*\n", "*FFFF\n", "A\n", "\xff\xfe\n", "ALIVE*12G4\n", "\x01*ABCD\n", "*29B1\n"};
    static const char *const PAYLOADS[] = {"WIGGLE,1", "ARM,65536", "ARM,", "ARM", "ARM,-1", "ALIVE,1", "arm,1", "ARM ,1", "", "AR*M,1", "ARM\t,1", ",1"};
    for (size_t i = 0; i < sizeof BAD / sizeof BAD[0]; i++)
        CHECK(is(BAD[i]) == LINE_DAMAGED && payload_is("ALIVE") == LINE_ALIVE);
    for (size_t i = 0; i < sizeof PAYLOADS / sizeof PAYLOADS[0]; i++)
        CHECK(payload_is(PAYLOADS[i]) == LINE_DAMAGED && payload_is("ALIVE") == LINE_ALIVE);
    CHECK(is("\x00") == LINE_NONE);
}

/* 200 bytes with LF are a line, one more is not, whatever its checksum. */
static void a_line_may_be_as_long_as_it_may(void) {
    char payload[512] = "LIMIT,1,";
    unsigned lines;
    memset(payload + 8, 'x', 194 - 8);
    payload[194] = 0;
    CHECK(payload_is(payload) == LINE_COMMAND);
    payload[194] = 'x';
    payload[195] = 0;
    CHECK(payload_is(payload) == LINE_DAMAGED && payload_is("ALIVE") == LINE_ALIVE);
    memset(payload + 8, 'x', 490);
    payload[498] = 0;
    CHECK(payload_is(payload) == LINE_DAMAGED && payload_is("ALIVE") == LINE_ALIVE);
    static char endless[5000];
    memset(endless, 'y', sizeof endless);
    CHECK(taken(endless, sizeof endless, &lines) == LINE_NONE && is("\n") == LINE_DAMAGED);
}

/* Every single wrong bit of a line is seen. */
static void one_wrong_bit_is_seen(void) {
    char line[64];
    size_t length = host_line(line, "GO,12,1500,200");
    unsigned lines;
    for (size_t at = 0; at + 1 < length; at++) {
        for (int bit = 0; bit < 8; bit++) {
            char wrong[64];
            memcpy(wrong, line, length);
            wrong[at] = (char)(wrong[at] ^ (1 << bit));
            /* A bit of the checksum's letters may turn upper into lower case: the same digit. */
            if (at > length - 6 && bit == 5 && line[at] >= 'A')
                continue;
            CHECK(taken(wrong, length, &lines) == LINE_DAMAGED);
        }
    }
}

void test_lines(void) {
    line_forget(&in);
    commands_are_read();
    ends_and_cases_may_differ();
    damage_is_told_and_the_next_line_is_whole();
    a_line_may_be_as_long_as_it_may();
    one_wrong_bit_is_seen();
}
