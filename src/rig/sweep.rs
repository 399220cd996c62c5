//! A sweep: look before moving, find the direction by a nudge, grow the deflection in steps, then cycle between the throws,
//! back to neutral, disarmed.

use std::ops::ControlFlow;

use super::cut::Cut;
use super::drive::{Armed, Asked, Disarmed, Ended, Rig};
use super::guard::Guard;
use super::live::Sample;
use super::look;
use super::plan::{PulseMap, REST_S, STEP_REST_S, SweepPlan};
use crate::aircraft::TripPoints;
use crate::problem::Problem;
use crate::recording::Channel;
use crate::recording::purpose::pulse_limit_remark;
use crate::units::Unit;

mod alone;
mod scale;
mod spells;
pub use alone::Alone;
pub use scale::Expected;
pub use spells::{Move, Pace, Spell, To};

/// The nudge that finds the direction: as far as this, degrees, in steps of so many µs, and no further than that, µs.
const NUDGE_DEG: f64 = 2.0;
const NUDGE_STEP_US: f64 = 15.0;
const NUDGE_MOST_US: f64 = 150.0;
/// Movement that is more than noise, play and a dead band's worth of waiting, degrees.
const MOVED_DEG: f64 = 0.8;
/// A step of growth that brings less than this share of what was asked has met something.
const FOLLOWS_SHARE: f64 = 0.4;
/// Where something was met the command goes this much further than the surface, degrees: enough to show that it does not follow.
const PUSH_DEG: f64 = 2.5;
/// How long to look again where a step did not bring the surface on, s.
const SECOND_LOOK_S: f64 = 0.25;
/// Share of the trip current from which growth goes no further.
const CURRENT_SHARE: f64 = 0.4;
/// Speed while the way is felt for, as a share of the sweep's.
const FEELING_SHARE: f64 = 0.6;
/// Readings in a row above it: one alone may be noise.
const READINGS_ABOVE: u32 = 3;
/// Of one servo, and of the second of two.
const BOTH_CURRENTS: [Channel; 2] = [Channel::CurrentMa, Channel::Current2Ma];
/// A second servo's current above the trip point for so long ends the run, s: a rig's own limit may watch the first alone.
const SECOND_OVER_S: f64 = 0.05;
/// Hold where the servo pushes against something, s: shorter than any stall limit.
const HOLD_PUSHING_S: f64 = 0.15;

/// Neutral may stand off by this much from one sweep to the next, degrees: play, and a dead band's worth.
const NEUTRAL_HOLDS_DEG: f64 = 3.0;

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Phase {
    Looking,
    Nudging,
    Growing {
        up: bool,
    },
    Cycling {
        number: u32,
        of: u32,
    },
    /// Through the moves of a spell.
    Moving {
        number: u32,
        of: u32,
    },
    Returning,
}

/// Where a sweep is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    pub phase: Phase,
    pub sample: Option<Sample>,
    /// What is left, s, by the rig's clock.
    pub left_s: f64,
}

/// One end of the travel, as growth found it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct End {
    pulse_us: f64,
    angle_deg: f64,
    /// The servo pushes against something there.
    pushing: bool,
}

/// The way between the ends, as a sweep found it: a later one over the same ends need not feel for it again.
#[derive(Debug, Clone)]
pub struct Way {
    map: PulseMap,
    neutral_deg: f64,
    up: End,
    down: End,
}

/// A sweep under way.
pub struct Sweep<'a> {
    plan: SweepPlan,
    trip: TripPoints,
    map: PulseMap,
    /// Known beforehand, or found.
    pub way: Option<Way>,
    /// Sees every sample of the cycles, and may end the run.
    pub guard: Option<Guard>,
    /// Which channel the angle is read from: that of the arm, for a servo without a surface.
    pub angle_from: Channel,
    pulse_us: f64,
    /// The pulse of neutral, from which the way is felt for.
    centre_us: f64,
    left_s: f64,
    /// The rig's clock at the last sample, s.
    now_s: f64,
    second_over_since_s: Option<f64>,
    /// What stood where before the way was felt for, of a servo that is to turn by itself.
    began: Option<look::Means>,
    tell: &'a mut dyn FnMut(&Progress),
    /// What a builder should know of the way, as sentences.
    pub notes: Vec<String>,
}

