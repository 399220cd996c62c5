/* The board's serial plug: a pseudo-terminal, and who has it open. */
#ifndef PORT_H
#define PORT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Prints where it is; a link to it where one is asked for. */
void plug_begin(const char *link);
/* Whether somebody opened it since the last call. */
bool plug_opened(void);
void plug_send(uint8_t byte);
/* Takes what has come, if all before is used. */
void plug_listen(void);
/* A byte of the host's, or -1. */
int plug_heard(void);
void plug_flush(void);
void plug_end(void);

#endif
