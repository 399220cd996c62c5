#include "board.h"
#include "rig.h"

int main(void) {
    Reading reading;
    uint32_t t_us;
    uint8_t byte;
    board_begin();
    rig_begin();
    for (;;) {
        if (board_sample(&reading, &t_us)) {
            rig_sample(&reading, t_us);
            board_alive();
        }
        // Bytes wait where the answer to them could not be sent.
        while (board_room() >= RIG_ANSWER_BYTES && board_heard(&byte)) rig_heard(byte);
        rig_watch();
        board_rest();
    }
}
