//! Resistance of a servo's lead and of what feeds it, from how the voltages at either end fall as the current rises. Judges
//! nothing: what copper would have is the supply's room's.
//!
//! Voltage over current is a straight line whose slope is the resistance. Both are read with noise, and noise of the
//! current would flatten a least-squares slope. So the current just before and after stands in for the current itself, as
//! an instrument: its noise is another (W. A. Fuller, Measurement Error Models, Wiley 1987, section 1.4). Where the current
//! varies by so much that its noise is nothing against it (steps), it stands for itself: in steps the current just before says
//! little. Each cycle has a level of its own (a pack sags slowly), all of them one slope, and leaving out one cycle after the
//! other tells the scatter.

use super::motion::Motion;
use super::series::Series;
use super::stats::robust::{median_in_place, quantile_in_place};
use super::stats::student;
use super::{LEAST_VOLTS, Quantity};
use crate::recording::{Channel, Recording};

/// Averages this long are compared, s: long against the noise's memory, short against a stroke.
const AVERAGE_S: f64 = 0.15;
/// The current must vary by this much (standard deviation, noise apart) to show a resistance, mA.
const LEAST_SPREAD_MA: f64 = 3.0;
/// Noise that would flatten a least-squares slope by less than this share is let be, and counted as an uncertainty.
const LEAST_FLATTENED: f64 = 0.005;
/// The same up to this share where the current just before and after tells less than so much of the current's own variance: a
/// weak instrument leads astray (own choices).
const MOST_FLATTENED: f64 = 0.1;
const WEAK_SHARE: f64 = 0.4;
/// Fewer averages in a cycle say nothing of its slope; fewer cycles nothing of their scatter.
const FEWEST_AVERAGES: usize = 6;
const FEWEST_BLOCKS: usize = 3;
/// Cycles are alike where so large a share of them carries all.
const EVEN_SHARE: f64 = 0.8;
/// Without cycles a recording is cut into so many stretches.
const STRETCHES: usize = 10;
/// No lead drops more than this beyond its usual drop: such a reading is a sensor's fault, V.
const FARTHEST_DROP_V: f64 = 3.0;

/// Relative standard uncertainty of a rig's current, and of each of its voltages: a home-made shunt with its amplifier, a
/// divider of 1 % resistors (common practice, no source). All cycles share it.
pub const CURRENT_SCALE_U: f64 = 0.01;
pub const VOLTAGE_SCALE_U: f64 = 0.005;

/// What a recording says of the way from the source to the plug; `None` where it was not measured. mΩ.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Resistances {
    /// Of the lead, from `source_v` to `supply_v`.
    pub lead_mohm: Option<Quantity>,
    /// Of what feeds the lead, from how `source_v` falls; `None` where it feeds a second servo too.
    pub source_mohm: Option<Quantity>,
    /// Of both together, from how `supply_v` falls: all that can be told without `source_v`.
    pub together_mohm: Option<Quantity>,
}

/// The resistances that a recording shows.
pub fn resistances(recording: &Recording) -> Resistances {
    let series = Series::new(recording);
    let motion = Motion::find(&series);
    resistances_of(&series, motion.as_ref())
}

pub(crate) fn resistances_of(series: &Series, motion: Option<&Motion>) -> Resistances {
    let Some(current) = series.column(Channel::CurrentMa) else {
        return Resistances::default();
    };
    let volts = |channel| series.column(channel);
    let (source, plug) = (volts(Channel::SourceV), volts(Channel::SupplyV));
    let blocks = blocks(series, motion);
    let slope = |channels: &[Option<&[f64]>; 2]| Slope::of(series, &blocks, current, channels);
    let lead = slope(&[source, plug]).filter(|_| source.is_some() && plug.is_some());
    // What feeds two servos falls by the current of both, of which the lead carries one: neither can be told by one current.
    let alone = series.column(Channel::Current2Ma).is_none();
    let source_slope = source.and_then(|_| slope(&[None, source]));
    let together = plug.filter(|_| alone).and_then(|_| slope(&[None, plug]));
    let of_source = source_slope.as_ref().map_or(0.0, |s| s.mohm);
    Resistances {
        // The two voltages' scales differ: what falls along the source is then not quite taken away.
        lead_mohm: lead.map(|s| s.quantity(of_source.hypot(of_source + s.mohm))),
        source_mohm: source_slope.filter(|_| alone).map(|s| s.quantity(s.mohm)),
        together_mohm: together.map(|s| s.quantity(s.mohm)),
    }
}

/// Sample ranges of the cycles, else of equal stretches.
fn blocks(series: &Series, motion: Option<&Motion>) -> Vec<std::ops::Range<usize>> {
    let mut starts = Vec::new();
    match motion.filter(|m| m.cycles >= FEWEST_BLOCKS) {
        Some(motion) => {
            let mut cycle = usize::MAX;
            for (_, stroke) in motion.usable().filter(|(_, s)| s.cycle != usize::MAX) {
                if stroke.cycle != cycle {
                    cycle = stroke.cycle;
                    starts.push(stroke.range.start);
                }
            }
            starts.push(series.len());
        }
        None => starts.extend((0..=STRETCHES).map(|k| k * series.len() / STRETCHES)),
    }
    starts.windows(2).map(|w| w[0]..w[1]).collect()
}

