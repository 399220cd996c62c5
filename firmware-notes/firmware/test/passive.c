// The edition without a servo.
#include "fake.h"

int main(void) {
    Reading still = {.current_ma = 120, .supply_mv = 7380, .angle_cdeg = -305, .case_lost = true};
    rig_begin();
    CHECK(said("RIG,1,bench-one,1.0,passive,200,angle_deg,current_ma,supply_v"));
    rig_sample(&still, 5000);
    CHECK(said("S,0,5000,-3.05,120,7.380"));
    const char *refused[] = {"ARM,7", "DISARM,7", "GO,7,1500,0", "LIMIT,7,current_ma=10"};
    for (size_t i = 0; i < sizeof refused / sizeof *refused; i++) {
        quiet();
        hear(refused[i]);
        CHECK(said("NO,7,passive"));
    }
    quiet();
    hear("ASK,65535");
    CHECK(said("RIG,1,bench-one,1.0,passive,200,angle_deg,current_ma,supply_v"));
    CHECK(said("OK,65535"));
    quiet();
    still.angle_lost = true;
    rig_sample(&still, 10000);
    rig_sample(&still, 15000);
    CHECK(said("S,1,10000,,120,7.380"));
    CHECK(said("EV,10000,sensor-fault,angle_deg"));
    CHECK(!said("EV,15000,sensor-fault,angle_deg"));
    fake_ms = 100000;
    rig_watch();
    CHECK(strstr(fake_sent, "host-lost") == NULL);
    puts("passive: all as it should be");
    return 0;
}
