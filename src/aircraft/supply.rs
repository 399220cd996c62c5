//! `[supply]` and `[servo.lead]`: what feeds the servos, and the copper on the way to each. Reading alone: what copper has
//! and what a load comes to is worked out elsewhere.

use toml::de::DeValue;

use super::bound::Bound;
use super::keys;
use super::section::Section;
use super::surface::{Names, look_up_text};

/// How thick the copper of one conductor is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Gauge {
    /// American wire gauge.
    Awg(f64),
    /// mm².
    Area(f64),
}

/// One piece of a lead, two conductors of the same wire.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece {
    /// One way.
    pub length_mm: f64,
    pub gauge: Gauge,
    /// Plugs and sockets along it, each passed there and back.
    pub connections: u32,
}

/// What feeds all servos together, as far as the file says.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Supply {
    /// With nothing drawn, V: the pack's, or the regulator's output.
    pub open_v: Option<f64>,
    /// Of pack or regulator, mΩ.
    pub internal_mohm: Option<f64>,
    pub pack_mah: Option<f64>,
    /// Continuous, times the capacity an hour.
    pub pack_c: Option<f64>,
    pub regulator_a: Option<f64>,
    pub regulator_peak_a: Option<f64>,
    pub connector_a: Option<f64>,
    /// At a plug, V.
    pub least_v: Option<f64>,
    /// What is no servo, mA.
    pub other_ma: Option<f64>,
    /// Indices of the surfaces that move at once.
    pub moving: Option<Vec<usize>>,
    /// How many move at once, the worst of all.
    pub moving_at_once: Option<usize>,
    /// What all servos share.
    pub lead: Vec<Piece>,
}

pub(super) fn read(section: &Section, surface_names: &Names) -> Supply {
    let number = |key, low, high| section.number(key, Bound::Within(low, high));
    let supply = Supply {
        open_v: number("open_v", 1.0, 100.0),
        internal_mohm: number("internal_mohm", 0.0, 2000.0),
        pack_mah: number("pack_mah", 10.0, 1e6),
        pack_c: number("pack_c", 0.1, 500.0),
        regulator_a: number("regulator_a", 0.1, 1000.0),
        regulator_peak_a: number("regulator_peak_a", 0.1, 1000.0),
        connector_a: number("connector_a", 0.1, 1000.0),
        least_v: number("least_v", 0.5, 100.0),
        other_ma: number("other_ma", 0.0, 100_000.0),
        moving: read_moving(section, surface_names),
        moving_at_once: whole(section, "moving_at_once", 1.0, 1000.0),
        lead: read_lead(section),
    };
    if section.has("moving") && section.has("moving_at_once") {
        section.fault(
            "moving_at_once",
            "there is moving and moving_at_once as well",
            "leave one of them out: moving names the surfaces, moving_at_once says how many of the worst",
        );
    }
    if let Some(at_once) = supply.moving_at_once.filter(|n| *n > surface_names.len()) {
        section.fault(
            "moving_at_once",
            &format!(
                "moving_at_once = {at_once} is more than all surfaces, which are {}",
                surface_names.len()
            ),
            &format!("write a number from 1 to {}", surface_names.len()),
        );
    }
    if let (Some(open_v), Some(least_v)) = (supply.open_v, supply.least_v)
        && least_v >= open_v
    {
        section.fault(
            "least_v",
            &format!("least_v = {least_v} is not below open_v = {open_v}"),
            "give the lowest voltage that the servos' maker allows at a plug, for example least_v = 5.0",
        );
    }
    supply
}

fn read_moving(section: &Section, surface_names: &Names) -> Option<Vec<usize>> {
    let array = section.array("moving")?;
    let mut found = Vec::new();
    for item in array {
        let Some(name) = item.get_ref().as_str() else {
            section.fault(
                "moving",
                "moving is not a list of names",
                "write the names of surfaces in quotes, for example moving = [\"left elevator\", \"rudder\"]",
            );
            return None;
        };
        let index = look_up_text(section, "moving", name, surface_names, "[[surface]]")?;
        if !found.contains(&index) {
            found.push(index);
        }
    }
    if found.is_empty() {
        section.fault(
            "moving",
            "moving names no surface",
            "name those that move at once, or leave moving out: then all move that go both ways",
        );
        return None;
    }
    Some(found)
}

/// The pieces of `[….lead]`, or of several `[[….lead]]` one after another.
pub(super) fn read_lead(section: &Section) -> Vec<Piece> {
    let Some(value) = section.value("lead") else {
        return Vec::new();
    };
    let pieces = match value.get_ref() {
        DeValue::Array(_) => section.tables("lead", &keys::LEAD),
        _ => section
            .table(
                "lead",
                &keys::LEAD,
                format!("the lead of {}", section.label),
            )
            .into_iter()
            .collect(),
    };
    pieces.iter().filter_map(read_piece).collect()
}

