//! What `break-in` says of batches and of how the hinge stands. No arithmetic of the trade.

use crate::analysis::Measured;
use crate::history::settling::{
    Batch, Change, RECHECK_AFTER_H, Recheck, STIFFER_SHARE, Standing, State, Stop,
};
use crate::report::quantity;
use crate::report::worked_in::{state, where_it_stands};
use crate::units::{TorqueUnit, Unit, fixed, signed};

/// One line on a batch: what was worked, what was measured, how it stands.
pub fn batch(batch: &Batch, measured: &Measured, standing: &Standing, unit: TorqueUnit) -> String {
    let mut parts = Vec::new();
    match &measured.curve {
        Some(curve) => {
            let stiffness = quantity(&curve.stiffness_ncm_per_deg, Unit::Stiffness(unit));
            let change = match &standing.recheck {
                Some(recheck) => recheck.stiffness.as_ref(),
                None => standing.change.as_ref(),
            };
            let change = change.map_or(String::new(), |c| format!(" ({})", share(c)));
            parts.push(format!("stiffness {stiffness}{change}"));
            let friction = quantity(&curve.friction_ncm, Unit::Torque(unit));
            parts.push(format!("friction {friction}"));
            let knees: Vec<String> = curve
                .knees
                .iter()
                .map(|k| Unit::Degree.place(k.at_deg.value))
                .collect();
            parts.push(if knees.is_empty() {
                "no knee".to_owned()
            } else {
                format!("knee at {}", knees.join(" and "))
            });
        }
        None => parts.push("no curve: it carries no stiffness".to_owned()),
    }
    parts.push(where_it_stands(standing, unit));
    format!(
        "batch      {}, {:.0} cycles worked: {}",
        stage(batch),
        batch.cycles_after(),
        parts.join(", ")
    )
}

fn stage(batch: &Batch) -> String {
    match batch.stage_deg {
        Some(deg) => format!("stage {}", Unit::Degree.given(deg)),
        None => "by hand".to_owned(),
    }
}

fn share(change: &Change) -> String {
    format!("{} %", signed(100.0 * change.share, 1))
}

/// How a run goes on from here.
#[derive(Debug, Clone)]
pub struct Onward {
    /// The command line that goes on with this, on this rig.
    pub again: String,
    /// The one that looks at it again after a rest.
    pub recheck: String,
    /// The one that notes that something was done to the hinge.
    pub note: String,
    pub by_hand: bool,
    /// The cycles of all stages are spent, or they have settled.
    pub through: bool,
    /// Cycles of the last stage so far, and at which to look again.
    pub spent: f64,
    pub to_tell: f64,
}

/// What a builder should know at the end, and do next.
pub fn summary(standing: &Standing, worked: f64, on: &Onward, unit: TorqueUnit) -> String {
    let mut lines = vec![format!("worked     {worked:.0} cycles in all")];
    match (&standing.recheck, &standing.change) {
        (Some(recheck), _) => lines.push(rechecked(recheck, unit)),
        (None, Some(change)) => {
            let by = quantity(&change.by, Unit::Stiffness(unit));
            lines.push(format!(
                "last step  stiffness changed by {by}; {}",
                would_not_be_seen(change, unit)
            ));
        }
        (None, None) => {}
    }
    for (name, decay, unit) in [
        ("stiffness", &standing.stiffness, Unit::Stiffness(unit)),
        ("friction", &standing.friction, Unit::Torque(unit)),
    ] {
        if let Some(decay) = decay {
            lines.push(format!(
                "fitted     {name} falls from {} to {}, 63 % of it in {:.0} cycles",
                unit.plain(decay.first),
                quantity(&decay.settled, unit),
                decay.settles_in
            ));
        }
    }
    if let Some((lo, hi)) = standing.air_apart_c {
        lines.push(format!(
            "note       sessions at {lo:.0} and {hi:.0} °C are compared: hinges are stiffer in the cold, and softening may be warmth"
        ));
    }
    lines.push(format!("state      {}", state(standing.state)));
    lines.push(format!("next       {}", next(standing, on)));
    lines.join("\n")
}

fn would_not_be_seen(change: &Change, unit: TorqueUnit) -> String {
    let least = Unit::Stiffness(unit).plain(change.detectable);
    format!("less than {least} would not be seen")
}

