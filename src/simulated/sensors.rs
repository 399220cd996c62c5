//! From the plant's true state to what the rig reads: filters, noise, steps, faults.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::plant::Observation;
use super::scenario::{Broken, Channel, HowBroken, Sensors};

/// Noise that remembers: first-order autoregression with a given standard deviation and correlation time.
#[derive(Debug, Clone)]
struct Noise {
    value: f64,
    deviation: f64,
    keeps: f64,
}

impl Noise {
    fn new(deviation: f64, correlation_s: f64, sample_s: f64, chance: &mut ChaCha8Rng) -> Self {
        let keeps = if correlation_s > 0.0 {
            (-sample_s / correlation_s).exp()
        } else {
            0.0
        };
        Self {
            value: deviation * chance.sample::<f64, _>(StandardNormal),
            deviation,
            keeps,
        }
    }

    fn next(&mut self, chance: &mut ChaCha8Rng) -> f64 {
        let fresh = self.deviation * (1.0 - self.keeps * self.keeps).sqrt();
        self.value = self.keeps * self.value + fresh * chance.sample::<f64, _>(StandardNormal);
        self.value
    }
}

/// The rig's sensors. Each has its own chance, so leaving one out changes no other's noise.
#[derive(Debug, Clone)]
pub struct SensorSet {
    settings: Sensors,
    filtered: Option<[f64; 4]>,
    current: Noise,
    current2: Noise,
    torque: Noise,
    force: Noise,
    middle_s: f64,
    torque_drift_ncm: f64,
    chance: Vec<ChaCha8Rng>,
    last: Vec<Option<f64>>,
}

impl SensorSet {
    /// `expected_s` is how long they will be read: the torque baseline's drift passes through zero in its middle.
    pub fn new(settings: Sensors, sample_s: f64, expected_s: f64, seed: u64) -> Self {
        let mut chance: Vec<ChaCha8Rng> = (0..Channel::ALL.len() as u64)
            .map(|stream| {
                let mut generator = ChaCha8Rng::seed_from_u64(seed);
                generator.set_stream(100 + stream);
                generator
            })
            .collect();
        let of = |channel: Channel| channel as usize;
        let current = Noise::new(
            settings.current_noise_ma,
            settings.current_noise_s,
            sample_s,
            &mut chance[of(Channel::CurrentMa)],
        );
        let current2 = Noise::new(
            settings.current_noise_ma,
            settings.current_noise_s,
            sample_s,
            &mut chance[of(Channel::Current2Ma)],
        );
        let torque = Noise::new(
            settings.torque_noise_ncm,
            settings.torque_noise_s,
            sample_s,
            &mut chance[of(Channel::TorqueNcm)],
        );
        let force = Noise::new(
            settings.force_noise_n,
            settings.force_noise_s,
            sample_s,
            &mut chance[of(Channel::ForceN)],
        );
        let torque_drift_ncm = settings.torque_drift_ncm
            * chance[of(Channel::TorqueNcm)].sample::<f64, _>(StandardNormal);
        Self {
            settings,
            filtered: None,
            current,
            current2,
            torque,
            force,
            middle_s: (0.5 * expected_s).max(1.0),
            torque_drift_ncm,
            chance,
            last: vec![None; Channel::ALL.len()],
        }
    }

    /// From now on a sensor reads nothing.
    pub(super) fn fall_silent(&mut self, channel: Channel, since_start_s: f64) {
        self.settings.broken.push(Broken {
            channel,
            from_s: since_start_s,
            until_s: f64::INFINITY,
            how: HowBroken::Silent,
        });
    }

    /// Lets the electrical filters follow over a step, s.
    pub(super) fn follow(&mut self, dt_s: f64, electrical: [f64; 4]) {
        let share = 1.0 - (-dt_s / self.settings.electrical_lag_s.max(1e-9)).exp();
        self.follow_by(share, electrical);
    }

    fn follow_by(&mut self, share: f64, electrical: [f64; 4]) {
        let filtered = self.filtered.get_or_insert(electrical);
        for (slow, now) in filtered.iter_mut().zip(electrical) {
            *slow += share * (now - *slow);
        }
    }

    /// What one channel reads, in the channel's unit; None where the sensor gives nothing.
    pub(super) fn read(
        &mut self,
        channel: Channel,
        seen: &Observation,
        since_start_s: f64,
    ) -> Option<f64> {
        let fault = self.settings.broken.iter().find(|broken| {
            broken.channel == channel
                && since_start_s >= broken.from_s
                && since_start_s < broken.until_s
        });
        let how = fault.map(|broken| broken.how);
        let fresh = self.reading(channel, seen);
        let slot = channel as usize;
        match how {
            Some(HowBroken::Silent) => None,
            Some(HowBroken::Frozen) => self.last[slot],
            None => {
                self.last[slot] = fresh;
                fresh
            }
        }
    }

