//! Driving a rig, as states in types: asked, limited, armed, moving, disarmed. What may not happen does not compile.
//!
//! ```compile_fail,E0599
//! # async fn try_it(rig: hingewright::rig::Rig<hingewright::rig::Asked>) {
//! rig.go(1600.0, 300.0).await; // not armed: there is no such thing
//! # }
//! ```
//!
//! ```compile_fail,E0599
//! # async fn try_it(rig: hingewright::rig::Rig<hingewright::rig::Asked>) {
//! rig.arm().await; // no limits set
//! # }
//! ```
//!
//! A state that is dropped, by an error or a panic, disarms: the line sees to it.

use std::ops::ControlFlow;
use std::sync::Arc;
use std::time::{Duration, Instant};

use super::cut::Cut;
use super::ear::Ear;
use super::line::{Line, Says};
use super::live::{Heard, Sample};
use crate::aircraft::TripPoints;
use crate::problem::Problem;
use crate::recording::{Channel, Drive, RigIdentity};

/// How long a board may take that restarts when its port is opened.
pub const GREETING_WITHIN: Duration = Duration::from_secs(6);
/// Driving goes blind where no sample comes for this long. Less would take a busy computer for a silent rig, and the rig minds its
/// limits by itself.
const BLIND_AFTER: Duration = Duration::from_millis(1000);
/// A rig says `arrived` at once. Where that line is lost, the rig's clock tells this much later, s.
const ARRIVED_AT_LATEST_S: f64 = 0.4;

/// The `OK` that was answered is heard in its place within this, unless so much waited to be heard that it was missed.
const OK_HEARD_WITHIN: Duration = Duration::from_secs(2);
/// The least range of pulses that is worth arming for, µs.
const NARROWEST_US: f64 = 200.0;
const LAST_WORDS: Duration = Duration::from_millis(250);

/// A rig in a state.
pub struct Rig<State> {
    line: Arc<Line>,
    identity: Arc<RigIdentity>,
    ear: Ear,
    state: State,
}

/// Said who it is.
pub struct Asked(());
/// Has its limits, and is not armed.
pub struct Limited {
    range: PulseRange,
}
/// Sends pulses to the servo; at rest.
pub struct Armed {
    range: PulseRange,
}
/// On its way to a pulse.
pub struct Moving {
    range: PulseRange,
    pulse_us: f64,
    /// The number of the `GO` that was accepted. Samples may wait to be heard that came before its `OK`: time is counted after it.
    go: u16,
    accepted: bool,
    /// How long the way takes at most, s.
    takes_s: f64,
    began_s: Option<f64>,
}
/// Sends no pulse any more.
pub struct Disarmed {
    range: PulseRange,
}

/// The pulses that the rig was told to stay within, µs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PulseRange {
    pub lo_us: f64,
    pub hi_us: f64,
}

impl PulseRange {
    pub fn clamp(self, pulse_us: f64) -> f64 {
        pulse_us.clamp(self.lo_us, self.hi_us)
    }
    pub fn middle_us(self) -> f64 {
        0.5 * (self.lo_us + self.hi_us)
    }
    fn arguments(self) -> String {
        format!("pulse_lo_us={},pulse_hi_us={}", self.lo_us, self.hi_us)
    }
    /// A range that is 100 µs narrower at each end, rounded to hundreds; `None` where that leaves too little to sweep.
    fn narrower(self) -> Option<Self> {
        let hundreds = |us: f64| (us / 100.0).round() * 100.0;
        let next = Self {
            lo_us: hundreds(self.lo_us + 100.0),
            hi_us: hundreds(self.hi_us - 100.0),
        };
        (next.hi_us - next.lo_us >= NARROWEST_US).then_some(next)
    }
}

/// How a move ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    Arrived,
    /// The caller saw enough.
    Broken,
}

impl<State> Rig<State> {
    pub fn identity(&self) -> &RigIdentity {
        &self.identity
    }

    pub fn line(&self) -> &Arc<Line> {
        &self.line
    }

    pub fn has(&self, channel: Channel) -> bool {
        self.identity
            .channels
            .iter()
            .any(|name| name == channel.name())
    }

    fn into_state<Next>(self, state: Next) -> Rig<Next> {
        Rig {
            line: self.line,
            identity: self.identity,
            ear: self.ear,
            state,
        }
    }

