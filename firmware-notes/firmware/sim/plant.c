#include "plant.h"

#include <math.h>

const Made PLANT_SOUND = {
    .stiffness = 0.45,
    .friction = 2.0,
    .spot_deg = 0,
    .spot_ncm = 0,
    .stop_deg = 60,
    .deg_us = 0.09,
    .deg_s = 400,
    .dead_deg = 0.15,
    .idle_w = 0.21,
    .copper = 8.4,
    .friction_nm = 0.06,
    .gear_loss = 0.18,
    .source_v = 7.4,
    .ohm = 0.08,
};

void plant_begin(Plant *plant, const Made *made) {
    *plant = (Plant){.made = *made, .forced_a = -1, .forced_v = -1};
    plant->seen = (Seen){.supply_v = made->source_v, .case_c = 22};
}

static double sign(double x) {
    return x > 0 ? 1 : x < 0 ? -1 : 0;
}

// The rod makes a parallelogram: the surface goes by the arm's degrees. Torque at arm and hinge are the same, N*m.
static double hinge_nm(const Made *m, double deg, double speed_deg_s) {
    double friction = m->friction;
    double off = (deg - m->spot_deg) / 1.2;
    friction += m->spot_ncm * exp(-off * off);
    // Coulomb, smoothed over two degrees a second.
    return 0.01 * (m->stiffness * deg + friction * tanh(speed_deg_s / 2));
}

// Watts that the motor takes for this torque at the shaft, at this speed in radians a second.
static double motor_w(const Made *m, double nm, double rad_s) {
    double way = sign(rad_s);
    if (way == 0) {
        // Held: gears and friction carry their share of the load.
        double left = fabs(nm) - m->friction_nm;
        double drive = left > 0 ? left / (1 + m->gear_loss) : 0;
        return m->copper * drive * drive;
    }
    double along = way * nm;
    double drive = along + m->friction_nm + m->gear_loss * fabs(along);
    double watts = m->copper * drive * drive + fabs(rad_s) * drive;
    return watts > 0 ? watts : 0;
}

void plant_step(Plant *p, double dt_s, double pulse_us) {
    const Made *m = &p->made;
    if (m->hand_deg > 0) {
        p->hand_at_s += dt_s;
        double phase = 2 * M_PI * p->hand_at_s / m->hand_s;
        p->arm_deg = m->hand_deg * sin(phase);
        p->speed_deg_s = m->hand_deg * cos(phase) * 2 * M_PI / m->hand_s;
        pulse_us = 0;
    }
    p->driven = pulse_us > 0;
    double watts = p->driven ? m->idle_w : 0.1;
    if (p->driven) {
        p->target_deg = (pulse_us - 1500) * m->deg_us;
        double error = p->target_deg - p->arm_deg;
        double speed = fabs(error) < m->dead_deg && fabs(p->speed_deg_s) < 1 ? 0 : 30 * error;
        if (fabs(speed) > m->deg_s) speed = sign(speed) * m->deg_s;
        // It comes to its speed within some milliseconds.
        p->speed_deg_s += (speed - p->speed_deg_s) * fmin(1, dt_s / 0.01);
        if (speed == 0 && fabs(p->speed_deg_s) < 0.5) p->speed_deg_s = 0;
        double to = p->arm_deg + p->speed_deg_s * dt_s;
        bool stopped = fabs(to) > m->stop_deg;
        if (stopped) {
            to = sign(to) * m->stop_deg;
            p->speed_deg_s = 0;
            // Stalled: all that the winding takes.
            watts += fmin(m->source_v * m->source_v / 3, 12.0 * fabs(p->target_deg - to));
        }
        p->arm_deg = to;
        watts += motor_w(m, hinge_nm(m, p->arm_deg, p->speed_deg_s), p->speed_deg_s * M_PI / 180);
    } else if (m->hand_deg == 0) {
        p->speed_deg_s = 0;
    }
    // V = source - R*I with I = P/V.
    double half = m->source_v / 2, inside = half * half - m->ohm * watts;
    double volts = half + sqrt(inside > 0 ? inside : 0);
    p->seen.angle_deg = p->arm_deg;
    p->seen.supply_v = p->forced_v >= 0 ? p->forced_v : volts;
    p->seen.current_a = p->forced_a >= 0 ? p->forced_a : watts / volts;
}
