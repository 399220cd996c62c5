//! The keys of `aircraft.toml` and of a calibration file: the one list that unknown, missing and misplaced keys
//! are judged by, and where the words of the remedies come from. No reading here.

/// One key: an example of its value as it stands in the file, and what it means.
#[derive(Debug)]
pub(super) struct Key {
    pub name: &'static str,
    pub example: &'static str,
    pub means: &'static str,
}

/// One kind of table, with all keys it may have.
#[derive(Debug)]
pub(super) struct Kind {
    /// As the builder writes it: `[[surface]]`.
    pub title: &'static str,
    pub keys: &'static [Key],
}

impl Kind {
    pub fn key(&self, name: &str) -> Option<&'static Key> {
        self.keys.iter().find(|k| k.name == name)
    }
}

const fn key(name: &'static str, example: &'static str, means: &'static str) -> Key {
    Key {
        name,
        example,
        means,
    }
}

pub(super) static TOP: Kind = Kind {
    title: "the file",
    keys: &[
        key("aircraft", "[aircraft]", "the aircraft's name and note"),
        key(
            "servo_type",
            "[[servo_type]]",
            "what the data sheet says of a kind of servo",
        ),
        key("servo", "[[servo]]", "one physical servo"),
        key("surface", "[[surface]]", "one control surface"),
        key("limits", "[limits]", "the limits to judge by"),
        key("trip", "[trip]", "where the rig disarms itself"),
        key("supply", "[supply]", "what feeds all servos together"),
    ],
};

pub(super) static AIRCRAFT: Kind = Kind {
    title: "[aircraft]",
    keys: &[
        key("name", "\"Dunlin\"", "what you call the aircraft"),
        key(
            "was",
            "[\"old name\"]",
            "what you called it before, so that its recordings go on",
        ),
        key("note", "\"second airframe\"", "anything worth remembering"),
    ],
};

pub(super) static SERVO_TYPE: Kind = Kind {
    title: "[[servo_type]]",
    keys: &[
        key(
            "name",
            "\"metal gear, 21 kg·cm\"",
            "what [[servo]] calls this kind by",
        ),
        key(
            "stall_torque_ncm",
            "210",
            "stall torque from the data sheet, N·cm (1 kg·cm is 9.81 N·cm)",
        ),
        key(
            "stall_voltage_v",
            "7.4",
            "the voltage that the stall torque holds at, V",
        ),
        key(
            "arm_deg_per_us",
            "0.09",
            "arm angle per µs of pulse, degrees",
        ),
        key(
            "speed_s_per_60deg",
            "0.11",
            "time for 60° of the arm from the data sheet, s",
        ),
        key(
            "speed_voltage_v",
            "7.4",
            "the voltage that the speed holds at, V",
        ),
        key(
            "dead_band_us",
            "3",
            "smallest change of the pulse that it answers, from the data sheet, µs",
        ),
    ],
};

pub(super) static SERVO: Kind = Kind {
    title: "[[servo]]",
    keys: &[
        key("tag", "\"E1\"", "the mark on this one servo"),
        key(
            "type",
            "\"metal gear, 21 kg·cm\"",
            "the name of a [[servo_type]]",
        ),
        key("fitted", "2026-04-02", "the day it was fitted"),
        key(
            "calibration",
            "\"E1.calibration.toml\"",
            "its calibration file, beside aircraft.toml",
        ),
        key("lead", "[servo.lead]", "the copper of its lead"),
    ],
};

pub(super) static LEAD: Kind = Kind {
    title: "[servo.lead]",
    keys: &[
        key(
            "length_mm",
            "650",
            "from the supply's end to the servo's plug, one way, mm",
        ),
        key("awg", "22", "the wire's gauge number"),
        key(
            "area_mm2",
            "0.33",
            "instead of awg: the copper of one conductor, mm²",
        ),
        key(
            "connections",
            "1",
            "plugs and sockets along it, each passed there and back",
        ),
    ],
};