    /// What the rig says next. Events by which it disarms itself, and a restart, are reasons to end.
    async fn hear(&mut self, last: Option<&Sample>) -> Result<Heard, Cut> {
        let live = self.line.live();
        let heard = self
            .ear
            .next_within(BLIND_AFTER, || live.borrow().bytes)
            .await?;
        match &heard {
            Heard::Restarted => Err(Cut::Restarted),
            Heard::Event { code, detail } if disarms(code) => Err(Cut::Tripped {
                code: code.clone(),
                detail: detail.clone(),
                at_deg: last.and_then(|s| s.get(Channel::AngleDeg)),
            }),
            _ => Ok(heard),
        }
    }

    /// Watches samples for a while by the rig's clock, s; each is shown to `each`.
    pub async fn watch(
        &mut self,
        for_s: f64,
        each: &mut dyn FnMut(&Sample) -> Result<(), Cut>,
    ) -> Result<(), Cut> {
        let mut began_s = None;
        let mut last = None;
        self.ear.be_patient_from_now();
        loop {
            if let Heard::Sample(sample) = self.hear(last.as_ref()).await? {
                each(&sample)?;
                last = Some(sample);
                if sample.t_s - *began_s.get_or_insert(sample.t_s) >= for_s {
                    return Ok(());
                }
            }
        }
    }

    /// Waits for something that is done at the bench. The rig's own samples go on being heard (and recorded).
    pub async fn while_waiting<T>(&mut self, done: impl Future<Output = T>) -> Result<T, Cut> {
        let mut done = std::pin::pin!(done);
        loop {
            tokio::select! {
                told = &mut done => return Ok(told),
                heard = self.ear.next() => if heard? == Heard::Restarted {
                    return Err(Cut::Restarted);
                },
            }
        }
    }
}

/// Events after which a driven rig is disarmed; one that is not known here is taken for one of them.
pub(super) fn disarms(code: &str) -> bool {
    !matches!(code, "armed" | "arrived" | "bad-line")
}

impl Rig<Asked> {
    /// Greets whatever is on the line until it says who it is: a board that restarts when its port is opened is waited for
    /// and greeted again.
    pub async fn greet(line: Arc<Line>) -> Result<Self, Cut> {
        let mut ear = line.listen();
        let live = line.live();
        let before = (live.borrow().bytes, live.borrow().damaged);
        let deadline = tokio::time::Instant::now() + GREETING_WITHIN;
        while tokio::time::Instant::now() < deadline {
            match line.command("ASK", "").await {
                Ok(_) => {
                    if let Some(identity) = identity_in(&mut ear, &line).await {
                        let rig = Self {
                            ear: line.listen(),
                            line,
                            identity,
                            state: Asked(()),
                        };
                        return Ok(rig);
                    }
                }
                Err(Cut::Unanswered { .. }) => {}
                Err(cut) => return Err(cut),
            }
        }
        let (bytes, damaged) = (
            live.borrow().bytes - before.0,
            live.borrow().damaged - before.1,
        );
        Err(Cut::Unwise(no_greeting(line.port(), bytes, damaged)))
    }

    /// Asks once more, so that a recording can begin with the rig's own line.
    pub async fn ask_again(self) -> Result<Self, Cut> {
        Self::greet(self.line).await
    }

    pub fn is_driven(&self) -> bool {
        self.identity.drive == Drive::Driven
    }

    /// Tells the rig its limits; those whose sensor it lacks are left out. One that the rig does not take leaves its own
    /// default in force, which is said in `notes`; without pulse limits that it has taken nothing is armed.
    pub async fn limit(
        self,
        trip: &TripPoints,
        notes: &mut Vec<String>,
    ) -> Result<Rig<Limited>, Cut> {
        let mut others = vec![format!("stall_ms={}", trip.stall_ms)];
        for (channel, limit) in [
            (Channel::CurrentMa, trip.current_ma),
            (Channel::SupplyV, trip.supply_v),
            (Channel::CaseC, trip.case_c),
        ] {
            if self.has(channel) {
                others.push(format!("{}={limit}", channel.name()));
            }
        }
        let wanted = PulseRange {
            lo_us: trip.pulse_lo_us,
            hi_us: trip.pulse_hi_us,
        };
        let all = format!("{},{}", wanted.arguments(), others.join(","));
        let range = match self.line.command("LIMIT", &all).await {
            Ok(_) => wanted,
            Err(Cut::Refused { .. }) => self.limit_one_by_one(wanted, &others, notes).await?,
            Err(cut) => return Err(cut),
        };
        Ok(self.into_state(Limited { range }))
    }