    fn reading(&mut self, channel: Channel, seen: &Observation) -> Option<f64> {
        let settings = &self.settings;
        let chance = &mut self.chance[channel as usize];
        let at_once = [
            seen.current_ma,
            seen.supply_v,
            seen.source_v,
            seen.current2_ma.unwrap_or(0.0),
        ];
        let [current_ma, supply_v, source_v, current2_ma] = self.filtered.unwrap_or(at_once);
        let turn_step = 360.0 / settings.angle_steps.max(1.0);
        let mut white = |deviation: f64| deviation * chance.sample::<f64, _>(StandardNormal);
        Some(match channel {
            Channel::PulseUs => return seen.pulse_us,
            Channel::AngleDeg => {
                let raw = settings.angle_scale * seen.angle_deg + settings.angle_zero_deg;
                stepped(raw + white(settings.angle_noise_deg), turn_step)
            }
            Channel::ArmDeg => {
                let raw = settings.arm_scale * seen.arm_deg + settings.arm_zero_deg;
                stepped(raw + white(settings.angle_noise_deg), turn_step)
            }
            Channel::CurrentMa => stepped(
                settings.current_scale * (current_ma + ripple_ma(settings, seen))
                    + self.current.next(chance),
                settings.current_step_ma,
            ),
            Channel::SupplyV => stepped(
                settings.supply_scale * supply_v + white(settings.voltage_noise_v),
                settings.voltage_step_v,
            ),
            Channel::SourceV => stepped(
                settings.source_scale * source_v + white(settings.voltage_noise_v),
                settings.voltage_step_v,
            ),
            Channel::TorqueNcm => {
                let drift = self.torque_drift_ncm * (seen.time_s / self.middle_s - 1.0);
                settings.torque_scale * seen.torque_ncm + drift + self.torque.next(chance)
            }
            Channel::ForceN => settings.force_scale * seen.force_n + self.force.next(chance),
            Channel::CaseC => seen.case_c + white(0.1),
            Channel::AirC => seen.air_c + white(0.1),
            Channel::Current2Ma => {
                seen.current2_ma?;
                stepped(
                    settings.current_scale * current2_ma + self.current2.next(chance),
                    settings.current_step_ma,
                )
            }
        })
    }
}

/// What the filter leaves of the bridge's switching, mA: the fundamental of a current that is the motor's for the duty's
/// share of each period and none for the rest (Fourier: 2·I/π·sin πd), behind a first-order filter.
fn ripple_ma(settings: &Sensors, seen: &Observation) -> f64 {
    if settings.ripple_hz <= 0.0 {
        return 0.0;
    }
    let turn = std::f64::consts::TAU * settings.ripple_hz;
    let fundamental = 2.0 * seen.motor_current_ma.abs() / std::f64::consts::PI
        * (std::f64::consts::PI * seen.duty.abs().min(1.0)).sin();
    let left = 1.0 / (1.0 + (turn * settings.electrical_lag_s).powi(2)).sqrt();
    fundamental * left * (turn * seen.time_s).cos()
}

fn stepped(value: f64, step: f64) -> f64 {
    if step > 0.0 {
        (value / step).round() * step
    } else {
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn correlated_noise_has_the_deviation_and_the_memory_it_was_given() {
        let mut chance = ChaCha8Rng::seed_from_u64(7);
        let mut noise = Noise::new(6.0, 0.02, 0.005, &mut chance);
        let values: Vec<f64> = (0..200_000).map(|_| noise.next(&mut chance)).collect();
        let count = values.len() as f64;
        let square = values.iter().map(|value| value * value).sum::<f64>() / count;
        let lagged = values.windows(2).map(|pair| pair[0] * pair[1]).sum::<f64>() / (count - 1.0);
        assert!((square.sqrt() - 6.0).abs() < 0.15, "{}", square.sqrt());
        // exp(−5/20)
        assert!(
            (lagged / square - 0.7788).abs() < 0.01,
            "{}",
            lagged / square
        );
    }

    #[test]
    fn the_bridges_switching_leaves_what_a_first_order_filter_lets_through() {
        let mut plant = super::super::Plant::new(Default::default(), 10.0, 1);
        plant.step(0.1, Some(1500.0));
        let seen = Observation {
            time_s: 0.0,
            motor_current_ma: 1000.0,
            duty: 0.5,
            ..plant.observe()
        };
        let settings = Sensors {
            ripple_hz: 1000.0,
            ..Sensors::default()
        };
        // By hand: 2·1000/π·sin 90° = 636.62 mA; over sqrt(1 + (2π·1000·0.01)²) = 62.84: 10.131 mA.
        assert!((ripple_ma(&settings, &seen) - 10.131).abs() < 0.01);
        assert_eq!(ripple_ma(&Sensors::default(), &seen), 0.0);
    }

    #[test]
    fn twelve_bits_of_a_turn_are_steps_of_0_0879_degree() {
        assert!((stepped(0.05, 360.0 / 4096.0) - 0.087_890_625).abs() < 1e-12);
        assert_eq!(stepped(0.04, 360.0 / 4096.0), 0.0);
    }
}
