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

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Move {
    pub to: To,
    /// 0: at once.
    pub us_per_s: f64,
    pub hold_s: f64,
}

/// What is done between arming and disarming.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Spell {
    /// Written into the recording ahead of it, as `# key=value`.
    pub marks: Vec<(&'static str, String)>,
    /// Kept between the ends that were felt for.
    pub moves: Vec<Move>,
}

impl Sweep<'_> {
    /// Goes through the spells. `ready` is told the number of each, from 0, and what it gives is waited for while the rig is
    /// disarmed; `false` ends the run there. In the first one the way to the plan's ends is felt for.
    pub async fn run_spells(
        &mut self,
        mut rig: Rig<Asked>,
        spells: &[Spell],
        ready: &mut impl AsyncFnMut(usize) -> bool,
    ) -> Result<(), Cut> {
        if spells.is_empty() || !rig.while_waiting(ready(0)).await? {
            return Ok(());
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
                break;
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
        let mut rig = self.go_through(rig, &spell.moves, ends).await?;
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
        moves: &[Move],
        ends: (f64, f64),
    ) -> Result<Rig<Armed>, Cut> {
        let (lo_us, hi_us) = (ends.0.min(ends.1), ends.0.max(ends.1));
        let middle_us = rig.range().middle_us();
        let of = moves.len() as u32;
        for (number, one) in (1..).zip(moves) {
            let phase = Phase::Moving { number, of };
            let wanted_us = match one.to {
                To::Deg(deg) => self.pulse_for(deg),
                To::OffsetUs(us) => middle_us + us,
            };
            let pulse_us = wanted_us.clamp(lo_us, hi_us);
            (rig, _) = self
                .go_at(rig, phase, (pulse_us, one.us_per_s), false)
                .await?;
            if one.hold_s > 0.0 {
                self.rest(&mut rig, phase, one.hold_s).await?;
            }
        }
        Ok(rig)
    }
}
