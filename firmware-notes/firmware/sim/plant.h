// A servo on a hinge, for the simulated chip to drive and to measure. Its own physics: nothing is shared with the program that judges.
#ifndef PLANT_H
#define PLANT_H

#include <stdbool.h>

typedef struct {
    // Hinge: N*cm a degree, N*cm of friction; a spot that is tight: where, degrees, and how much more friction, N*cm.
    double stiffness, friction, spot_deg, spot_ncm;
    // The arm's end stop, degrees to either side.
    double stop_deg;
    // Servo: degrees a microsecond, degrees a second, dead band in degrees; watts at rest, copper's W/(N*m)^2, N*m of friction, gear loss.
    double deg_us, deg_s, dead_deg, idle_w, copper, friction_nm, gear_loss;
    // Supply and its resistance with the lead.
    double source_v, ohm;
    // Moves by a hand of its own, degrees and seconds a cycle; the servo is off then.
    double hand_deg, hand_s;
} Made;

typedef struct {
    double angle_deg, current_a, supply_v, case_c;
} Seen;

typedef struct {
    Made made;
    double arm_deg, speed_deg_s, target_deg, hand_at_s;
    bool driven;
    Seen seen;
    // What a fault puts in place of the physics; below nought: nothing.
    double forced_a, forced_v;
} Plant;

extern const Made PLANT_SOUND;

void plant_begin(Plant *plant, const Made *made);
// `pulse_us`: of the last whole pulse, 0 where there have been none for a while.
void plant_step(Plant *plant, double dt_s, double pulse_us);

#endif
