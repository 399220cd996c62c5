/* The host's bytes, cut into lines, checked and read. Nothing of what a command does. */
#ifndef LINE_H
#define LINE_H

#include <stdbool.h>
#include <stdint.h>

/* A line with its LF at most. */
#define LINE_LONGEST 200

enum line_is { LINE_NONE, LINE_DAMAGED, LINE_ALIVE, LINE_COMMAND };
enum command { COMMAND_ASK, COMMAND_LIMIT, COMMAND_ARM, COMMAND_GO, COMMAND_DISARM, COMMANDS };

struct line_in {
    char held[LINE_LONGEST - 1];
    uint8_t length;
    bool too_long;
};

/* What stands in a whole line. `rest` is what follows the number, without its comma; it points into the line, and holds until
   the next byte is taken. */
struct line_said {
    enum command command;
    uint16_t id;
    const char *rest;
    uint8_t rest_length;
    bool has_rest;
};

void line_forget(struct line_in *in);

/* Takes one byte; what the line is comes with its LF. Blank lines are none. */
enum line_is line_take(struct line_in *in, uint8_t byte, struct line_said *said);

/* The next field up to a comma, taken off the front of `rest`; false where nothing is left. */
bool line_field(struct line_said *said, const char **field, uint8_t *length);

#endif
