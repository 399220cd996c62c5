//! All servos together on one supply: what they draw, what their leads and plugs have against copper, what voltage is left,
//! how much of the ratings they take, how long a charge lasts. Pure: no file, clock, port, print or sentence.
//!
//! Currents are those of the bench: measured while each surface was swept by itself, hinge and servo as they are, without
//! air. What several draw at once is the sum of what each drew.

mod copper;
mod judge;
mod load;
mod pick;
#[cfg(test)]
mod tests;

pub use copper::{
    ASSUMED_C, CONNECTION_MOHM, Copper, FLEXIBLE_SHARE, LEAST_SHARE, WARMER_K, area_mm2,
    awg_diameter_mm, ohm_per_m,
};
pub use judge::{LeadState, NEAR_SHARE, Standing};
pub use load::work_out;
pub use pick::{Candidate, Doubtful, Picked, SAME_DAY_S, pick};

use crate::analysis::{Draw, NoDraw, Quantity, Resistances, draw, resistances, step_peak_ma};
use crate::recording::{Channel, Recording};

/// What one recording says of a servo on its supply.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    pub draw: Result<Draw, NoDraw>,
    /// Peak after steps of the pulse, mA; `None` where it was not moved in steps.
    pub step_peak_ma: Option<Quantity>,
    pub resistances: Resistances,
    /// Of the lead of the second of two servos, mΩ: from a recording of that servo alone.
    pub second_lead_mohm: Option<Quantity>,
    /// Of the room, °C.
    pub air_c: Option<f64>,
}

impl Seen {
    pub fn in_recording(recording: &Recording) -> Self {
        let columns = recording
            .segments
            .iter()
            .filter_map(|s| s.column(Channel::AirC));
        let air: Vec<f64> = columns
            .flatten()
            .copied()
            .filter(|c| c.is_finite())
            .collect();
        Self {
            draw: draw(recording),
            step_peak_ma: step_peak_ma(recording),
            resistances: resistances(recording),
            second_lead_mohm: None,
            air_c: (!air.is_empty()).then(|| air.iter().sum::<f64>() / air.len() as f64),
        }
    }

    /// Half the width of the lead's interval, mΩ; infinite where there is none.
    pub fn lead_half_mohm(&self) -> f64 {
        let interval = self.resistances.lead_mohm.and_then(|q| q.interval);
        interval.map_or(f64::INFINITY, |i| 0.5 * (i.hi95 - i.lo95))
    }
}

/// What is asked of the whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    /// So many surfaces move at once, the worst of all; `None`: as the aircraft file says.
    pub moving_at_once: Option<usize>,
    pub flight_min: f64,
    /// Of the flight's time: a surface moves, or rests near neutral; the rest of it is held deflected.
    pub moving_share: f64,
    pub resting_share: f64,
    /// What is drawn beyond rest is multiplied by this, for the air that the bench has not.
    pub air_factor: f64,
    /// Of the capacity, kept.
    pub reserve: f64,
}

impl Default for Asked {
    /// Own choices, but for the reserve: common practice, no source.
    fn default() -> Self {
        Self {
            moving_at_once: None,
            flight_min: 8.0,
            moving_share: 0.2,
            resting_share: 0.3,
            air_factor: 1.5,
            reserve: 0.3,
        }
    }
}

/// Which surfaces move at once, and why.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Chosen {
    /// Named in the file.
    Named,
    /// The worst so many, asked for or as in the file.
    Worst(usize),
    /// All that go both ways: a flap or a brake goes one way, and seldom with the others.
    BothWays,
}

/// One surface's servo, or two, on the supply.
#[derive(Debug, Clone, PartialEq)]
pub struct Fed {
    /// Index into the aircraft's surfaces.
    pub surface: usize,
    pub moves: bool,
    /// `None` where nothing was recorded.
    pub seen: Option<Seen>,
    /// A surface of two servos of which one's current alone was read.
    pub second_missing: bool,
    /// Of its servo, and of the second where there are two.
    pub leads: Vec<Lead>,
}

/// One servo's lead, and the plug at its end.
#[derive(Debug, Clone, PartialEq)]
pub struct Lead {
    /// Index into the aircraft's servos.
    pub servo: usize,
    pub measured: Option<Quantity>,
    pub copper: Option<Copper>,
    pub state: LeadState,
    /// At the worst of all loads; `None` where the supply's voltage or the servo's current is not known.
    pub at_plug: Option<AtPlug>,
}

impl Fed {
    /// What it draws is not known, or known of one servo of two.
    pub fn is_missing(&self) -> bool {
        self.draw().is_none() || self.second_missing
    }