/// Mean current, mA, and mean drop, V, over a stretch of time.
type Mean = (f64, f64);

struct Slope {
    mohm: f64,
    /// From the cycles' scatter, with its degrees of freedom.
    scatter_u: f64,
    df: f64,
    /// From the steps of the converters, which every cycle meets alike.
    steps_u: f64,
}

impl Slope {
    /// Of (first voltage − second) over the current; where there is no first one, of the fall of the second.
    fn of(
        series: &Series,
        blocks: &[std::ops::Range<usize>],
        current: &[f64],
        volts: &[Option<&[f64]>; 2],
    ) -> Option<Self> {
        let means: Vec<Vec<Mean>> = blocks
            .iter()
            .map(|block| means(series, block, current, volts))
            .filter(|means| means.len() >= FEWEST_AVERAGES)
            .collect();
        let own = Sums::over(&means, Sums::by_itself);
        let flattened = noise_power(current) / (own.1.zi / own.1.count);
        let neighbours = Sums::over(&means, Sums::by_neighbours);
        let tells = neighbours.1.zi / neighbours.1.count / (own.1.zi / own.1.count);
        let weak = tells < WEAK_SHARE && flattened < MOST_FLATTENED;
        let (by, flattened) = match flattened < LEAST_FLATTENED || weak {
            true => (own, flattened / 3.0),
            false => (neighbours, 0.0),
        };
        let (sums, all) = by;
        if sums.is_empty() || all.zi.is_nan() || all.zi < all.count * LEAST_SPREAD_MA.powi(2) {
            return None;
        }
        let mohm = 1e6 * all.zv / all.zi;
        let (scatter_u, df) = jackknife(&sums, all, mohm);
        let steps_u = steps_u(current, volts, &means, mohm);
        Some(Self {
            mohm,
            scatter_u,
            df,
            steps_u: steps_u.hypot(flattened * mohm),
        })
    }

    /// `scaled_mohm`: the resistance along which voltages of another scale would read a drop that is not there.
    fn quantity(&self, scaled_mohm: f64) -> Quantity {
        let by_current = CURRENT_SCALE_U * self.mohm;
        let by_voltages = VOLTAGE_SCALE_U * scaled_mohm;
        let parts = [
            (self.scatter_u, self.df),
            (
                self.steps_u.hypot(by_current).hypot(by_voltages),
                f64::INFINITY,
            ),
        ];
        let (u, df) = student::combine(&parts);
        Quantity {
            value: self.mohm,
            interval: student::interval(self.mohm, u, df),
        }
    }
}

/// Sums of products about a block's own means: instrument by voltage, by current, and by itself.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    zv: f64,
    zi: f64,
    count: f64,
}

impl Sums {
    /// Of each block, and of all.
    fn over(means: &[Vec<Mean>], of: fn(&[Mean]) -> Self) -> (Vec<Self>, Self) {
        let each: Vec<Self> = means.iter().map(|block| of(block)).collect();
        let all = each.iter().copied().fold(Self::default(), Self::add);
        (each, all)
    }

    /// The instrument of an average is the mean of those before and after it.
    fn by_neighbours(means: &[Mean]) -> Self {
        let instruments = means
            .windows(3)
            .map(|three| 0.5 * (three[0].0 + three[2].0));
        Self::of(&means[1..means.len() - 1], &instruments.collect::<Vec<_>>())
    }

    /// Least squares.
    fn by_itself(means: &[Mean]) -> Self {
        let own: Vec<f64> = means.iter().map(|m| m.0).collect();
        Self::of(means, &own)
    }

    fn of(means: &[Mean], instruments: &[f64]) -> Self {
        let count = means.len() as f64;
        let mean_z = instruments.iter().sum::<f64>() / count;
        let mut sums = Self {
            count,
            ..Self::default()
        };
        for ((ma, v), z) in means.iter().zip(instruments) {
            sums.zv += (z - mean_z) * v;
            sums.zi += (z - mean_z) * ma;
        }
        sums
    }

    fn add(self, other: Self) -> Self {
        Self {
            zv: self.zv + other.zv,
            zi: self.zi + other.zi,
            count: self.count + other.count,
        }
    }
}