pub(super) static SUPPLY: Kind = Kind {
    title: "[supply]",
    keys: &[
        key(
            "open_v",
            "7.4",
            "voltage that feeds the servos with nothing drawn (the regulator's, where there is one), V",
        ),
        key(
            "internal_mohm",
            "25",
            "resistance of pack or regulator, as its maker or charger says, mΩ",
        ),
        key("pack_mah", "2600", "the pack's capacity, mAh"),
        key(
            "pack_c",
            "20",
            "the pack's continuous rating, as so many times its capacity an hour",
        ),
        key("regulator_a", "10", "the regulator's continuous rating, A"),
        key("regulator_peak_a", "20", "the regulator's peak rating, A"),
        key(
            "connector_a",
            "10",
            "rating of the connector or switch that all current passes, A",
        ),
        key(
            "least_v",
            "5.0",
            "lowest voltage at a plug that the servos' maker allows, V",
        ),
        key(
            "other_ma",
            "150",
            "what receiver, gyros and the like draw from the same supply, mA",
        ),
        key(
            "moving",
            "[\"left elevator\", \"rudder\"]",
            "the surfaces that move at once",
        ),
        key(
            "moving_at_once",
            "4",
            "instead of moving: how many surfaces, the worst of all",
        ),
        key("lead", "[supply.lead]", "the copper that all servos share"),
    ],
};

pub(super) static SURFACE: Kind = Kind {
    title: "[[surface]]",
    keys: &[
        key("name", "\"left elevator\"", "what you call the surface"),
        key(
            "was",
            "[\"old name\"]",
            "what you called it before, so that its history goes on",
        ),
        key("servo", "\"E1\"", "the tag of the [[servo]] that drives it"),
        key(
            "servos",
            "[\"E1\", \"E2\"]",
            "instead of servo: the tags of two that drive it together",
        ),
        key(
            "pair",
            "\"right elevator\"",
            "the name of the surface it is compared with",
        ),
        key(
            "chord_mm",
            "58.0",
            "hinge line to trailing edge, where the throw is measured, mm",
        ),
        key(
            "throw_as",
            "\"straight\"",
            "how the throw is measured: \"straight\" or \"square\"",
        ),
        key(
            "throws",
            "[ { name = \"up\", up_mm = 24.0, tolerance_mm = 1.0 } ]",
            "the throws it must reach",
        ),
        key(
            "linkage",
            "[surface.linkage]",
            "arm, horn, rod and base of its linkage",
        ),
        key("air", "[surface.air]", "what the flight load needs"),
        key(
            "angle",
            "[surface.angle]",
            "what its angle sensor reads, calibrated",
        ),
    ],
};

pub(super) static THROW: Kind = Kind {
    title: "throws",
    keys: &[
        key("name", "\"up\"", "what you call this throw"),
        key("up_mm", "24.0", "how far up, mm"),
        key("down_mm", "22.0", "how far down, mm"),
        key("left_mm", "30.0", "how far left, mm"),
        key("right_mm", "30.0", "how far right, mm"),
        key("up_deg", "24.0", "how far up, degrees"),
        key("down_deg", "22.0", "how far down, degrees"),
        key("left_deg", "30.0", "how far left, degrees"),
        key("right_deg", "30.0", "how far right, degrees"),
        key(
            "tolerance_mm",
            "1.0",
            "how far off it may be, mm at the trailing edge",
        ),
    ],
};

pub(super) static LINKAGE: Kind = Kind {
    title: "[surface.linkage]",
    keys: &[
        key("arm_mm", "18", "servo arm: output shaft to rod, mm"),
        key("horn_mm", "22", "control horn: hinge line to rod, mm"),
        key("rod_mm", "95", "rod length, hole to hole, mm"),
        key("base_mm", "97", "output shaft to hinge line, mm"),
        key(
            "arm_zero_deg",
            "0",
            "arm at neutral pulse, away from square to the shaft-to-hinge line, degrees",
        ),
        key(
            "tolerance_mm",
            "0.5",
            "how far off the lengths of arm and horn may be, mm",
        ),
        key(
            "arm_holes_mm",
            "[12, 14, 16]",
            "all holes of the arm: output shaft to hole, mm",
        ),
        key(
            "horn_holes_mm",
            "[20, 23, 26]",
            "all holes of the horn: hinge line to hole, mm",
        ),
    ],
};

