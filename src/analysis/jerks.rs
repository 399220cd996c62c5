//! Stick-slip: a surface that stops and jumps while its command moves steadily.

use super::Jerks;
use super::motion::Motion;
use super::series::Series;
use super::stats::smooth::local_lines;
use crate::recording::Channel;

/// Short window in which a stop shows, s; slower than this share of the stroke's speed is standing.
const WINDOW_S: f64 = 0.04;
const STANDING: f64 = 0.15;
/// A stop lasts this long at least, s.
const STOP_S: f64 = 0.03;
/// The first and last part of each stroke, share of its travel, are left out: lag, play and the end of the command.
const ENDS: f64 = 0.15;

/// `None` where there is no command to compare with, or no sample rate to see stops.
pub(crate) fn find(series: &Series, motion: &Motion) -> Option<Jerks> {
    let pulse = series.column(Channel::PulseUs)?;
    let angle = series.column(Channel::AngleDeg)?;
    let (mut strokes, mut stops, mut standing_s, mut moving_s) = (0.0, 0.0, 0.0, 0.0);
    let (mut jump_deg, mut jumps, mut place, mut most) = (0.0, 0.0, 0.0, 0.0);
    for (_, stroke) in motion.usable() {
        let t = &series.t_s[stroke.range.clone()];
        let step_s = (t[t.len() - 1] - t[0]) / (t.len() - 1).max(1) as f64;
        let window = WINDOW_S.max(4.0 * step_s);
        let lines = local_lines(t, &angle[stroke.range.clone()], window);
        let command = local_lines(t, &pulse[stroke.range.clone()], window).slope;
        let travel = stroke.to_deg - stroke.from_deg;
        let inside = |i: usize| {
            let share = (lines.value[i] - stroke.from_deg) / travel;
            (ENDS..1.0 - ENDS).contains(&share) && command[i].abs() > 1.0
        };
        strokes += 1.0;
        let mut stop_start: Option<usize> = None;
        let mut last_stop_deg: Option<f64> = None;
        for i in 0..t.len().saturating_sub(1) {
            if !inside(i) {
                stop_start = None;
                continue;
            }
            let dt = t[i + 1] - t[i];
            moving_s += dt;
            let stands = stroke.sign() * lines.slope[i] < STANDING * stroke.speed_deg_s;
            if stands {
                standing_s += dt;
                stop_start.get_or_insert(i);
                continue;
            }
            if let Some(start) = stop_start.take()
                && t[i] - t[start] >= STOP_S
            {
                stops += 1.0;
                let here = lines.value[start];
                if let Some(before) = last_stop_deg {
                    let jump = f64::abs(here - before);
                    jump_deg += jump;
                    jumps += 1.0;
                    if jump > most {
                        (most, place) = (jump, here);
                    }
                }
                last_stop_deg = Some(here);
            }
        }
    }
    if strokes == 0.0 || moving_s <= 0.0 {
        return None;
    }
    Some(Jerks {
        stops_per_stroke: stops / strokes,
        standing_share: standing_s / moving_s,
        step_deg: if jumps > 0.0 { jump_deg / jumps } else { 0.0 },
        at_deg: place,
        speed_deg_s: motion.usable().map(|(_, s)| s.speed_deg_s).sum::<f64>() / strokes,
    })
}
