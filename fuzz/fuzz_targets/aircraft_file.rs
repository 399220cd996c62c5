//! Any text, as an aircraft file and as the calibration it names: no panic, and every problem has a remedy.
#![no_main]

use hingewright::aircraft::{NamedText, parse};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let as_aircraft = parse(text, "aircraft.toml", |file| {
        Ok(NamedText {
            file_name: file.to_owned(),
            text: text.to_owned(),
        })
    });
    if let Err(problem) = as_aircraft {
        assert!(problem.hint.is_some(), "{problem}");
    }
    let names_it = "[aircraft]\nname = \"Dunlin\"\n[[servo_type]]\nname = \"t\"\nstall_torque_ncm = 1\n\
                    stall_voltage_v = 1\n[[servo]]\ntag = \"E1\"\ntype = \"t\"\ncalibration = \"E1\"\n\
                    [[surface]]\nname = \"s\"\nservo = \"E1\"\nchord_mm = 1\nthrows = []\n";
    let as_calibration = parse(names_it, "aircraft.toml", |file| {
        Ok(NamedText {
            file_name: file.to_owned(),
            text: text.to_owned(),
        })
    });
    if let Err(problem) = as_calibration {
        assert!(problem.hint.is_some(), "{problem}");
    }
});