pub(super) static AIR: Kind = Kind {
    title: "[surface.air]",
    keys: &[
        key(
            "span_mm",
            "340",
            "length of the surface along its hinge, mm",
        ),
        key("wing_chord_mm", "190", "whole chord, surface included, mm"),
        key("fastest_m_s", "85", "highest airspeed, m/s"),
    ],
};

pub(super) static ANGLE: Kind = Kind {
    title: "[surface.angle]",
    keys: &[
        key(
            "scale",
            "1.02",
            "deflection in degrees a degree read; below 0 where the sensor runs the other way",
        ),
        key(
            "zero_deg",
            "0.8",
            "what the sensor reads at neutral, degrees",
        ),
        key(
            "covariance",
            "[[4e-6, 0.0], [0.0, 0.01]]",
            "2×2, in the order scale, zero",
        ),
        key("made", "2026-04-02", "the day of the calibration"),
    ],
};

pub(super) static LIMITS: Kind = Kind {
    title: "[limits]",
    keys: &[
        key(
            "share_of_stall",
            "0.30",
            "highest torque on the bench, as a share of stall torque (0.30 is 30 %)",
        ),
        key("slop_deg", "0.5", "slop, degrees at the surface"),
        key(
            "pair_difference",
            "0.25",
            "difference between a surface and its pair, as a share (0.25 is 25 %)",
        ),
        key(
            "stiffening_ratio",
            "1.5",
            "slope beyond a knee over slope before it",
        ),
        key(
            "friction_share_of_stall",
            "0.10",
            "hinge and linkage friction, as a share of stall torque (0.10 is 10 %)",
        ),
        key(
            "tight_spot_ncm",
            "3.0",
            "smallest local rise of friction worth a finding, N·cm",
        ),
        key(
            "hold_current_ma",
            "400",
            "steady current at neutral and at full throw, mA",
        ),
    ],
};

pub(super) static TRIP: Kind = Kind {
    title: "[trip]",
    keys: &[
        key("current_ma", "2500", "highest supply current, mA"),
        key("supply_v", "5.5", "lowest supply voltage, V"),
        key("case_c", "70", "hottest servo case, °C"),
        key("pulse_lo_us", "900", "shortest pulse, µs"),
        key("pulse_hi_us", "2100", "longest pulse, µs"),
        key("stall_ms", "500", "longest stall, ms"),
    ],
};

pub(super) static CALIBRATION_TOP: Kind = Kind {
    title: "the file",
    keys: &[
        key("servo", "[servo]", "which servo was calibrated, and when"),
        key("power_balance", "[power_balance]", "the four numbers found"),
    ],
};

pub(super) static CALIBRATED_SERVO: Kind = Kind {
    title: "[servo]",
    keys: &[
        key(
            "tag",
            "\"E1\"",
            "the mark on the servo, as in aircraft.toml",
        ),
        key("made", "2026-04-02", "the day of the calibration"),
        key(
            "reference_c",
            "20.0",
            "copper temperature that the winding loss holds at, °C",
        ),
    ],
};

pub(super) static POWER_BALANCE: Kind = Kind {
    title: "[power_balance]",
    keys: &[
        key("idle_w", "0.21", "power of the electronics at rest, W"),
        key(
            "winding_w_per_nm2",
            "8.4",
            "winding loss per squared shaft torque, W/(N·m)²",
        ),
        key("friction_nm", "0.06", "the servo's own friction, N·m"),
        key("gear_loss", "0.18", "load-dependent gear loss, as a share"),
        key(
            "covariance",
            "[[…], […], […], […]]",
            "4×4, in the order idle, winding, friction, gear loss",
        ),
    ],
};

/// Every table of an aircraft file, for telling where a misplaced key belongs.
pub(super) static AIRCRAFT_FILE: &[&Kind] = &[
    &AIRCRAFT,
    &SERVO_TYPE,
    &SERVO,
    &LEAD,
    &SUPPLY,
    &SURFACE,
    &THROW,
    &LINKAGE,
    &AIR,
    &ANGLE,
    &LIMITS,
    &TRIP,
];

/// Every table of a calibration file.
pub(super) static CALIBRATION_FILE: &[&Kind] = &[&CALIBRATED_SERVO, &POWER_BALANCE];
