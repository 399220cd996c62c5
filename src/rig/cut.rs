//! Why a run did not reach its end, in a builder's words.

use crate::problem::Problem;
use crate::units::Unit;

#[derive(Debug, Clone, PartialEq)]
pub enum Cut {
    /// The port is gone: unplugged.
    PortGone {
        port: String,
    },
    /// The port is there, and nothing comes.
    Silent {
        port: String,
        seconds: f64,
    },
    /// Bytes come, and no good sample among them.
    NoGoodSample {
        port: String,
        seconds: f64,
    },
    /// The rig began anew.
    Restarted,
    /// The rig disarmed itself.
    Tripped {
        code: String,
        detail: Option<String>,
        at_deg: Option<f64>,
    },
    Refused {
        command: &'static str,
        reason: String,
    },
    Unanswered {
        command: &'static str,
    },
    /// The user, or the system on the user's behalf.
    Stopped {
        how: &'static str,
    },
    /// The recording could not be kept.
    Disk(Problem),
    /// What was measured forbids to go on.
    Unwise(Problem),
    /// Torque or current rose above what it may be, or was before.
    Rose(Problem),
}

impl Cut {
    /// One line for the recording's `outcome`.
    pub fn outcome(&self) -> String {
        self.problem().what
    }

    /// Whether the rig can still be talked to.
    pub fn rig_is_there(&self) -> bool {
        !matches!(self, Cut::PortGone { .. })
    }

    pub fn problem(&self) -> Problem {
        match self {
            Cut::PortGone { port } => Problem::new(format!("{port}: the port is gone: the rig was unplugged, or its board restarted"))
                .hint("check plug and cable, look with `hingewright rig ports` under which name it comes back, and try again"),
            Cut::Silent { port, seconds } => Problem::new(format!(
                "{port}: the rig is silent: the port is still there, but nothing has come for {seconds:.1} s"
            ))
            .hint("check the rig's power and its data wires; if it hangs, switch it off and on, then `hingewright rig ask`"),
            Cut::NoGoodSample { port, seconds } => Problem::new(format!(
                "{port}: bytes come from the rig, but no good sample has been among them for {seconds:.1} s"
            ))
            .hint("check baud rate, cable and ground; `hingewright rig watch` counts the damaged lines"),
            Cut::Restarted => Problem::new("the rig restarted in mid-run and is disarmed")
                .hint("a board restarts when its supply sags: give rig and servo separate supplies or leads, then begin again"),
            Cut::Tripped { code, detail, at_deg } => tripped(code, detail.as_deref(), *at_deg),
            Cut::Refused { command, reason } => Problem::new(format!("the rig refused {command}: {reason}")).hint(match reason.as_str() {
                "passive" => "this rig only measures: move the surface by hand or by transmitter; `sweep` records that as well",
                "not-armed" => "it had disarmed itself meanwhile, and what it said of that did not arrive whole: check cable, baud rate and ground; `hingewright rig watch` counts the damaged lines",
                _ => "see the rig's own notes on that reason; `hingewright rig ask` shows what it is and can do",
            }),
            Cut::Unanswered { command } => Problem::new(format!("the rig did not answer {command}, asked three times"))
                .hint("check cable and baud rate; `hingewright rig watch` shows how many lines come damaged"),
            Cut::Stopped { how } => Problem::new(format!("stopped: {how}")).hint("what was recorded is kept; run it again when ready"),
            Cut::Disk(problem) | Cut::Unwise(problem) | Cut::Rose(problem) => problem.clone(),
        }
    }
}

fn tripped(code: &str, detail: Option<&str>, at_deg: Option<f64>) -> Problem {
    let place = at_deg.map_or(String::new(), |deg| {
        format!(" at {}", Unit::Degree.place(deg))
    });
    let amount = |unit: &str| detail.map_or(String::new(), |d| format!(" ({d} {unit})"));
    let (what, hint) = match code {
        "over-current" => (
            format!("current over the limit{}", amount("mA")),
            "look for a binding hinge or linkage there, or a stop in the way, before it is moved again",
        ),
        "over-temperature" => (
            format!("the servo's case too hot{}", amount("°C")),
            "let the servo cool, and find out what it works against",
        ),
        "under-voltage" => (
            format!("supply voltage too low{}", amount("V")),
            "charge or change the pack, and check lead and plugs",
        ),
        "stalled" => (
            "the servo stalled: the surface did not follow".to_owned(),
            "look for a stop, a binding hinge or a jammed rod there before it is moved again",
        ),
        "host-lost" => (
            format!("it had not heard this program for too long{}", amount("ms")),
            "the computer was too busy or asleep: close other programs, and begin again",
        ),
        "sensor-fault" => (
            format!(
                "a sensor failed{}",
                detail.map_or(String::new(), |d| format!(" ({d})"))
            ),
            "check that sensor's plug and wires",
        ),
        _ => (
            "it does not say more".to_owned(),
            "see the rig's own notes on that",
        ),
    };
    Problem::new(format!("the rig disarmed itself ({code}){place}: {what}")).hint(hint)
}
