#include "plant.h"

#include <math.h>
#include <string.h>

/* The servo: a motor with its gear seen from the arm. Torque 0.3475 N m per A, 1.0143 ohm: 8.4 W of copper for a squared
   newton metre. Its calibration is tests/firmware/servo.calibration.toml. */
#define NM_PER_A 0.3475
#define OHM 1.0143
#define SERVO_FRICTION_NM 0.06
#define GEAR_LOSS 0.18
#define INERTIA 0.0012
#define IDLE_W 0.21
#define PACK_V 7.4
#define LEAD_OHM 0.08
#define DEG_PER_US 0.09
#define DEAD_BAND_DEG 0.25
#define DEG (3.14159265358979323846 / 180.0)

void plant_begin(struct plant *plant, const struct plant_kind *kind) {
    memset(plant, 0, sizeof *plant);
    plant->kind = *kind;
    plant->since_pulse_s = 1.0;
    plant->plug_v = PACK_V;
    plant->case_c = 24.0;
    plant->arm_deg = kind->by_hand ? 0.0 : 1.5;
    plant->noise = 12345;
}

/* A servo takes what looks like a pulse for a command. */
void plant_pulse(struct plant *plant, double width_us) {
    if (width_us > 300.0 && width_us < 3000.0) {
        plant->pulse_us = width_us;
        plant->since_pulse_s = 0.0;
    }
}

/* What pulls at the shaft whatever its speed, and how much of it only resists. */
static void load(const struct plant *plant, double *pulls_nm, double *resists_nm) {
    const struct plant_kind *kind = &plant->kind;
    double at = plant->arm_deg, off = (at - kind->tight_at_deg) / kind->tight_wide_deg;
    *pulls_nm = -kind->stiffness_nm_per_deg * at;
    if (at > kind->stop_up_deg)
        *pulls_nm -= kind->stop_nm_per_deg * (at - kind->stop_up_deg);
    if (at < kind->stop_down_deg)
        *pulls_nm -= kind->stop_nm_per_deg * (at - kind->stop_down_deg);
    *resists_nm = kind->friction_nm + kind->tight_nm * exp(-0.5 * off * off) + kind->stall_nm;
}

/* The controller: duty of the bridge from how far the arm is off. */
static void control(struct plant *plant, double dt_s) {
    if (plant->since_pulse_s > 0.06) {
        plant->duty = 0.0;
        plant->awake = false;
        plant->demand_deg = plant->arm_deg;
        return;
    }
    double aim = (plant->pulse_us - 1500.0) * DEG_PER_US;
    plant->demand_deg += (aim - plant->demand_deg) * dt_s / 0.015;
    double error = plant->demand_deg - plant->arm_deg;
    if (fabs(error) > DEAD_BAND_DEG)
        plant->awake = true;
    else if (fabs(error) < 0.3 * DEAD_BAND_DEG)
        plant->awake = false;
    double duty = 0.4 * error - 0.0035 * plant->speed_deg_s + (error > 0 ? 0.03 : -0.03);
    plant->duty = plant->awake ? fmax(-1.0, fmin(1.0, duty)) : 0.0;
}

static void hand(struct plant *plant, double dt_s) {
    /* From -24 to 24 degrees and back at about 30 degrees a second, softly at the ends; rest first. */
    double t = plant->t_s - 2.0, before = plant->arm_deg;
    plant->arm_deg = t < 0 ? 0.0 : 24.0 * sin(t * 30.0 / 24.0);
    plant->speed_deg_s = (plant->arm_deg - before) / dt_s;
    plant->current_a = IDLE_W / PACK_V;
}

void plant_step(struct plant *plant, double dt_s) {
    double pulls, resists;
    plant->t_s += dt_s;
    plant->since_pulse_s += dt_s;
    if (plant->kind.by_hand) {
        hand(plant, dt_s);
        return;
    }
    control(plant, dt_s);
    load(plant, &pulls, &resists);
    double volts = plant->duty * plant->plug_v, back = NM_PER_A * plant->speed_deg_s * DEG;
    double amps = (volts - back) / OHM;
    /* Asleep, the bridge is open. */
    if (!plant->awake)
        amps = 0.0;
    double torque = NM_PER_A * amps;
    /* The gear loses a share of what the load pulls. */
    double dry = SERVO_FRICTION_NM + resists + GEAR_LOSS * fabs(pulls + (plant->speed_deg_s > 0 ? -resists : resists));
    double drive = torque + pulls, speed = plant->speed_deg_s * DEG;
    if (speed == 0.0 && fabs(drive) <= dry) {
        /* sticks */
    } else {
        double way = speed != 0.0 ? (speed > 0 ? 1.0 : -1.0) : (drive > 0 ? 1.0 : -1.0);
        double next = speed + (drive - way * dry) / INERTIA * dt_s;
        speed = next * way < 0 ? 0.0 : next;
    }
    plant->speed_deg_s = speed / DEG;
    plant->arm_deg += plant->speed_deg_s * dt_s;
    double motor_a = plant->duty * amps;
    plant->current_a = (motor_a > 0 ? motor_a : 0.0) + IDLE_W / plant->plug_v + plant->extra_a;
    plant->plug_v = fmax(2.0, PACK_V - plant->sag_v - LEAD_OHM * plant->current_a);
    plant->case_c += ((24.0 - plant->case_c) / 400.0 + amps * amps * OHM / 45.0) * dt_s;
}

/* About a step of the converter at most, evenly: brush and supply noise of a quiet bench. */
static double noise_mv(struct plant *plant, double most) {
    plant->noise = plant->noise * 1664525u + 1013904223u;
    return most * ((double)(plant->noise >> 8) / 8388608.0 - 1.0);
}

double plant_sensor_mv(struct plant *plant, int sensor) {
    switch (sensor) {
    case 0:
        return 2500.0 + 40.0 * plant->arm_deg + noise_mv(plant, 5.0);
    case 1:
        return 500.0 + 800.0 * plant->current_a + noise_mv(plant, 6.0);
    case 2:
        return 500.0 * plant->plug_v + noise_mv(plant, 5.0);
    default:
        return 500.0 + 10.0 * plant->case_c + noise_mv(plant, 5.0);
    }
}
