//! What a rig says of itself meanwhile. It is disarmed and left alone, so hardly anything should be heard.

use super::{Look, State};

/// An event, and how often it was heard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    pub code: String,
    pub detail: Option<String>,
    pub times: usize,
}

impl Said {
    /// Puts one more to those heard.
    pub fn count(all: &mut Vec<Self>, code: String, detail: Option<String>) {
        // Amounts differ from one to the next; which sensor it is does not.
        let same = |s: &&mut Self| s.code == code && (code != "sensor-fault" || s.detail == detail);
        match all.iter_mut().find(same) {
            Some(one) => one.times += 1,
            None => all.push(Self {
                code,
                detail,
                times: 1,
            }),
        }
    }
}

/// A look at one of them.
pub fn event(said: &Said) -> Look {
    let amount = |unit: &str| {
        let detail = said.detail.as_deref();
        detail.map_or(String::new(), |d| format!(" at {d} {unit}"))
    };
    let which = said
        .detail
        .as_deref()
        .map_or(String::new(), |d| format!(" {d}"));
    let (state, what, todo) = match said.code.as_str() {
        "sensor-fault" => (
            State::Fault,
            format!("the rig says that its sensor{which} failed"),
            "check that sensor's plug and wires and run this again: with a failed sensor a rig does not drive",
        ),
        "over-current" => (
            State::Fault,
            format!(
                "the rig says that the current is over its limit{}",
                amount("mA")
            ),
            "look for a binding hinge or linkage, or a short in the servo's lead, before anything is moved",
        ),
        "over-temperature" => (
            State::Fault,
            format!(
                "the rig says that the servo's case is too hot{}",
                amount("°C")
            ),
            "let the servo cool, and find out what it works against",
        ),
        "under-voltage" => (
            State::Fault,
            format!("the rig says that the supply is too low{}", amount("V")),
            "charge or change the pack, and check lead and plugs",
        ),
        "armed" | "arrived" | "stalled" | "host-lost" => (
            State::Fault,
            format!(
                "the rig says {}, and this program drives nothing",
                said.code
            ),
            "end the other program that drives this rig, or correct its firmware: nothing may arm it by itself",
        ),
        "bad-line" => (
            State::Mind,
            "the rig could not read a line from this computer".to_owned(),
            "check plug, cable and ground, and that the baud rate is the same on both sides",
        ),
        code => (
            State::Mind,
            format!("the rig says {code}{which}"),
            "see the rig's own notes on that",
        ),
    };
    let often = match said.times {
        1 => String::new(),
        n => format!(", {n} times"),
    };
    Look::with(
        state,
        "event",
        format!("{what}{often} ({})", said.code),
        todo,
    )
}