/// Standard uncertainty of the common slope, mΩ, by leaving out one cycle at a time (B. Efron, The Jackknife, the Bootstrap
/// and Other Resampling Plans, SIAM 1982, equation 3.4, from memory), and its degrees of freedom.
fn jackknife(sums: &[Sums], all: Sums, mohm: f64) -> (f64, f64) {
    let n = sums.len() as f64;
    if sums.len() < FEWEST_BLOCKS {
        return (f64::INFINITY, 0.0);
    }
    let without = |s: &Sums| 1e6 * (all.zv - s.zv) / (all.zi - s.zi) - mohm;
    let left: Vec<f64> = sums.iter().map(without).collect();
    let mean = left.iter().sum::<f64>() / n;
    let square: f64 = left.iter().map(|d| (d - mean).powi(2)).sum();
    // Cycles of little current hardly count, and count as few; cycles that are alike but for noise are all counted.
    let weights: f64 = sums.iter().map(|s| s.zi * s.zi).sum();
    let worth = (all.zi * all.zi / weights).clamp(1.0, n);
    let df = if worth >= EVEN_SHARE * n { n } else { worth } - 1.0;
    (((n - 1.0) / n * square).sqrt(), df)
}

fn means(
    series: &Series,
    block: &std::ops::Range<usize>,
    current: &[f64],
    [first, second]: &[Option<&[f64]>; 2],
) -> Vec<Mean> {
    let mut found = Vec::new();
    let drop = |k: usize| {
        let plausible = |v: f64| if v > LEAST_VOLTS { v } else { f64::NAN };
        let second = second.map_or(f64::NAN, |s| plausible(s[k]));
        match first {
            Some(first) => plausible(first[k]) - second,
            None => -second,
        }
    };
    let usual = usual(block.clone().map(&drop));
    let usable = |k: usize| current[k].is_finite() && (drop(k) - usual).abs() < FARTHEST_DROP_V;
    let mut at = block.start;
    while at < block.end {
        let until_s = series.t_s[at] + AVERAGE_S;
        let end = at + series.t_s[at..block.end].partition_point(|t| *t < until_s - 1e-9);
        let (mut n, mut ma, mut v) = (0.0, 0.0, 0.0);
        for k in (at..end.max(at + 1)).filter(|&k| usable(k)) {
            n += 1.0;
            ma += current[k];
            v += drop(k);
        }
        if n > 0.0 {
            found.push((ma / n, v / n));
        }
        at = end.max(at + 1);
    }
    found
}

fn usual(values: impl Iterator<Item = f64>) -> f64 {
    let mut finite: Vec<f64> = values.filter(|v| v.is_finite()).collect();
    median_in_place(&mut finite).unwrap_or(f64::NAN)
}

/// What the converters' steps can bend the slope by, mΩ: while a channel moves by less than a step, it reads nothing or a whole
/// step, off by half a step at most (standard deviation); between two levels each is off by its own share of one. Noise dithers
/// that away (R. M. Gray and T. G. Stockham, Dithered Quantizers, IEEE Trans. Inf. Theory 39, 1993, from memory: the first
/// harmonic of the error's mean falls as e^(−2π²σ²/q²)).
fn steps_u(current: &[f64], volts: &[Option<&[f64]>; 2], means: &[Vec<Mean>], mohm: f64) -> f64 {
    let mut all: Vec<f64> = means.iter().flatten().map(|m| m.0).collect();
    let high = quantile_in_place(&mut all, 0.98).unwrap_or(f64::NAN);
    let range_ma = high - quantile_in_place(&mut all, 0.02).unwrap_or(f64::NAN);
    let of_volts = volts.iter().flatten().map(|v| 1e6 * bent_by(v) / range_ma);
    let of_current = mohm * bent_by(current) / range_ma;
    of_volts.fold(of_current, f64::hypot)
}

/// In the channel's unit.
fn bent_by(column: &[f64]) -> f64 {
    let changes = column.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    let step = changes
        .filter(|change| *change > 1e-9)
        .fold(f64::INFINITY, f64::min);
    if !step.is_finite() {
        return 0.0;
    }
    // The steps' own share of the noise (q²/12) is no dither.
    let noise = (0.5 * usual_change_squared(column) - step * step / 12.0)
        .max(0.0)
        .sqrt();
    0.5 * step * (-2.0 * (std::f64::consts::PI * noise / step).powi(2)).exp()
}

/// Mean squared change from reading to reading as it usually is: the median of short stretches, for a load that jumps now and
/// then is no noise.
fn usual_change_squared(column: &[f64]) -> f64 {
    const STRETCH: usize = 20;
    let of_stretch = |stretch: &[f64]| {
        let squares = stretch.windows(2).map(|pair| (pair[1] - pair[0]).powi(2));
        let (sum, count) = squares
            .filter(|square| square.is_finite())
            .fold((0.0, 0.0), |(sum, count), square| {
                (sum + square, count + 1.0)
            });
        sum / count
    };
    let stretches = column.chunks(STRETCH + 1).map(of_stretch);
    let mut usual: Vec<f64> = stretches.filter(|square| square.is_finite()).collect();
    median_in_place(&mut usual).unwrap_or(0.0)
}

/// A bound of the power of the current's noise in an average, mA²: half the squared change, four times over, for noise that
/// remembers changes less than it strays (own choice).
fn noise_power(current: &[f64]) -> f64 {
    2.0 * usual_change_squared(current)
}