impl<'a> Sweep<'a> {
    pub fn new(plan: SweepPlan, trip: TripPoints, tell: &'a mut dyn FnMut(&Progress)) -> Self {
        Self {
            plan,
            trip,
            map: PulseMap::default(),
            way: None,
            guard: None,
            angle_from: Channel::AngleDeg,
            pulse_us: 0.0,
            centre_us: 0.0,
            left_s: plan.whole_s(),
            now_s: 0.0,
            second_over_since_s: None,
            began: None,
            tell,
            notes: Vec::new(),
        }
    }

    /// The whole sweep.
    pub async fn run(&mut self, mut rig: Rig<Asked>) -> Result<Rig<Disarmed>, Cut> {
        let trip = self.trip;
        let angle_from = self.angle_from;
        let seen = look::before_moving(&mut rig, &trip, angle_from, &mut |s| {
            self.say(Phase::Looking, Some(s))
        })
        .await?;
        self.notes.extend(seen.notes);
        let rig = rig.limit(&trip, &mut self.notes).await?.arm().await?;
        if let Some(way) = &self.way {
            self.map = way.map.clone();
        }
        let (rig, neutral) = self.begin_at_middle(rig).await?;
        let (mut rig, way) = match self.way.take() {
            Some(way) => (rig, way.still_holds(neutral.angle_deg)?),
            None => self.feel(rig, &neutral).await?,
        };
        let (up, down) = (way.up, way.down);
        self.way = Some(way);
        self.rest(&mut rig, Phase::Returning, REST_S).await?;
        let mut rig = self.cycle(rig, up, down).await?;
        self.rest(&mut rig, Phase::Returning, REST_S).await?;
        let mut rig = rig.disarm().await?;
        self.left_s = 0.0;
        rig.last_words().await;
        Ok(rig)
    }

    /// Feels for the direction and the way to both ends.
    async fn feel(
        &mut self,
        rig: Rig<Armed>,
        neutral: &look::Means,
    ) -> Result<(Rig<Armed>, Way), Cut> {
        let neutral_deg = neutral.angle_deg;
        self.began = Some(*neutral);
        self.centre_us = self.pulse_us;
        self.map.saw(self.pulse_us, neutral_deg);
        let rig = self.nudge(rig, neutral_deg).await?;
        let (rig, up) = self.grow(rig, self.plan.up_deg).await?;
        let (rig, down) = self.grow(rig, self.plan.down_deg).await?;
        self.doubt_the_scale(neutral);
        let way = Way {
            map: self.map.clone(),
            neutral_deg,
            up,
            down,
        };
        Ok((rig, way))
    }

    /// Ends the run where the sensor shows far less than what the file makes of this pulse.
    fn mind_the_scale(&self, here_deg: f64) -> Result<(), Cut> {
        match (&self.plan.expected, &self.began) {
            (Some(expected), Some(began)) => {
                let up_us = self.plan.sense * (self.pulse_us - self.centre_us);
                expected.mind(up_us, here_deg - began.angle_deg)
            }
            _ => Ok(()),
        }
    }

    /// Notes where from end to end the two do not agree.
    fn doubt_the_scale(&mut self, neutral: &look::Means) {
        let Some(expected) = &self.plan.expected else {
            return;
        };
        let from_neutral = |(pulse_us, deg): (f64, f64)| {
            let up_us = self.plan.sense * (pulse_us - self.centre_us);
            (up_us, deg - neutral.angle_deg)
        };
        let ends = self.map.ends();
        let doubt =
            ends.and_then(|(down, up)| expected.doubt(from_neutral(down), from_neutral(up)));
        self.notes.extend(doubt);
    }

    fn say(&mut self, phase: Phase, sample: Option<Sample>) {
        (self.tell)(&Progress {
            phase,
            sample,
            left_s: self.left_s.max(0.0),
        });
    }

    /// Rests for a while and gives the means of what was seen in its latter half.
    async fn rest(
        &mut self,
        rig: &mut Rig<Armed>,
        phase: Phase,
        for_s: f64,
    ) -> Result<look::Means, Cut> {
        let mut means = look::Averager::over_latter_half(for_s, self.angle_from);
        rig.watch(for_s, &mut |sample| {
            means.take(sample);
            self.pass(phase, sample)
        })
        .await?;
        let means = means.means().ok_or_else(look::no_angle)?;
        if let (Some(alone), Some(began)) = (&self.plan.alone, &self.began)
            && matches!(phase, Phase::Nudging | Phase::Growing { .. })
        {
            alone.mind(began, &means)?;
        }
        Ok(means)
    }

