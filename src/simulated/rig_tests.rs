//! The rig on a time of the tests' own making: every safety rule and every fault, without a wait.

use proptest::prelude::*;

use super::super::host_line::{CommandName, host_line};
use super::*;
use crate::simulated::{Hinge, StiffBeyond};

/// A rig, a host's hand and a clock.
struct Bench {
    rig: SimulatedRig,
    now_s: f64,
    said: Vec<(f64, String)>,
}

impl Bench {
    fn with(scenario: &Scenario, faults: Faults) -> Self {
        Self::running(scenario, RigSettings::default(), faults)
    }

    fn running(scenario: &Scenario, settings: RigSettings, faults: Faults) -> Self {
        let mut bench = Self {
            rig: SimulatedRig::new(scenario, settings, faults, 1),
            now_s: 0.0,
            said: Vec::new(),
        };
        bench.gather();
        bench
    }

    fn new() -> Self {
        Self::with(&Scenario::default(), Faults::default())
    }

    fn gather(&mut self) {
        for line in self.rig.take_lines() {
            if line.kind != Kind::Noise {
                let text = String::from_utf8(line.bytes).expect("a line is ASCII");
                assert!(text.len() <= 200, "{text}");
                let payload = text.rsplit_once('*').expect("a line has its checksum").0;
                self.said.push((self.now_s, payload.to_owned()));
            }
        }
    }

    /// Sends a payload and lets a millisecond pass.
    fn say(&mut self, payload: &str) {
        self.rig.hear(self.now_s, &host_line(payload));
        self.wait(0.001);
    }

    /// Lets time pass without a word of the host's.
    fn wait(&mut self, seconds: f64) {
        let until_s = self.now_s + seconds;
        while self.now_s < until_s - 1e-9 {
            self.now_s = (self.now_s + 0.001).min(until_s);
            self.rig.pass(self.now_s);
            self.gather();
        }
    }

    /// Lets time pass with a heartbeat.
    fn hold(&mut self, seconds: f64) {
        let until_s = self.now_s + seconds;
        while self.now_s < until_s - 1e-9 {
            self.rig.hear(self.now_s, &host_line("ALIVE"));
            self.wait(0.1_f64.min(until_s - self.now_s));
        }
    }

    fn armed() -> Self {
        let mut bench = Self::new();
        bench.arm();
        bench
    }

    fn arm(&mut self) {
        self.say("ARM,1");
        assert!(self.heard("OK,1"), "{:?}", self.words());
    }

    fn heard(&self, payload: &str) -> bool {
        self.said.iter().any(|(_, said)| said == payload)
    }

    /// Everything but samples.
    fn words(&self) -> Vec<&str> {
        let words = self.said.iter().map(|(_, said)| said.as_str());
        words.filter(|said| !said.starts_with("S,")).collect()
    }

    /// When an event's code and detail first began so, and the rest of it.
    fn event(&self, begins: &str) -> Option<(f64, String)> {
        self.said.iter().find_map(|(when, said)| {
            let (_, rest) = said.strip_prefix("EV,")?.split_once(',')?;
            Some((*when, rest.strip_prefix(begins)?.to_owned()))
        })
    }

    /// The fields of all samples: seq, clock, values.
    fn samples(&self) -> Vec<Vec<String>> {
        let samples = self
            .said
            .iter()
            .filter_map(|(_, said)| said.strip_prefix("S,"));
        samples
            .map(|said| said.split(',').map(str::to_owned).collect())
            .collect()
    }

    /// The last sample's value of a channel of the default scenario.
    fn last(&self, at: usize) -> String {
        self.samples().last().expect("a sample was taken")[2 + at].clone()
    }
}

const PULSE: usize = 0;
const ANGLE: usize = 1;

/// A deflection that no servo of the default can reach: a wall.
fn walled() -> Scenario {
    let mut scenario = Scenario::default();
    scenario.plant.hinge = Hinge {
        stop_up: Some(StiffBeyond {
            at_deg: 5.0,
            extra_ncm_per_deg: 500.0,
        }),
        ..Hinge::default()
    };
    scenario
}

#[test]
fn a_rig_says_who_it_is_at_its_start_and_when_asked() {
    let mut bench = Bench::new();
    let identity = "RIG,1,bench-sim,sim-1,driven,200,pulse_us,angle_deg,arm_deg,current_ma,supply_v,torque_ncm";
    assert_eq!(bench.words(), [identity]);
    bench.say("ASK,77");
    assert_eq!(bench.words(), [identity, identity, "OK,77"]);
}

