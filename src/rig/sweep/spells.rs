//! Spells: armed for a number of moves, disarmed, and armed again once something was done at the bench (another weight hung on,
//! the rods taken off). All of them are one recording; what holds from a spell on is written ahead of it.

use super::{Phase, Sweep};
use crate::rig::cut::Cut;
use crate::rig::drive::{Armed, Asked, Limited, Rig};
use crate::rig::look;
use crate::rig::plan::REST_S;

/// Where a move goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum To {
    /// Deflection from neutral, degrees, by what was seen of pulse and angle.
    Deg(f64),
    /// From the middle of the rig's pulses, µs.
    OffsetUs(f64),
}

/// How fast a move goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pace {
    AtOnce,
    UsPerS(f64),
    /// Of the surface (or of the arm, where that is driven), by what was seen of pulse and angle.
    DegPerS(f64),
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Move {
    pub to: To,
    pub pace: Pace,
    pub hold_s: f64,
}

/// What is done between arming and disarming.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Spell {
    /// Written into the recording ahead of it, as `# key=value`.
    pub marks: Vec<(&'static str, String)>,
    /// Kept between the ends that were felt for.
    pub moves: Vec<Move>,
    /// No move or hold goes on for longer than this after the first began, s by the rig's clock.
    pub ends_after_s: Option<f64>,
}

impl Sweep<'_> {
    /// Goes through the spells. `ready` is told the number of each, from 0, and what it gives is waited for while the rig is
    /// disarmed; `false` ends the run there, short of its end. In the first one the way to the plan's ends is felt for.
    pub async fn run_spells(
        &mut self,
        mut rig: Rig<Asked>,
        spells: &[Spell],
        ready: &mut impl AsyncFnMut(usize) -> bool,
    ) -> Result<(), Cut> {
        if spells.is_empty() {
            return Ok(());
        }
        if !rig.while_waiting(ready(0)).await? {
            return Err(given_up());
        }
        let (trip, angle_from) = (self.trip, self.angle_from);
        let seen = look::before_moving(&mut rig, &trip, angle_from, &mut |s| {
            self.say(Phase::Looking, Some(s))
        })
        .await?;
        self.notes.extend(seen.notes);
        let mut rig = rig.limit(&trip, &mut self.notes).await?;
        for (number, spell) in spells.iter().enumerate() {
            if number > 0 && !rig.while_waiting(ready(number)).await? {
                return Err(given_up());
            }
            rig = self.spell(rig, spell).await?;
        }
        self.left_s = 0.0;
        Ok(())
    }

    async fn spell(&mut self, rig: Rig<Limited>, spell: &Spell) -> Result<Rig<Limited>, Cut> {
        for (key, value) in &spell.marks {
            rig.line().host_line(key, value);
        }
        let rig = rig.arm().await?;
        if let Some(way) = &self.way {
            self.map = way.map.clone();
        }
        let (rig, neutral) = self.begin_at_middle(rig).await?;
        let (rig, way) = match self.way.take() {
            Some(way) => (rig, way.still_holds(neutral.angle_deg)?),
            None => self.feel(rig, &neutral).await?,
        };
        let ends = (way.down.pulse_us, way.up.pulse_us);
        self.way = Some(way);
        let mut rig = self.go_through(rig, spell, ends).await?;
        (rig, _) = self
            .go(rig, Phase::Returning, self.pulse_for(0.0), false)
            .await?;
        self.rest(&mut rig, Phase::Returning, REST_S).await?;
        let mut rig = rig.disarm().await?;
        rig.last_words().await;
        Ok(rig.again())
    }

    async fn go_through(
        &mut self,
        mut rig: Rig<Armed>,
        spell: &Spell,
        ends: (f64, f64),
    ) -> Result<Rig<Armed>, Cut> {
        let (lo_us, hi_us) = (ends.0.min(ends.1), ends.0.max(ends.1));
        let middle_us = rig.range().middle_us();
        let of = spell.moves.len() as u32;
        let began_s = self.now_s;
        for (number, one) in (1..).zip(&spell.moves) {
            let left_s = |now_s: f64| match spell.ends_after_s {
                Some(most_s) => most_s - (now_s - began_s),
                None => f64::INFINITY,
            };
            if left_s(self.now_s) <= 0.0 {
                break;
            }
            let phase = Phase::Moving { number, of };
            let wanted_us = match one.to {
                To::Deg(deg) => self.pulse_for(deg),
                To::OffsetUs(us) => middle_us + us,
            };
            let pulse_us = wanted_us.clamp(lo_us, hi_us);
            let us_per_s = match one.pace {
                Pace::AtOnce => 0.0,
                Pace::UsPerS(us_per_s) => us_per_s,
                Pace::DegPerS(deg_per_s) => self.us_per_deg() * deg_per_s,
            };
            (rig, _) = self.go_at(rig, phase, (pulse_us, us_per_s), false).await?;
            let hold_s = one.hold_s.min(left_s(self.now_s));
            if hold_s > 0.0 {
                self.rest(&mut rig, phase, hold_s).await?;
            }
        }
        Ok(rig)
    }
}

/// Who is at the bench wants no more, or is not there.
fn given_up() -> Cut {
    Cut::Stopped {
        how: "nobody says at the bench that it is to go on",
    }
}