    /// Time goes by with a sample.
    fn pass(&mut self, phase: Phase, sample: &Sample) -> Result<(), Cut> {
        self.now_s = sample.t_s;
        self.say(phase, Some(*sample));
        self.mind_the_second(sample)?;
        match (&mut self.guard, phase) {
            (Some(guard), Phase::Cycling { .. }) => guard.take(sample),
            _ => Ok(()),
        }
    }

    /// The second servo's own trip point, where the rig reads its current.
    fn mind_the_second(&mut self, sample: &Sample) -> Result<(), Cut> {
        let Some(ma) = sample.get(Channel::Current2Ma) else {
            return Ok(());
        };
        if ma <= self.trip.current_ma {
            self.second_over_since_s = None;
            return Ok(());
        }
        let since_s = *self.second_over_since_s.get_or_insert(sample.t_s);
        if sample.t_s - since_s < SECOND_OVER_S {
            return Ok(());
        }
        Err(Cut::Unwise(
            Problem::new(format!(
                "the second servo draws {ma:.0} mA, over the limit of {:.0} mA",
                self.trip.current_ma
            ))
            .hint("see that the two servos do not work against each other, and that nothing binds, before you try again"),
        ))
    }

    /// Goes to a pulse at a rate of the surface. Gives up early where the current rises too far, if told to mind it.
    async fn go(
        &mut self,
        rig: Rig<Armed>,
        phase: Phase,
        pulse_us: f64,
        mind_current: bool,
    ) -> Result<(Rig<Armed>, Ended), Cut> {
        let us_per_s = self.us_per_deg()
            * self.plan.rate_deg_per_s
            * if mind_current { FEELING_SHARE } else { 1.0 };
        self.go_at(rig, phase, (pulse_us, us_per_s), mind_current)
            .await
    }

    /// Goes to a pulse in µs at a rate in µs/s, 0 for at once.
    async fn go_at(
        &mut self,
        rig: Rig<Armed>,
        phase: Phase,
        (pulse_us, us_per_s): (f64, f64),
        mind_current: bool,
    ) -> Result<(Rig<Armed>, Ended), Cut> {
        let pulse_us = rig.range().clamp(pulse_us);
        let far_us = (pulse_us - self.pulse_us).abs();
        let from_left_s = self.left_s;
        let takes_s = match us_per_s {
            0.0 => 0.0,
            rate => far_us / rate,
        };
        let mut above = 0;
        let most_ma = CURRENT_SHARE * self.trip.current_ma;
        let mut began_s = None;
        let moving = rig.go(pulse_us, us_per_s, far_us).await?;
        self.pulse_us = pulse_us;
        let done = moving
            .arrive(&mut |sample| {
                let since_s = sample.t_s - *began_s.get_or_insert(sample.t_s);
                self.left_s = from_left_s - since_s.min(takes_s);
                self.pass(phase, sample)?;
                let over = BOTH_CURRENTS
                    .iter()
                    .any(|c| sample.get(*c).is_some_and(|ma| ma > most_ma));
                above = if over { above + 1 } else { 0 };
                Ok(if mind_current && above >= READINGS_ABOVE {
                    ControlFlow::Break(())
                } else {
                    ControlFlow::Continue(())
                })
            })
            .await?;
        self.left_s = from_left_s - takes_s;
        Ok(done)
    }

    /// µs of pulse for a degree of the surface, on average over what was seen.
    fn us_per_deg(&self) -> f64 {
        self.map.us_per_deg().unwrap_or(10.0)
    }

    /// A rig may begin where it was left. From the middle of its pulses neutral is judged and the way felt.
    async fn begin_at_middle(
        &mut self,
        mut rig: Rig<Armed>,
    ) -> Result<(Rig<Armed>, look::Means), Cut> {
        let middle_us = rig.range().middle_us();
        let here = self.rest(&mut rig, Phase::Returning, STEP_REST_S).await?;
        self.pulse_us = here.pulse_us.unwrap_or(middle_us);
        if (self.pulse_us - middle_us).abs() > NUDGE_STEP_US {
            (rig, _) = self.go(rig, Phase::Returning, middle_us, true).await?;
        }
        let neutral = self.rest(&mut rig, Phase::Returning, REST_S).await?;
        Ok((rig, neutral))
    }