    pub fn draw(&self) -> Option<&Draw> {
        self.seen.as_ref()?.draw.as_ref().ok()
    }

    /// Its peak: after steps at full speed where they were recorded and draw more than the sweep, else the sweep's.
    pub fn peak_ma(&self) -> Option<Quantity> {
        let draw = self.draw()?;
        let steps = self.seen.as_ref()?.step_peak_ma;
        Some(
            steps
                .filter(|s| s.value > draw.peak_ma.value)
                .unwrap_or(draw.peak_ma),
        )
    }

    /// The peak is that of a sweep alone.
    pub fn peak_is_of_a_sweep(&self) -> bool {
        let steps = self.seen.as_ref().and_then(|s| s.step_peak_ma);
        self.draw().is_some() && steps.is_none()
    }

    /// How it holds; where no hold was long enough, how it rests, else how it moves.
    pub fn holding_ma(&self) -> Option<Quantity> {
        let draw = self.draw()?;
        draw.holding_ma.or(draw.resting_ma).or(Some(draw.moving_ma))
    }

    pub fn resting_ma(&self) -> Option<Quantity> {
        self.draw()?.resting_ma.or(self.holding_ma())
    }
}

/// The voltage left at a plug.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtPlug {
    pub volts: Quantity,
    pub least_v: f64,
    pub least_is_given: bool,
    pub standing: Standing,
    /// Lost on its own lead, V.
    pub lead_drop_v: f64,
    pub lead_from: LeadFrom,
}

/// Where the resistance of a lead was taken from for the voltage at its plug.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeadFrom {
    Measured,
    /// The most that its copper may have.
    Copper,
    /// Not known: nothing was taken off, the voltage is at most this.
    Nowhere,
}

/// Sums over all surfaces, mA, with what else is on the supply. A lower bound where surfaces were not measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loads {
    /// Those that move at their peaks, the others held.
    pub peak_ma: Quantity,
    /// Those that move as they move on average, the others held.
    pub sustained_ma: Quantity,
    pub holding_ma: Quantity,
    pub resting_ma: Quantity,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    Pack,
    Regulator,
    RegulatorPeak,
    Connector,
}

impl Part {
    pub const ALL: [Self; 4] = [
        Self::Pack,
        Self::Regulator,
        Self::RegulatorPeak,
        Self::Connector,
    ];

    pub fn word(self) -> &'static str {
        match self {
            Self::Pack => "pack",
            Self::Regulator => "regulator",
            Self::RegulatorPeak => "regulator-peak",
            Self::Connector => "connector",
        }
    }
}

/// A load against a rating.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rating {
    pub part: Part,
    pub rating_a: f64,
    pub load_ma: Quantity,
    pub share: Quantity,
    pub standing: Standing,
}

/// One flight's use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flight {
    pub mean_ma: Quantity,
    pub mah: Quantity,
    /// `None` without a voltage.
    pub wh: Option<Quantity>,
    pub flights: Flights,
}

/// Whole flights from a full charge down to the reserve.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Flights {
    /// Expected, and at the interval's upper end of use.
    Counted { expected: u32, least: u32 },
    /// Not all servos were measured, so that no number can be given. `none`: those measured alone take more than there is.
    NotAllMeasured { none: bool },
    /// The file gives no capacity.
    NoCapacity,
}

/// Resistance that all servos share, mΩ; `None` where the file does not say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shared {
    pub internal_mohm: Option<f64>,
    /// The most that the shared copper and its plugs may have.
    pub lead: Option<Copper>,
}

impl Shared {
    pub fn mohm(&self) -> f64 {
        self.internal_mohm.unwrap_or(0.0) + self.lead.map_or(0.0, |c| c.upper_mohm())
    }
}

/// All of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    pub fed: Vec<Fed>,
    pub chosen: Chosen,
    /// `None` where no surface was measured.
    pub loads: Option<Loads>,
    pub other_ma: f64,
    pub shared: Shared,
    pub open_v: Option<f64>,
    pub ratings: Vec<Rating>,
    /// Ratings that the file does not give.
    pub not_given: Vec<Part>,
    pub flight: Option<Flight>,
    pub pack_mah: Option<f64>,
    /// Of it, what may be used down to the reserve.
    pub usable_mah: Option<f64>,
}

impl Outcome {
    /// Surfaces whose draw is not known, or known of one servo of two: sums are lower bounds.
    pub fn missing(&self) -> impl Iterator<Item = &Fed> {
        self.fed.iter().filter(|f| f.is_missing())
    }
}