#[test]
fn a_disarmed_rig_gives_no_pulse_and_refuses_to_move() {
    let mut bench = Bench::new();
    bench.wait(0.5);
    bench.say("GO,3,1600,0");
    bench.wait(0.5);
    assert!(bench.heard("NO,3,not-armed"));
    assert!(bench.samples().iter().all(|sample| sample[2].is_empty()));
    assert_eq!(bench.samples().len(), 200);
    assert!(bench.last(ANGLE).parse::<f64>().unwrap().abs() < 0.3);
}

#[test]
fn arming_starts_in_the_middle_and_again_at_the_last_commanded_pulse() {
    let mut bench = Bench::new();
    bench.say("LIMIT,2,pulse_lo_us=1200,pulse_hi_us=1700");
    bench.arm();
    bench.hold(0.2);
    assert_eq!(bench.last(PULSE), "1450");
    bench.say("GO,4,1600,0");
    bench.hold(0.1);
    bench.say("DISARM,5");
    bench.wait(0.1);
    assert_eq!(bench.last(PULSE), "");
    assert_eq!(
        bench.event("disarmed").map(|(_, rest)| rest),
        Some(String::new())
    );
    bench.say("ARM,6");
    bench.hold(0.1);
    assert_eq!(bench.last(PULSE), "1600");
    bench.say("DISARM,7");
    bench.say("LIMIT,8,pulse_hi_us=1500");
    bench.say("ARM,9");
    bench.hold(0.1);
    // 1600 µs is outside now: the middle of 1200 … 1500.
    assert_eq!(bench.last(PULSE), "1350");
}

#[test]
fn a_move_takes_its_time_and_tells_when_it_is_there() {
    let mut bench = Bench::armed();
    bench.hold(0.3);
    let asked_s = bench.now_s;
    bench.say("GO,2,1700,400");
    bench.hold(0.7);
    let (when, detail) = bench.event("arrived,").expect("it arrives");
    assert_eq!(detail, "1700");
    assert!((when - asked_s - 0.5).abs() < 0.005, "{}", when - asked_s);
    assert_eq!(bench.last(PULSE), "1700");
    bench.said.clear();
    bench.say("GO,3,1650.25,0");
    bench.hold(0.02);
    assert_eq!(
        bench.event("arrived,").map(|(_, pulse)| pulse),
        Some("1650.3".into())
    );
}

#[test]
fn a_new_move_replaces_the_one_under_way() {
    let mut bench = Bench::armed();
    bench.say("GO,2,1800,300");
    bench.hold(0.3);
    bench.say("GO,3,1500,1000");
    bench.hold(1.0);
    let arrived: Vec<&str> = bench
        .words()
        .into_iter()
        .filter(|said| said.contains("arrived"))
        .collect();
    assert_eq!(arrived.len(), 1);
    assert!(arrived[0].ends_with("arrived,1500"));
}

#[test]
fn a_pulse_outside_the_limits_is_refused_and_changes_nothing() {
    let mut bench = Bench::armed();
    for (id, pulse) in [(2, "899.9"), (3, "2100.5"), (4, "-1500"), (5, "99999999")] {
        bench.say(&format!("GO,{id},{pulse},0"));
        assert!(bench.heard(&format!("NO,{id},outside-limits")), "{pulse}");
    }
    bench.hold(0.1);
    assert_eq!(bench.last(PULSE), "1500");
    assert!(bench.rig.armed());
}