fn rechecked(recheck: &Recheck, unit: TorqueUnit) -> String {
    let rest = match recheck.rest_h {
        Some(hours) if hours < RECHECK_AFTER_H => format!(
            "after {} h of rest, too short to confirm anything,",
            fixed(hours, 1)
        ),
        Some(hours) => format!("after {} h of rest", fixed(hours, 1)),
        None => "after a rest of unknown length".to_owned(),
    };
    match &recheck.stiffness {
        Some(change) => format!(
            "rested     {rest} stiffness differs by {} ({}) from the batch before it{}; {}",
            quantity(&change.by, Unit::Stiffness(unit)),
            share(change),
            if change.is_detectable() {
                ""
            } else {
                ", which is no more than repeating shows"
            },
            would_not_be_seen(change, unit)
        ),
        None => format!("rested     {rest} nothing can be compared: a batch is without stiffness"),
    }
}

fn next(standing: &Standing, on: &Onward) -> String {
    let again = &on.again;
    let rest = format!(
        "let it rest for {RECHECK_AFTER_H:.0} hours, then `{}`",
        on.recheck
    );
    let more = on.more();
    let rested = standing.recheck.filter(Recheck::is_unchanged);
    match standing.state {
        State::Stiffer => look_first(on),
        State::Settled | State::Confirmed if !on.through => {
            format!("this stage is done, and others are left: `{again}`")
        }
        State::Settled => format!("{rest}: only that confirms it"),
        State::Confirmed => {
            "its working in ends here: `sweep` it for the record, and again through the season"
                .to_owned()
        }
        State::CameBack => format!("{more}, and re-check after another night"),
        State::TooCoarse if on.by_hand => {
            "move it more often in a recording, or give the rig a torque or force sensor".to_owned()
        }
        State::TooCoarse => format!(
            "take more cycles a batch (`{again} --batch 20 --cycles-per-stage {:.0}`), or give the rig a torque or force sensor",
            on.to_tell
        ),
        State::Softening | State::TooFew => match rested {
            Some(Recheck { rest_h, .. }) => format!(
                "{} h of rest gave nothing back, and more rest tells no more. Its cycles do not show yet that it has settled: {more}",
                rest_h.map_or("The".to_owned(), |h| fixed(h, 0))
            ),
            None if on.by_hand => more,
            None if on.through => {
                format!("its cycles are spent and it is not shown to have settled: {more}")
            }
            None => format!("go on where it was with `{again}`"),
        },
    }
}

impl Onward {
    /// How to work it further.
    fn more(&self) -> String {
        if self.by_hand {
            return format!(
                "work it on by hand, count, and record it with `{}`, where --hand is your count",
                self.again
            );
        }
        format!(
            "go on with `{} --cycles-per-stage {:.0}`, in which the {:.0} cycles that this stage has had are counted",
            self.again, self.to_tell, self.spent
        )
    }
}

/// What to look for before a hinge that was stopped is moved again.
pub fn look_first(on: &Onward) -> String {
    let go_on = if on.by_hand {
        String::new()
    } else {
        format!(
            ". To go on with it as it is: `{} --after-stop`, held against the last sound batch",
            on.again
        )
    };
    format!(
        "take the rod off and move the surface by hand, from end to end. Look along the hinge line for a tear, a loose pin, glue or \
         filler in the gap and an edge that rubs; then at horn, rod, its ends and the servo's arm. A hinge more than {:.0} % stiffer \
         within a stage is tearing or binding, and more cycles do not mend it. Mended? Note it with `{}`, and it is held against \
         nothing older{go_on}",
        100.0 * STIFFER_SHARE,
        on.note
    )
}

