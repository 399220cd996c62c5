//! Looking before moving: does the rig have what is needed, and does it read what can be true?

use super::cut::Cut;
use super::drive::Rig;
use super::live::Sample;
use crate::aircraft::TripPoints;
use crate::problem::Problem;
use crate::recording::Channel;
use crate::units::Unit;

/// How long to look, s.
const LOOK_S: f64 = 0.6;
/// A disarmed surface that moves by more than this is moved by somebody, degrees.
const STILL_DEG: f64 = 2.0;
/// Angles beyond this are no control surface's.
const MOST_DEG: f64 = 100.0;

/// Means over a while.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Means {
    pub angle_deg: f64,
    pub pulse_us: Option<f64>,
    /// By the channels of arm and surface, whichever of them the angle is taken from.
    pub arm_deg: Option<f64>,
    pub surface_deg: Option<f64>,
}

/// Averages what is seen in the latter half of a while, when what moved has come to rest.
#[derive(Debug)]
pub(super) struct Averager {
    angle_from: Channel,
    from_s: f64,
    began_s: Option<f64>,
    angle: (f64, u32),
    pulse: (f64, u32),
    arm: (f64, u32),
    surface: (f64, u32),
}

impl Averager {
    pub fn over_latter_half(for_s: f64, angle_from: Channel) -> Self {
        Self {
            angle_from,
            from_s: 0.5 * for_s,
            began_s: None,
            angle: (0.0, 0),
            pulse: (0.0, 0),
            arm: (0.0, 0),
            surface: (0.0, 0),
        }
    }

    pub fn take(&mut self, sample: &Sample) {
        let since_s = sample.t_s - *self.began_s.get_or_insert(sample.t_s);
        if since_s < self.from_s {
            return;
        }
        for (sum, channel) in [
            (&mut self.angle, self.angle_from),
            (&mut self.pulse, Channel::PulseUs),
            (&mut self.arm, Channel::ArmDeg),
            (&mut self.surface, Channel::AngleDeg),
        ] {
            if let Some(value) = sample.get(channel) {
                *sum = (sum.0 + value, sum.1 + 1);
            }
        }
    }

    /// `None` where the angle was never read.
    pub fn means(&self) -> Option<Means> {
        let mean = |(sum, count): (f64, u32)| (count > 0).then(|| sum / f64::from(count));
        Some(Means {
            angle_deg: mean(self.angle)?,
            pulse_us: mean(self.pulse),
            arm_deg: mean(self.arm),
            surface_deg: mean(self.surface),
        })
    }
}

pub(super) fn no_angle() -> Cut {
    Cut::Unwise(
        Problem::new("the rig gives no angle of the surface, and nothing is moved blindly")
            .hint("connect the angle sensor (channel angle_deg) and look at it with `hingewright rig watch`"),
    )
}

/// What was seen before anything moved.
pub(super) struct Seen {
    pub notes: Vec<String>,
}

/// Looks at every channel that is needed for a while. Refuses what cannot be driven.
pub(super) async fn before_moving<State>(
    rig: &mut Rig<State>,
    trip: &TripPoints,
    angle_from: Channel,
    each: &mut dyn FnMut(Sample),
) -> Result<Seen, Cut> {
    if !rig.has(angle_from) {
        return Err(no_angle());
    }
    let mut samples: Vec<Sample> = Vec::new();
    rig.watch(LOOK_S, &mut |sample| {
        samples.push(*sample);
        each(*sample);
        Ok(())
    })
    .await?;
    let angles = readings(&samples, angle_from);
    let Some((lowest, highest)) = extremes(&angles) else {
        return Err(no_angle());
    };
    let furthest = if highest > -lowest { highest } else { lowest };
    if furthest.abs() > MOST_DEG {
        return Err(Cut::Unwise(
            Problem::new(format!(
                "the angle sensor reads {}, which no control surface has",
                Unit::Degree.place(furthest)
            ))
            .hint("set its zero with the surface at neutral, and check its scale"),
        ));
    }
    if highest - lowest > STILL_DEG {
        return Err(Cut::Unwise(
            Problem::new(format!(
                "the surface moved by {:.1}\u{b0} while nothing drove it",
                highest - lowest
            ))
            .hint("let go of it, see that its angle sensor is fixed, and sweep again"),
        ));
    }
    supply(&samples, trip)?;
    let mut notes = Vec::new();
    for channel in [Channel::CurrentMa, Channel::SupplyV] {
        if !rig.has(channel) {
            notes.push(format!(
                "The rig has no {}: it cannot trip on it.",
                channel.name()
            ));
        } else if readings(&samples, channel).is_empty() {
            notes.push(format!(
                "{} gives no reading: look at its sensor.",
                channel.name()
            ));
        }
    }
    Ok(Seen { notes })
}

fn supply(samples: &[Sample], trip: &TripPoints) -> Result<(), Cut> {
    let volts = readings(samples, Channel::SupplyV);
    let Some((lowest, _)) = extremes(&volts) else {
        return Ok(());
    };
    if lowest < trip.supply_v {
        return Err(Cut::Unwise(
            Problem::new(format!(
                "the supply voltage at the servo is {lowest:.2} V before anything moves, below the limit of {:.2} V",
                trip.supply_v
            ))
            .hint("charge or connect the pack, or set supply_v in the [trip] table of aircraft.toml if this pack is meant to be lower"),
        ));
    }
    Ok(())
}

fn readings(samples: &[Sample], channel: Channel) -> Vec<f64> {
    samples.iter().filter_map(|s| s.get(channel)).collect()
}

fn extremes(values: &[f64]) -> Option<(f64, f64)> {
    let first = *values.first()?;
    Some(
        values
            .iter()
            .fold((first, first), |(lo, hi), v| (lo.min(*v), hi.max(*v))),
    )
}