#[test]
fn limits_are_set_while_disarmed_alone_and_whole_or_not_at_all() {
    let mut bench = Bench::new();
    for (id, pairs, answer) in [
        (
            1,
            "current_ma=1500,case_c=55,supply_v=5.5,stall_ms=200",
            "OK,1",
        ),
        (2, "pulse_lo_us=1300,depth_mm=3", "NO,2,unknown-limit"),
        (3, "current_ma=-4", "NO,3,senseless-number"),
        (
            4,
            "pulse_lo_us=1600,pulse_hi_us=1400",
            "NO,4,senseless-number",
        ),
        (5, "pulse_hi_us=9000", "NO,5,senseless-number"),
        (6, "case_c=hot", "NO,6,no-number"),
        (7, "case_c", "NO,7,wrong-number-of-fields"),
        (8, "pulse_lo_us=1350,pulse_hi_us=1640", "OK,8"),
    ] {
        bench.say(&format!("LIMIT,{id},{pairs}"));
        assert!(bench.heard(answer), "{pairs}: {:?}", bench.words());
    }
    assert_eq!(
        bench.rig.limits,
        Limits {
            current_ma: 1500.0,
            case_c: 55.0,
            supply_v: 5.5,
            pulse_lo_us: 1350.0,
            pulse_hi_us: 1640.0,
            stall_ms: 200.0
        }
    );
    bench.arm();
    bench.say("LIMIT,9,current_ma=9000");
    assert!(bench.heard("NO,9,armed"));
}

#[test]
fn a_rig_in_no_sane_state_is_not_armed() {
    let mut cold = Bench::new();
    cold.say("LIMIT,1,supply_v=7.6");
    cold.say("ARM,2");
    assert!(cold.heard("NO,2,under-voltage"));
    cold.say("LIMIT,3,supply_v=5,case_c=20");
    cold.say("ARM,4");
    assert!(cold.heard("NO,4,over-temperature"));
    cold.say("LIMIT,5,case_c=60,current_ma=5");
    cold.say("ARM,6");
    assert!(cold.heard("NO,6,over-current"));
    assert!(!cold.rig.armed() && cold.event("armed").is_none());
}

#[test]
fn a_rig_that_hears_nothing_for_half_a_second_disarms_itself() {
    let mut bench = Bench::armed();
    bench.hold(3.0);
    assert!(bench.rig.armed());
    let last_heard_s = bench.now_s - 0.1;
    bench.wait(0.6);
    let (when, ms) = bench.event("host-lost,").expect("the host is missed");
    assert!(
        (when - last_heard_s - 0.5).abs() < 0.003,
        "{}",
        when - last_heard_s
    );
    assert!((499..=503).contains(&ms.parse::<u32>().unwrap()), "{ms}");
    bench.wait(0.05);
    assert_eq!(bench.last(PULSE), "");
    let notes = bench.rig.take_notes();
    let disarmed = notes.last().expect("it is noted");
    assert_eq!(
        (disarmed.what, disarmed.reason.as_deref()),
        ("disarmed", Some("host-lost"))
    );
    assert!(disarmed.wall_s - disarmed.last_pulse_wall_s.unwrap() < 0.002);
}

#[test]
fn damaged_lines_are_told_and_do_not_count_as_a_host() {
    let mut bench = Bench::armed();
    for _ in 0..7 {
        bench.rig.hear(bench.now_s, b"ALIVE*0000\n");
        bench.wait(0.1);
    }
    assert!(bench.event("bad-line").is_some());
    assert!(bench.event("host-lost").is_some());
    let mut other = Bench::armed();
    other.rig.hear(other.now_s, b"\xff\x00GO,1\n");
    other.hold(0.3);
    assert!(other.rig.armed() && other.event("bad-line").is_some());
}

#[test]
fn too_much_current_is_borne_for_fifty_milliseconds_and_no_longer() {
    let mut bench = Bench::with(&walled(), Faults::default());
    bench.say("LIMIT,9,current_ma=2000,stall_ms=5000");
    bench.arm();
    bench.hold(0.3);
    bench.say("GO,2,2000,0");
    bench.hold(0.8);
    let (_, ma) = bench.event("over-current,").expect("it trips");
    assert!(ma.parse::<f64>().unwrap() > 2000.0, "{ma}");
    let over = bench
        .samples()
        .iter()
        .filter(|sample| sample[5].parse::<f64>().unwrap_or(0.0) > 2000.0)
        .count();
    // 50 ms are ten samples; the filter ahead of the reading takes and gives a few.
    assert!((6..=16).contains(&over), "{over}");
    assert!(!bench.rig.armed());
    bench.say("GO,3,1500,0");
    assert!(bench.heard("NO,3,not-armed"));
}

#[test]
fn a_surface_that_stands_against_a_wall_is_stalled() {
    let mut bench = Bench::with(&walled(), Faults::default());
    bench.say("LIMIT,9,current_ma=9000,stall_ms=400");
    bench.arm();
    bench.hold(0.3);
    bench.say("GO,2,2000,0");
    bench.hold(1.5);
    assert_eq!(
        bench.event("stalled,").map(|(_, pulse)| pulse),
        Some("2000".into())
    );
}

