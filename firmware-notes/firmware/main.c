/* The reference firmware of a rig: takes what came, in order of urgency, and rests. Nothing here waits. */
#include "board.h"

int main(void) {
    static struct rig rig;
    struct reading now;
    uint32_t t_us = 0;
    uint8_t byte;
    board_begin();
    rig_start(&rig);
    for (;;) {
        rig_tick(&rig, board_now_us());
#ifndef PASSIVE
        if (board_frame())
            rig_frame(&rig, board_now_us());
#endif
        if (board_sampled(&now, &t_us)) {
            rig_sample(&rig, &now, t_us, board_now_us());
            /* Only here: should samples stop, limits are watched by nobody, and the chip shall reset. */
            board_alive();
        }
        while (rig_listens(&rig) && board_heard(&byte))
            rig_byte(&rig, byte, board_now_us());
        board_rest();
    }
}