fn read_piece(section: &Section) -> Option<Piece> {
    let length_mm = section.need_number("length_mm", Bound::Within(1.0, 20_000.0));
    let gauge = match (section.has("awg"), section.has("area_mm2")) {
        (true, true) => {
            section.fault(
                "area_mm2",
                "there is awg and area_mm2 as well",
                "leave one of them out: they are two ways to say how thick the wire is",
            );
            None
        }
        (false, true) => section
            .number("area_mm2", Bound::Within(0.01, 50.0))
            .map(Gauge::Area),
        _ => section
            .require("awg")
            .then(|| whole(section, "awg", 4.0, 40.0))
            .flatten()
            .map(|number| Gauge::Awg(number as f64)),
    };
    let connections = whole(section, "connections", 0.0, 20.0).unwrap_or(0);
    Some(Piece {
        length_mm: length_mm?,
        gauge: gauge?,
        connections: connections as u32,
    })
}

fn whole(section: &Section, key: &'static str, low: f64, high: f64) -> Option<usize> {
    let number = section.number(key, Bound::Within(low, high))?;
    if number.fract() == 0.0 {
        return Some(number as usize);
    }
    section.fault(
        key,
        &format!("{key} = {number} is not a whole number"),
        &format!(
            "write a whole number from {low} to {high}, for example {key} = {}",
            number.round()
        ),
    );
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aircraft::{Aircraft, parse};
    use crate::problem::Problem;

    const REST: &str = "[aircraft]\nname = \"Dunlin\"\n[[servo_type]]\nname = \"m\"\nstall_torque_ncm = 210\nstall_voltage_v = 7.4\n\
        [[surface]]\nname = \"rudder\"\nservo = \"R1\"\nchord_mm = 60\nthrows = [{ name = \"left\", left_mm = 20 }]\n\
        [[servo]]\ntag = \"R1\"\ntype = \"m\"\n";

    fn read_with(more: &str) -> Result<Aircraft, Problem> {
        let no_file = |_: &str| Err(Problem::new("none").hint("none"));
        parse(&format!("{REST}{more}"), "aircraft.toml", no_file)
    }

    #[track_caller]
    fn refused(more: &str, words: &[&str]) {
        let problem = read_with(more).unwrap_err();
        let told = problem.to_string();
        assert!(problem.hint.is_some(), "{told}");
        for word in words {
            assert!(told.contains(word), "no {word:?} in {told}");
        }
    }

    #[test]
    fn a_lead_of_one_piece_and_of_two_and_a_supply_are_read() {
        let bare = read_with("").unwrap();
        assert_eq!((bare.supply, bare.servos[0].lead.len()), (None, 0));
        let one = read_with("[servo.lead]\nlength_mm = 650\nawg = 22\nconnections = 2\n").unwrap();
        assert_eq!(
            one.servos[0].lead,
            [Piece {
                length_mm: 650.0,
                gauge: Gauge::Awg(22.0),
                connections: 2
            }]
        );
        let two = read_with(
            "[[servo.lead]]\nlength_mm = 300\nawg = 26\n[[servo.lead]]\nlength_mm = 500\narea_mm2 = 0.5\nconnections = 1\n\
             [supply]\nopen_v = 7.4\npack_mah = 2600\nmoving = [\"rudder\"]\n[supply.lead]\nlength_mm = 120\nawg = 18\n",
        )
        .unwrap();
        assert_eq!(two.servos[0].lead.len(), 2);
        let supply = two.supply.unwrap();
        assert_eq!(supply.moving, Some(vec![0]));
        assert_eq!((supply.open_v, supply.pack_c), (Some(7.4), None));
        assert_eq!(supply.lead[0].gauge, Gauge::Awg(18.0));
    }

    #[test]
    fn what_is_wrong_with_a_lead_or_supply_is_told_with_the_line_and_the_remedy() {
        refused("[servo.lead]\nlength_mm = 650\n", &["awg", "line 15"]);
        refused(
            "[servo.lead]\nlength_mm = 650\nawg = 22\narea_mm2 = 0.3\n",
            &["leave one of them out"],
        );
        refused("[servo.lead]\nlength_mm = 650\nawg = 22.5\n", &["whole"]);
        refused("[servo.lead]\nlength_mm = -1\nawg = 22\n", &["length_mm"]);
        refused("[supply]\nopen_v = 7.4\nleast_v = 8\n", &["least_v"]);
        refused(
            "[supply]\nmoving = [\"ruder\"]\n",
            &["did you mean \"rudder\""],
        );
        refused("[supply]\nmoving = []\n", &["names no surface"]);
        refused(
            "[supply]\nmoving = [\"rudder\"]\nmoving_at_once = 1\n",
            &["leave one of them out"],
        );
        refused(
            "[supply]\nmoving_at_once = 2\n",
            &["all surfaces, which are 1", "line 16"],
        );
        refused("[supply]\nlength_mm = 3\n", &["length_mm belongs in"]);
    }
}