#[test]
fn a_case_that_grows_too_warm_disarms_the_rig() {
    let mut bench = Bench::with(&walled(), Faults::default());
    // The case begins 2 K above the room's 21 °C. 0.3 W and more into 40 J/K.
    bench.say("LIMIT,9,case_c=23.2,current_ma=9000,stall_ms=60000");
    bench.arm();
    bench.say("GO,2,1700,0");
    for _ in 0..20 {
        bench.hold(1.0);
    }
    let (_, c) = bench.event("over-temperature,").expect("it warms");
    assert_eq!(c, "23.2");
}

#[test]
fn a_passive_rig_answers_ask_alone_while_a_hand_moves_the_surface() {
    let scenario = Scenario {
        programme: Programme::Hand(ByHand::default()),
        channels: vec![Channel::AngleDeg, Channel::TorqueNcm],
        ..Scenario::default()
    };
    let mut bench = Bench::with(&scenario, Faults::default());
    for (id, command) in ["LIMIT,1,case_c=50", "ARM,2", "GO,3,1500,0", "DISARM,4"]
        .iter()
        .enumerate()
    {
        bench.say(command);
        assert!(bench.heard(&format!("NO,{},passive", id + 1)), "{command}");
    }
    bench.say("ASK,5");
    assert!(
        bench.heard("RIG,1,bench-sim,sim-1,passive,200,angle_deg,torque_ncm")
            && bench.heard("OK,5")
    );
    bench.wait(60.0);
    let angles: Vec<f64> = bench
        .samples()
        .iter()
        .map(|sample| sample[2].parse().unwrap())
        .collect();
    let (low, high) = angles
        .iter()
        .fold((0.0_f64, 0.0_f64), |(low, high), angle| {
            (low.min(*angle), high.max(*angle))
        });
    assert!(low < -22.0 && high > 22.0, "{low} {high}");
    // It goes on for as long as it runs: still moving in the last ten seconds.
    let late = &angles[angles.len() - 2000..];
    assert!(late.iter().any(|angle| (angle - late[0]).abs() > 5.0));
}

#[test]
fn the_count_and_the_clock_wrap() {
    let scenario = Scenario {
        first_seq: 65_530,
        clock_start_us: u32::MAX - 20_000,
        ..Scenario::default()
    };
    let mut bench = Bench::with(&scenario, Faults::default());
    bench.wait(0.1);
    let seqs: Vec<String> = bench
        .samples()
        .iter()
        .take(8)
        .map(|sample| sample[0].clone())
        .collect();
    assert_eq!(
        seqs,
        [
            "65530", "65531", "65532", "65533", "65534", "65535", "0", "1"
        ]
    );
    let clocks: Vec<u32> = bench
        .samples()
        .iter()
        .map(|sample| sample[1].parse().unwrap())
        .collect();
    assert!(
        clocks
            .windows(2)
            .all(|pair| pair[1].wrapping_sub(pair[0]) == 5000)
    );
    assert!(clocks.windows(2).any(|pair| pair[1] < pair[0]));
}

#[test]
fn a_fast_rig_keeps_the_host_s_time_by_the_wall() {
    let settings = RigSettings {
        fast: 20.0,
        ..RigSettings::default()
    };
    let mut bench = Bench::running(&Scenario::default(), settings, Faults::default());
    bench.arm();
    bench.hold(1.0);
    let taken = bench.samples().len();
    assert!((3990..=4010).contains(&(taken - 4)), "{taken}");
    let last_heard_s = bench.now_s - 0.1;
    bench.wait(0.6);
    let (when, _) = bench.event("host-lost,").expect("the host is missed");
    assert!((when - last_heard_s - 0.5).abs() < 0.003);
}