    /// A rig that does not take all limits at once may take most of them alone, and a narrower range of pulses.
    async fn limit_one_by_one(
        &self,
        wanted: PulseRange,
        others: &[String],
        notes: &mut Vec<String>,
    ) -> Result<PulseRange, Cut> {
        let mut range = wanted;
        while let Err(cut) = self.line.command("LIMIT", &range.arguments()).await {
            match (&cut, range.narrower()) {
                (Cut::Refused { .. }, Some(narrower)) => range = narrower,
                _ => return Err(cut),
            }
        }
        if range != wanted {
            notes.push(format!(
                "The rig does not take pulses from {:.0} to {:.0} \u{b5}s; it is kept within {:.0} to {:.0} \u{b5}s, and throws may end there.",
                wanted.lo_us, wanted.hi_us, range.lo_us, range.hi_us
            ));
        }
        for limit in others {
            match self.line.command("LIMIT", limit).await {
                Ok(_) => {}
                Err(Cut::Refused { reason, .. }) => notes.push(format!(
                    "The rig does not take the limit {limit} ({reason}): its own default holds."
                )),
                Err(cut) => return Err(cut),
            }
        }
        Ok(range)
    }
}

/// The identity that came with an answer, or that the line knew already.
async fn identity_in(ear: &mut Ear, line: &Line) -> Option<Arc<RigIdentity>> {
    // The `RIG` line comes ahead of `OK`, and may be damaged all the same.
    let _ = tokio::time::timeout(Duration::from_millis(50), async {
        while let Ok(heard) = ear.next().await {
            if matches!(heard, Heard::Rig(_)) {
                break;
            }
        }
    })
    .await;
    line.live().borrow().rig.clone()
}

fn no_greeting(port: &str, bytes: u64, damaged: u64) -> Problem {
    let seconds = GREETING_WITHIN.as_secs();
    if bytes == 0 {
        return Problem::new(format!(
            "{port}: the port is open, but the rig is silent: no answer to ASK, and not one byte in {seconds} s"
        ))
        .hint("check that the rig has power and that its sending and receiving wires are not swapped, then try again");
    }
    if damaged > 0 {
        return Problem::new(format!(
            "{port}: bytes come from the port, but nobody says that it is a rig: {damaged} damaged lines in {seconds} s"
        ))
        .hint("check the baud rate (--baud), the cable and the firmware's checksum (CRC-16/IBM-3740); or it is another device");
    }
    Problem::new(format!("{port}: something sends there, but does not answer ASK"))
        .hint("check the wire from the computer to the rig, and that its firmware speaks version 1 of the link")
}

impl Rig<Limited> {
    /// From here on the servo is powered to hold its place.
    pub async fn arm(self) -> Result<Rig<Armed>, Cut> {
        self.line.mark_armed();
        let id = match self.line.command("ARM", "").await {
            Ok(id) => Some(id),
            // The answer was lost, or a second try was refused for being armed already; its event tells.
            Err(Cut::Unanswered { .. } | Cut::Refused { .. })
                if self.line.says() == Some(Says::Armed) =>
            {
                None
            }
            Err(cut) => return Err(cut),
        };
        let range = self.state.range;
        let mut rig = self.into_state(Armed { range });
        rig.ear.be_patient_from_now();
        rig.catch_up(id).await?;
        Ok(rig)
    }
}

impl Rig<Armed> {
    /// Hears what was said before this command was accepted, so that the next sample is of the time after it.
    async fn catch_up(&mut self, command: Option<u16>) -> Result<(), Cut> {
        let listen = async {
            loop {
                match self.hear(None).await? {
                    Heard::Ok { id } if Some(id) == command => return Ok(()),
                    Heard::Event { code, .. } if code == "armed" => return Ok(()),
                    _ => {}
                }
            }
        };
        tokio::time::timeout(OK_HEARD_WITHIN, listen)
            .await
            .unwrap_or(Ok(()))
    }

    pub fn range(&self) -> PulseRange {
        self.state.range
    }

