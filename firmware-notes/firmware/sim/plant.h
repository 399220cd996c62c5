/* What hangs on the simulated board: a servo, a surface on its hinge, a supply with its lead, and the sensors' voltages.
   Written for this board alone; it shares nothing with the program's own simulated rig. SI units, angles in degrees. */
#ifndef PLANT_H
#define PLANT_H

#include <stdbool.h>

struct plant_kind {
    double stiffness_nm_per_deg; /* of the hinge */
    double friction_nm;
    double tight_at_deg, tight_nm, tight_wide_deg; /* a place that rubs: peak and standard deviation */
    double stop_up_deg, stop_down_deg;             /* where something stands in the way */
    double stop_nm_per_deg;                        /* and how hard it is */
    double stall_nm;                               /* the hinge is seized: this much holds it at any place */
    bool by_hand;                                  /* no servo: a hand moves it between its throws */
};

struct plant {
    struct plant_kind kind;
    /* pulses as they come from the pin */
    double pulse_us, since_pulse_s;
    double arm_deg, speed_deg_s, demand_deg, duty;
    bool awake;
    double current_a, plug_v, case_c, t_s;
    /* faults on command */
    double extra_a, sag_v;
    unsigned noise;
};

void plant_begin(struct plant *plant, const struct plant_kind *kind);
void plant_pulse(struct plant *plant, double width_us);
void plant_step(struct plant *plant, double dt_s);
/* A voltage at the converter, mV, of sensor 0 angle, 1 current, 2 supply, 3 case. */
double plant_sensor_mv(struct plant *plant, int sensor);

#endif