#[test]
fn a_restart_is_silent_then_begins_anew_disarmed_with_its_own_limits() {
    let faults = Faults {
        from_arming: true,
        restart_after_s: Some(0.5),
        boot_noise: true,
        ..Faults::default()
    };
    let mut bench = Bench::with(&Scenario::default(), faults);
    bench.say("LIMIT,1,current_ma=1234");
    bench.wait(1.0);
    bench.arm();
    bench.hold(0.6);
    bench.said.clear();
    bench.hold(1.3);
    assert!(bench.said.is_empty(), "silent while it boots");
    bench.hold(0.3);
    let words = bench.words();
    assert!(words[0].starts_with("RIG,1,"), "{words:?}");
    assert_eq!(bench.samples()[0][0], "0");
    let clock: u32 = bench.samples()[0][1].parse().unwrap();
    assert!(clock < Scenario::default().clock_start_us + 10_000);
    assert_eq!(
        (bench.rig.armed(), bench.rig.limits),
        (false, Limits::default())
    );
    assert!(bench.samples().iter().all(|sample| sample[2].is_empty()));
    bench.say("GO,8,1500,0");
    assert!(bench.heard("NO,8,not-armed"));
}

#[test]
fn a_board_that_resets_when_opened_boots_at_each_opening() {
    let faults = Faults {
        reset_on_open: true,
        ..Faults::default()
    };
    let mut bench = Bench::with(&Scenario::default(), faults);
    for _ in 0..2 {
        bench.wait(0.5);
        bench.said.clear();
        bench.rig.opened(bench.now_s);
        bench.say("ASK,1");
        bench.wait(1.4);
        assert!(bench.said.is_empty());
        bench.wait(0.2);
        assert!(bench.words()[0].starts_with("RIG,") && !bench.heard("OK,1"));
    }
}

/// (fault, what the rig tells, whether it is disarmed by it)
#[test]
fn each_fault_of_the_plant_is_noticed_and_disarms() {
    let at = Some(1.0);
    let cases = [
        (
            Faults {
                stall_after_s: at,
                ..Faults::default()
            },
            "stalled,",
        ),
        (
            Faults {
                brown_out_after_s: at,
                ..Faults::default()
            },
            "under-voltage,",
        ),
        (
            Faults {
                over_current_after_s: at,
                ..Faults::default()
            },
            "over-current,",
        ),
        (
            Faults {
                sensor_fault_after: Some((1.0, Channel::AngleDeg)),
                ..Faults::default()
            },
            "sensor-fault,",
        ),
        (
            Faults {
                sensor_fault_after: Some((1.0, Channel::SupplyV)),
                ..Faults::default()
            },
            "sensor-fault,supply_v",
        ),
    ];
    for (faults, code) in cases {
        for limit_ma in ["4000", "800"] {
            let mut bench = Bench::with(
                &Scenario::default(),
                Faults {
                    from_arming: true,
                    ..faults.clone()
                },
            );
            bench.say(&format!("LIMIT,8,current_ma={limit_ma}"));
            bench.wait(0.7);
            bench.say("ARM,1");
            bench.hold(0.5);
            bench.say("GO,2,1650,400");
            bench.hold(0.45);
            assert!(bench.rig.armed(), "{code} too early: {:?}", bench.words());
            for (id, pulse) in [(3, 1300), (4, 1700), (5, 1300)] {
                bench.say(&format!("GO,{id},{pulse},400"));
                bench.hold(1.0);
            }
            assert!(bench.event(code).is_some(), "{code}: {:?}", bench.words());
            assert!(!bench.rig.armed(), "{code}");
            assert_eq!(bench.last(PULSE), "");
        }
    }
}

#[test]
fn a_rig_without_its_sensor_is_not_armed_again() {
    let faults = Faults {
        sensor_fault_after: Some((0.1, Channel::TorqueNcm)),
        ..Faults::default()
    };
    let mut bench = Bench::with(&Scenario::default(), faults);
    bench.wait(0.3);
    assert_eq!(
        bench.event("sensor-fault,").map(|(_, channel)| channel),
        Some("torque_ncm".into())
    );
    assert_eq!(bench.last(5), "");
    bench.say("ARM,1");
    assert!(bench.heard("NO,1,sensor-fault"));
}

#[test]
fn a_silent_rig_still_hears_and_still_disarms() {
    let faults = Faults {
        from_arming: true,
        silent_after_s: Some(0.2),
        ..Faults::default()
    };
    let mut bench = Bench::with(&Scenario::default(), faults);
    bench.arm();
    bench.hold(0.3);
    bench.said.clear();
    bench.hold(1.0);
    assert!(bench.said.is_empty() && bench.rig.armed());
    bench.wait(0.6);
    assert!(bench.said.is_empty() && !bench.rig.armed());
}