    /// Moves the surface by two degrees to see which way it goes.
    async fn nudge(&mut self, mut rig: Rig<Armed>, rest_deg: f64) -> Result<Rig<Armed>, Cut> {
        let centre_us = self.pulse_us;
        let range = rig.range();
        // Upwards, unless neutral lies at the upper end of the range.
        let up_us = if self.plan.sense > 0.0 {
            range.hi_us
        } else {
            range.lo_us
        };
        let heading = if (up_us - centre_us).abs() > NUDGE_MOST_US {
            self.plan.sense
        } else {
            -self.plan.sense
        };
        let (mut by_us, mut moved_deg) = (0.0, 0.0_f64);
        while by_us < NUDGE_MOST_US && moved_deg.abs() < NUDGE_DEG {
            by_us += NUDGE_STEP_US;
            (rig, _) = self
                .go(rig, Phase::Nudging, centre_us + heading * by_us, true)
                .await?;
            moved_deg = self
                .rest(&mut rig, Phase::Nudging, STEP_REST_S)
                .await?
                .angle_deg
                - rest_deg;
            // The wrong way is not followed any further.
            if moved_deg * heading * self.plan.sense < -MOVED_DEG {
                break;
            }
        }
        if moved_deg.abs() < MOVED_DEG {
            let alone = self.plan.alone.is_some();
            return Err(Cut::Unwise(does_not_follow(by_us, moved_deg, alone)));
        }
        if moved_deg * heading * self.plan.sense < 0.0 {
            let _ = self.go(rig, Phase::Nudging, centre_us, false).await?;
            return Err(Cut::Unwise(wrong_way(
                self.plan.sense,
                heading * by_us,
                moved_deg,
            )));
        }
        self.mind_the_scale(rest_deg + moved_deg)?;
        self.map.saw(self.pulse_us, rest_deg + moved_deg);
        self.left_s = self.plan.whole_s() - REST_S - 2.0;
        Ok(rig)
    }

    /// Goes towards an end in steps until it is reached, the pulse ends or something is met. Returns to neutral.
    async fn grow(&mut self, mut rig: Rig<Armed>, end_deg: f64) -> Result<(Rig<Armed>, End), Cut> {
        let phase = Phase::Growing { up: end_deg > 0.0 };
        let range = rig.range();
        (rig, _) = self.go(rig, phase, self.pulse_for(0.0), false).await?;
        let start = self.rest(&mut rig, phase, STEP_REST_S).await?;
        let mut end = End {
            pulse_us: self.pulse_us,
            angle_deg: start.angle_deg,
            pushing: false,
        };
        for target_deg in self.plan.growth(end_deg) {
            let wanted_us = self.pulse_for(target_deg);
            let pulse_us = range.clamp(wanted_us);
            let (back, ended) = self.go(rig, phase, pulse_us, true).await?;
            rig = back;
            if ended == Ended::Broken {
                // The rig is on its way into something: turn round at once, measure afterwards.
                (rig, _) = self.go(rig, phase, end.pulse_us, false).await?;
                self.note_met(end.angle_deg, "the current rises too far there");
                end.pushing = true;
                break;
            }
            let mut here = self.rest(&mut rig, phase, STEP_REST_S).await?;
            let asked = target_deg - end.angle_deg;
            let follows =
                |here: &look::Means| (here.angle_deg - end.angle_deg) / asked >= FOLLOWS_SHARE;
            if !follows(&here) {
                // A slow servo is given time before it is called stopped.
                here = self.rest(&mut rig, phase, SECOND_LOOK_S).await?;
            }
            let follows = follows(&here);
            if follows {
                self.mind_the_scale(here.angle_deg)?;
                self.map.saw(pulse_us, here.angle_deg);
            }
            let at_limit = pulse_us != wanted_us;
            if !follows && !at_limit && asked.abs() > 1.0 {
                // The map knows the way that the surface would have gone on.
                let push_us = self.pulse_for(here.angle_deg + PUSH_DEG.copysign(end_deg));
                end = End {
                    pulse_us: range.clamp(push_us),
                    angle_deg: here.angle_deg,
                    pushing: true,
                };
                self.note_met(here.angle_deg, "the surface does not follow further");
                break;
            }
            end = End {
                pulse_us,
                angle_deg: here.angle_deg,
                pushing: false,
            };
            if at_limit {
                self.notes.push(format!(
                    "{} of {pulse_us:.0} \u{b5}s at {}, before the {} that were wanted. It is {} in the [trip] table of \
                     aircraft.toml, or narrower where the rig takes no more.",
                    pulse_limit_remark(end_deg > 0.0),
                    Unit::Degree.place(here.angle_deg),
                    Unit::Degree.place(end_deg),
                    match pulse_us > range.middle_us() {
                        true => "pulse_hi_us",
                        false => "pulse_lo_us",
                    }
                ));
                break;
            }
        }
        if !end.pushing && end_deg != 0.0 {
            let short_deg = end_deg - end.angle_deg;
            if short_deg * end_deg.signum() > 0.3 {
                end.pulse_us = range.clamp(self.pulse_for(end_deg));
            }
        }
        (rig, _) = self.go(rig, phase, self.pulse_for(0.0), false).await?;
        Ok((rig, end))
    }