/// The stop that nothing sound has followed. `rose`: what was said where torque rose within a batch.
pub fn last_stop(stop: &Stop, rose: Option<&str>, unit: TorqueUnit) -> String {
    let when = stop.batch.started.map_or(String::new(), |at| {
        format!("on {} ", at.strftime("%Y-%m-%d at %H:%M UTC"))
    });
    let what = match (&stop.change, stop.batch.stiffness_ncm_per_deg) {
        (Some(change), Some(stiffness)) => format!(
            "it ended stiffer than the last sound batch: {}, {} more ({})",
            quantity(&stiffness, Unit::Stiffness(unit)),
            quantity(&change.by, Unit::Stiffness(unit)),
            share(change)
        ),
        _ => rose.unwrap_or("torque rose").to_owned(),
    };
    format!(
        "LAST STOP  the batch begun {when}({}, {:.0} cycles worked before it): {what}",
        stage(stop.batch),
        stop.batch.cycles_before
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{Interval, Quantity};
    use crate::history::settling::{Decay, Forecast};

    const NCM: TorqueUnit = TorqueUnit::NewtonCentimetre;

    fn number(value: f64, half: f64) -> Quantity {
        Quantity {
            value,
            interval: Some(Interval {
                u: half / 2.0,
                lo95: value - half,
                hi95: value + half,
            }),
        }
    }

    fn softening(cycles: f64, lo95: f64, hi95: Option<f64>) -> Standing {
        Standing {
            state: State::Softening,
            stiffness: Some(Decay {
                settled: number(0.3, 0.01),
                first: 0.4,
                first_cycles: 0.0,
                settles_in: 20.0,
                strain: 1.0,
                forecast: Forecast { cycles, lo95, hi95 },
            }),
            friction: None,
            change: None,
            recheck: None,
            air_apart_c: None,
        }
    }

    fn rested(rest_h: f64, by: f64) -> Recheck {
        Recheck {
            rest_h: Some(rest_h),
            stiffness: Some(Change {
                by: number(by, 0.002),
                share: by / 0.3,
                detectable: 0.002,
            }),
            confirms: rest_h >= RECHECK_AFTER_H,
        }
    }

    fn onward(by_hand: bool) -> Onward {
        Onward {
            again: "AGAIN".to_owned(),
            recheck: "AGAIN --recheck".to_owned(),
            note: "NOTE".to_owned(),
            by_hand,
            through: true,
            spent: 60.0,
            to_tell: 90.0,
        }
    }

    #[test]
    fn no_forecast_promises_nought_more_cycles_while_it_settles() {
        for (forecast, told) in [
            (
                softening(0.0, 0.0, Some(0.4)),
                "of the settled value already",
            ),
            (
                softening(0.2, 0.0, Some(18.0)),
                "within 5 % of it now, or in 18 more cycles at the most",
            ),
            (
                softening(14.0, 6.0, Some(18.0)),
                "about 14 more cycles (6 to 18) until within 5 %",
            ),
            (softening(3.0, 0.0, None), "do not show yet where it ends"),
            (
                softening(30.0, 12.0, None),
                "12 more cycles or more; the data do not",
            ),
        ] {
            let said = where_it_stands(&forecast, NCM);
            assert!(said.contains(told), "{said}");
            assert!(
                !said.contains(" 0 more") && !said.contains(": 0 "),
                "{said}"
            );
        }
    }

    #[test]
    fn after_a_rest_that_changed_nothing_no_more_rest_is_advised() {
        let mut standing = softening(14.0, 6.0, Some(18.0));
        let before = next(&standing, &onward(false));
        assert!(
            before.contains("--cycles-per-stage 90") && before.contains("the 60 cycles"),
            "{before}"
        );
        standing.recheck = Some(rested(14.0, 0.001));
        let said = next(&standing, &onward(false));
        assert!(said.starts_with("14 h of rest gave nothing back"), "{said}");
        assert!(
            said.contains("--cycles-per-stage 90") && !said.contains("--recheck"),
            "{said}"
        );
        // By hand there are no stages to be spent.
        let said = next(&standing, &onward(true));
        assert!(
            said.contains("AGAIN") && !said.contains("--cycles-per-stage"),
            "{said}"
        );
    }

    #[test]
    fn a_rest_too_short_is_said_to_confirm_nothing() {
        let said = rechecked(&rested(3.0, 0.001), NCM);
        assert!(
            said.contains("3.0 h of rest, too short to confirm anything"),
            "{said}"
        );
        assert!(
            said.contains("less than 0.00200 N·cm/° would not be seen"),
            "{said}"
        );
        assert!(!rechecked(&rested(13.0, 0.001), NCM).contains("too short"));
    }

    #[test]
    fn settled_in_one_stage_is_not_the_end_while_others_are_left() {
        let mut standing = softening(0.0, 0.0, None);
        standing.state = State::Confirmed;
        let mut on = onward(false);
        assert!(next(&standing, &on).contains("`sweep` it"));
        on.through = false;
        assert!(next(&standing, &on).contains("others are left: `AGAIN`"));
    }
}