#[test]
fn a_pulled_cable_leaves_an_armed_rig_that_misses_its_host() {
    let faults = Faults {
        from_arming: true,
        unplug_after_s: Some(0.3),
        ..Faults::default()
    };
    let mut bench = Bench::with(&Scenario::default(), faults);
    bench.arm();
    bench.hold(0.4);
    assert!(bench.rig.unplugged() && bench.rig.armed());
    bench.said.clear();
    bench.hold(0.6);
    assert!(!bench.rig.armed() && bench.said.is_empty());
    assert_eq!(
        bench.rig.take_notes().last().unwrap().reason.as_deref(),
        Some("host-lost")
    );
}

#[test]
fn late_answers_come_late_in_order_and_events_do_not() {
    let faults = Faults {
        late_ms: 700.0,
        ..Faults::default()
    };
    let mut bench = Bench::with(&Scenario::default(), faults);
    bench.say("ARM,1");
    bench.say("ASK,2");
    let asked_s = bench.now_s;
    bench.hold(1.0);
    assert!(bench.event("armed").unwrap().0 < 0.01);
    let when = |text: &str| bench.said.iter().find(|(_, said)| said == text).unwrap().0;
    assert!((when("OK,2") - asked_s - 0.7).abs() < 0.004);
    assert!(when("OK,1") <= when("OK,2"));
}

#[test]
fn a_rig_can_lie_about_its_rate_and_refuse_a_command() {
    let faults = Faults {
        states_rate_hz: Some(50.0),
        refuse: vec![CommandName::Arm],
        ..Faults::default()
    };
    let mut bench = Bench::with(&Scenario::default(), faults);
    assert!(bench.words()[0].starts_with("RIG,1,bench-sim,sim-1,driven,50,"));
    bench.say("ARM,1");
    assert!(bench.heard("NO,1,refused") && !bench.rig.armed());
    bench.wait(1.0);
    assert_eq!(bench.samples().len(), 200);
}

#[test]
fn a_rig_left_alone_for_long_catches_up_a_second_at_most() {
    let mut bench = Bench::new();
    bench.rig.pass(30.0);
    bench.gather();
    assert_eq!(bench.samples().len(), 200);
}

/// What a careless or broken host might send.
fn anything() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        prop::collection::vec(any::<u8>(), 0..60),
        "[A-Z]{2,6},[0-9]{0,6},[0-9.+=a-z_-]{0,12}(,[0-9.-]{0,8})?"
            .prop_map(|text| host_line(&text)),
        (0..9_u16, 400..2600_i32, 0..4000_i32)
            .prop_map(|(id, pulse, rate)| host_line(&format!("GO,{id},{pulse},{rate}"))),
        (400..2600_i32, 400..2600_i32)
            .prop_map(|(lo, hi)| host_line(&format!("LIMIT,1,pulse_lo_us={lo},pulse_hi_us={hi}"))),
        Just(host_line("ARM,2")),
        Just(host_line("DISARM,3")),
        Just(host_line("ALIVE")),
        Just(host_line("ASK,4")),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn whatever_arrives_no_pulse_comes_before_arming_nor_outside_the_limits(
        course in prop::collection::vec((anything(), 0.0..0.2_f64), 1..40),
    ) {
        let mut rig = SimulatedRig::new(&Scenario::default(), RigSettings::default(), Faults::default(), 1);
        let (mut now_s, mut ever_armed) = (0.0, false);
        for (bytes, pause_s) in course {
            rig.hear(now_s, &bytes);
            now_s += pause_s;
            rig.pass(now_s);
            for line in rig.take_lines() {
                let text = String::from_utf8(line.bytes).unwrap();
                let fields: Vec<&str> = text.split([',', '*']).collect();
                if fields[0] == "EV" {
                    ever_armed |= fields[2] == "armed";
                } else if fields[0] == "S" && !fields[3].is_empty() {
                    let pulse: f64 = fields[3].parse().unwrap();
                    prop_assert!(ever_armed);
                    prop_assert!((SHORTEST_US..=LONGEST_US).contains(&pulse));
                    // Limits change while disarmed alone, so those of now were those of this sample, or it is disarmed since.
                    prop_assert!(!rig.armed() || rig.limits.allow(pulse), "{pulse} {:?}", rig.limits);
                }
            }
        }
    }
}