    fn note_met(&mut self, at_deg: f64, what: &str) {
        self.notes.push(format!(
            "Growing the deflection ended at {}: {what}.",
            Unit::Degree.place(at_deg)
        ));
    }

    /// The pulse for an angle, by what was seen.
    fn pulse_for(&self, angle_deg: f64) -> f64 {
        self.map.pulse_for(angle_deg).unwrap_or(self.pulse_us)
    }

    /// The cycles that are measured, ending at neutral.
    async fn cycle(&mut self, mut rig: Rig<Armed>, up: End, down: End) -> Result<Rig<Armed>, Cut> {
        self.left_s = f64::from(self.plan.cycles) * self.plan.cycle_s() + REST_S;
        let of = self.plan.cycles;
        let mut at_deg = 0.0;
        for number in 1..=of {
            for end in [up, down] {
                let phase = Phase::Cycling { number, of };
                for stop_deg in self.plan.stops(at_deg, end.angle_deg) {
                    let pulse_us = self.pulse_for(stop_deg);
                    (rig, _) = self.go(rig, phase, pulse_us, false).await?;
                    let left_s = self.left_s;
                    self.rest(&mut rig, phase, self.plan.stop_s).await?;
                    self.left_s = left_s - self.plan.stop_s;
                }
                at_deg = end.angle_deg;
                (rig, _) = self.go(rig, phase, end.pulse_us, false).await?;
                let hold_s = if end.pushing {
                    HOLD_PUSHING_S.min(self.plan.hold_s)
                } else {
                    self.plan.hold_s
                };
                let left_s = self.left_s;
                self.rest(&mut rig, phase, hold_s).await?;
                self.left_s = left_s - hold_s;
            }
        }
        (rig, _) = self
            .go(rig, Phase::Returning, self.pulse_for(0.0), false)
            .await?;
        Ok(rig)
    }
}

impl Way {
    /// The surface stands at neutral where it stood when the way was found.
    fn still_holds(self, neutral_deg: f64) -> Result<Self, Cut> {
        let off_deg = neutral_deg - self.neutral_deg;
        if off_deg.abs() <= NEUTRAL_HOLDS_DEG {
            return Ok(self);
        }
        Err(Cut::Unwise(
            Problem::new(format!(
                "at neutral the surface stands {} from where it stood before",
                Unit::Degree.side(off_deg)
            ))
            .hint("check that rod, arm and angle sensor are tight, and begin again: the way is felt for anew"),
        ))
    }
}

fn does_not_follow(by_us: f64, moved_deg: f64, alone: bool) -> Problem {
    let (what, hint) = match alone {
        false => (
            "surface",
            "check that the rod is on, that the servo has power and its signal wire, and that the angle sensor sits on this surface",
        ),
        true => (
            "arm",
            "check that the servo has power and its signal wire, and that the angle sensor sits on its arm while the rods are off",
        ),
    };
    Problem::new(format!(
        "the {what} does not follow the pulse: {by_us:.0} \u{b5}s of pulse moved it by {:.1}\u{b0}",
        moved_deg.abs()
    ))
    .hint(hint)
}

fn wrong_way(sense: f64, by_us: f64, moved_deg: f64) -> Problem {
    let (pulse, went) = (
        if by_us > 0.0 { "longer" } else { "shorter" },
        if moved_deg > 0.0 { "up" } else { "down" },
    );
    let sign = if sense > 0.0 { "negative" } else { "positive" };
    Problem::new(format!(
        "pulse and angle run against each other: a {pulse} pulse (by {:.0} \u{b5}s) moved the surface {went} by {:.1}\u{b0}",
        by_us.abs(),
        moved_deg.abs()
    ))
    .hint(format!(
        "if it really went that way, make arm_deg_per_us of its [[servo_type]] {sign} in aircraft.toml (give a mirrored servo a type of its own); \
         if it went the other way, turn the angle sensor round or swap its two outer wires"
    ))
}