    /// Sets out for a pulse, µs (kept within the range), at a rate in µs/s (0: at once), from a pulse at most `far_us` away.
    pub async fn go(
        mut self,
        pulse_us: f64,
        us_per_s: f64,
        far_us: f64,
    ) -> Result<Rig<Moving>, Cut> {
        let range = self.state.range;
        let pulse_us = (range.clamp(pulse_us) * 10.0).round() / 10.0;
        let us_per_s = match us_per_s {
            0.0 => 0.0,
            rate => rate.max(1.0).round(),
        };
        let go = format!("{pulse_us},{us_per_s}");
        let (live, since) = (self.line.live(), Instant::now());
        let before = live.borrow().bytes;
        let id = match self.line.command("GO", &go).await {
            Err(Cut::Unanswered { .. }) if live.borrow().bytes == before => {
                return Err(Cut::Silent {
                    port: self.line.port().to_owned(),
                    seconds: since.elapsed().as_secs_f64(),
                });
            }
            Err(refused @ Cut::Refused { .. }) if self.line.says() == Some(Says::Disarmed) => {
                return Err(self.why_disarmed().await.unwrap_or(refused));
            }
            other => other?,
        };
        Ok(self.into_state(Moving {
            range,
            pulse_us,
            go: id,
            accepted: false,
            takes_s: match us_per_s {
                0.0 => 0.0,
                rate => far_us.abs() / rate,
            },
            began_s: None,
        }))
    }

    /// What the rig said when it disarmed itself, which is heard already and waits in its place.
    async fn why_disarmed(&mut self) -> Option<Cut> {
        let listen = async {
            loop {
                if let Err(cut) = self.hear(None).await {
                    break cut;
                }
            }
        };
        tokio::time::timeout(LAST_WORDS, listen).await.ok()
    }

    /// Stops all pulses.
    pub async fn disarm(self) -> Result<Rig<Disarmed>, Cut> {
        if self.line.disarm().await {
            let range = self.state.range;
            Ok(self.into_state(Disarmed { range }))
        } else {
            Err(Cut::Unanswered { command: "DISARM" })
        }
    }
}

impl Rig<Disarmed> {
    /// Lets the rig say that it is disarmed, and give a few samples without a pulse, for the recording.
    pub async fn last_words(&mut self) {
        let listen = async { while self.ear.next().await.is_ok() {} };
        let _ = tokio::time::timeout(LAST_WORDS, listen).await;
    }

    /// May be armed once more: its limits still hold.
    pub fn again(self) -> Rig<Limited> {
        let range = self.state.range;
        self.into_state(Limited { range })
    }
}

impl Rig<Moving> {
    /// Waits until it is there; each sample on the way is shown to `each`, which may break the move off or end the run.
    /// Broken off, the rig still goes on until it is given another place to go to.
    pub async fn arrive(
        mut self,
        each: &mut dyn FnMut(&Sample) -> Result<ControlFlow<()>, Cut>,
    ) -> Result<(Rig<Armed>, Ended), Cut> {
        let mut last: Option<Sample> = None;
        let since = tokio::time::Instant::now();
        self.ear.be_patient_from_now();
        let ended = loop {
            match self.hear(last.as_ref()).await? {
                Heard::Sample(sample) => {
                    last = Some(sample);
                    if each(&sample)?.is_break() {
                        break Ended::Broken;
                    }
                    if !self.state.accepted && since.elapsed() < OK_HEARD_WITHIN {
                        continue;
                    }
                    let began_s = *self.state.began_s.get_or_insert(sample.t_s);
                    if sample.t_s - began_s > self.state.takes_s + ARRIVED_AT_LATEST_S {
                        break Ended::Arrived;
                    }
                }
                Heard::Ok { id } if id == self.state.go => self.state.accepted = true,
                Heard::Event { code, detail }
                    if code == "arrived" && self.is_here(detail.as_deref()) =>
                {
                    break Ended::Arrived;
                }
                _ => {}
            }
        };
        let range = self.state.range;
        Ok((self.into_state(Armed { range }), ended))
    }

    /// An `arrived` of this move, not of the one before it.
    fn is_here(&self, detail: Option<&str>) -> bool {
        let Some(said) = detail.and_then(|d| d.parse::<f64>().ok()) else {
            return true;
        };
        (said - self.state.pulse_us).abs() <= 1.0
    }
}
