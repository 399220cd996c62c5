//! A recording, measured and judged: the one sentence that every command speaks. Opens and prints nothing.

use crate::aircraft::{Aircraft, Surface};
use crate::analysis::angle::calibrated;
use crate::analysis::{Measured, measure};
use crate::problem::Problem;
use crate::recording::{Channel, OUTCOME, REMARK, Recording, RigIdentity, purpose};
use crate::servo::share::{self, Share};
use crate::servo::{self, ServoFound};
use crate::verdict::{Judged, ServoOf, compare_pairs, judge, judge_servo, judge_share};

/// How a recording came in: what the contract's `recording` object says.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordingSummary {
    pub file: String,
    pub surface: String,
    pub samples: u64,
    pub lost: u64,
    pub damaged_lines: u64,
    pub restarts: u64,
    pub span_s: f64,
    pub rate_hz: f64,
    /// Codes of the events in order.
    pub events: Vec<String>,
    /// `started`, `purpose`, `note` and other `#` keys.
    pub keys: Vec<(String, String)>,
    pub notes: Vec<String>,
    /// What the rig said it is; `None` for CSV.
    pub rig: Option<RigIdentity>,
    /// Why the run that made the recording did not reach its end; `None` where it did, or where nothing is said about it.
    pub unfinished: Option<String>,
}

/// A recording of one surface, measured and judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Assessed {
    /// Index into [`Aircraft::surfaces`].
    pub surface_index: usize,
    pub summary: RecordingSummary,
    pub measured: Measured,
    pub judged: Judged,
    /// Of recordings that were made for the servo itself.
    pub servo: Option<ServoFound>,
    /// Where two servos drive the surface and both currents were read.
    pub servos: Option<Share>,
}

/// Measures and judges a recording, shown under the name `file`, as one of `surface_index`.
pub fn assess(
    recording: Recording,
    file: &str,
    aircraft: &Aircraft,
    surface_index: usize,
) -> Assessed {
    let surface = &aircraft.surfaces[surface_index];
    let mut recording = calibrated(recording, surface);
    if let Some(own) = recording.key("surface").map(tidy)
        && !surface.is_called(own)
    {
        let note = format!(
            "The recording says it is of \"{own}\"; judged as \"{}\", as told.",
            surface.name
        );
        recording.notes.push(note);
    }
    let mut measured = measure(&recording, aircraft, surface);
    if !purpose::shows_the_surface(recording.key("purpose")) {
        measured.leave_out_the_surface();
    }
    let (mut servo, mut judged) = match recording.key("purpose") {
        Some(purpose::SERVO_TEST) => {
            let (found, judged) = servo_judged(&mut recording, &mut measured, aircraft, surface);
            (Some(found), judged)
        }
        _ => (
            servo::found(&recording, aircraft, surface),
            judge(&measured, &recording, surface, &aircraft.limits),
        ),
    };
    let servos = share::measure(&recording, aircraft, surface);
    if let Some(share) = servos
        .as_ref()
        .filter(|_| purpose::shows_the_surface(recording.key("purpose")))
    {
        let mut findings = std::mem::take(&mut judged.findings);
        findings.extend(judge_share(share, surface));
        judged = Judged::new(findings);
        if let Some(fight) = share.fight_ma() {
            servo.get_or_insert_default().fight_ma = Some(fight);
        }
    }
    if surface.second_servo_index.is_none() && recording.has(Channel::Current2Ma) {
        recording.notes.push(format!(
            "The recording has the current of a second servo (current2_ma), and the aircraft file gives {} one: its current \
             is left alone. If two drive it, write servos = [\"…\", \"…\"] there.",
            surface.name
        ));
    }
    // What the run says of itself is no doubt about its data: it is told, and not judged.
    let unfinished = recording.unfinished().map(str::to_owned);
    if let Some(why) = &unfinished {
        recording.notes.push(format!(
            "This recording is of an unfinished run, judged as far as it goes: {why}."
        ));
    }
    for (_, remark) in recording.keys.iter().filter(|(key, _)| key == REMARK) {
        recording.notes.push(remark.clone());
    }
    tidy_keys(&mut recording.keys);
    let summary = RecordingSummary {
        file: file.to_owned(),
        surface: surface.name.clone(),
        samples: recording.samples,
        lost: recording.lost,
        damaged_lines: recording.damaged_lines,
        restarts: recording.restarts,
        span_s: measured.span_s,
        rate_hz: measured.rate_hz,
        events: recording.events.iter().map(|e| e.code.clone()).collect(),
        keys: recording.keys,
        notes: recording.notes,
        rig: recording.rig,
        unfinished,
    };
    Assessed {
        surface_index,
        summary,
        measured,
        judged,
        servo,
        servos,
    }
}

/// A test of a servo: it is the servo that is judged. That the surface is not is told, and leaves nothing open.
fn servo_judged(
    recording: &mut Recording,
    measured: &mut Measured,
    aircraft: &Aircraft,
    surface: &Surface,
) -> (ServoFound, Judged) {
    measured.doubts.clear();
    let tag = servo_tag(recording, aircraft, surface).to_owned();
    // Its data sheet's numbers are held against, be it the first of two or the second.
    let own = aircraft.servos.iter().position(|s| s.tag == tag);
    let surface = &Surface {
        servo_index: own.unwrap_or(surface.servo_index),
        second_servo_index: None,
        ..surface.clone()
    };
    let tested = servo::tested(&[recording], aircraft, surface);
    let mut findings = judge(measured, recording, surface, &aircraft.limits).findings;
    findings.extend(judge_servo(&tested, servo_of(&tag, aircraft, surface)));
    recording.notes.push(format!(
        "A test of servo {tag}: the surface's curve, throws and load are not judged by it; `hingewright servo {tag} --from` \
         shows all of it."
    ));
    (tested.found, Judged::new(findings))
}

/// The tag of the servo that a recording is of: its own word first, for the servo may sit elsewhere by now.
pub fn servo_tag<'a>(
    recording: &'a Recording,
    aircraft: &'a Aircraft,
    surface: &Surface,
) -> &'a str {
    recording
        .key("servo")
        .filter(|tag| !tag.is_empty())
        .unwrap_or(&aircraft.servos[surface.servo_index].tag)
}

/// What a surface's servo is judged by.
pub fn servo_of<'a>(tag: &'a str, aircraft: &'a Aircraft, surface: &Surface) -> ServoOf<'a> {
    ServoOf {
        tag,
        kind: &aircraft.servo_types[aircraft.servos[surface.servo_index].type_index],
        limits: &aircraft.limits,
    }
}

/// Remarks are notes, and of an outcome only the last word counts.
fn tidy_keys(keys: &mut Vec<(String, String)>) {
    let last = keys.iter().rposition(|(key, _)| key == OUTCOME);
    let mut place = 0;
    keys.retain(|(key, _)| {
        let is_last = Some(place) == last;
        place += 1;
        key != REMARK && (key != OUTCOME || is_last)
    });
}

/// Compares surfaces with their pairs among recordings judged together, and adds what differs to both.
pub fn pair_up(aircraft: &Aircraft, assessed: &mut [Assessed]) {
    let mut results: Vec<_> = assessed
        .iter_mut()
        .map(|a| (a.surface_index, &a.measured, &mut a.judged))
        .collect();
    compare_pairs(aircraft, &mut results);
}

/// Which surface a recording is of: the one named, else the one that it says itself. `file` is for the message.
pub fn surface_of(
    recording: &Recording,
    file: &str,
    named: Option<&str>,
    aircraft: &Aircraft,
) -> Result<usize, Problem> {
    let Some(name) = named.or(recording.key("surface")).map(tidy) else {
        return Err(Problem::new(format!(
            "{file}: the recording does not say which surface it is of"
        ))
        .hint(format!(
            "add --surface NAME with one of {}",
            choices(aircraft)
        )));
    };
    find_surface(name, aircraft).map_err(|near| {
        let problem = no_surface(name, near, aircraft);
        let hint = problem.hint.unwrap_or_default();
        Problem::new(format!("{file}: {}", problem.what))
            .hint(format!("{hint}; --surface NAME says which it is"))
    })
}

/// The aircraft's surface of this name, for every command that is given one.
///
/// # Errors
/// It has none; the hint names the nearest and all.
pub fn surface_named(name: &str, aircraft: &Aircraft) -> Result<usize, Problem> {
    find_surface(name, aircraft).map_err(|near| no_surface(name, near, aircraft))
}

/// What every command says of a surface that the aircraft does not have.
fn no_surface(name: &str, near: Option<&Surface>, aircraft: &Aircraft) -> Problem {
    let meant = near.map_or(String::new(), |near| {
        format!("did you mean \"{}\"? ", near.name)
    });
    Problem::new(format!("{} has no surface \"{name}\"", aircraft.name))
        .hint(format!("{meant}The aircraft has {}", choices(aircraft)))
}

/// The surface that a recording's `# surface=` names, if the aircraft has it.
pub fn surface_in_key(named: &str, aircraft: &Aircraft) -> Option<usize> {
    find_surface(tidy(named), aircraft).ok()
}

/// The surface of this name, present or former, upper or lower case alike; else the one whose name is nearest, if any is near.
pub fn find_surface<'a>(name: &str, aircraft: &'a Aircraft) -> Result<usize, Option<&'a Surface>> {
    if let Some((index, _)) = aircraft.surface_called(name) {
        return Ok(index);
    }
    let alike = |s: &Surface| strsim::jaro_winkler(&s.name, name);
    Err(aircraft
        .surfaces
        .iter()
        .max_by(|a, b| alike(a).total_cmp(&alike(b)))
        .filter(|s| alike(s) > 0.8))
}

/// The aircraft's surfaces, quoted, for a hint.
pub fn choices(aircraft: &Aircraft) -> String {
    let names: Vec<String> = aircraft
        .surfaces
        .iter()
        .map(|s| format!("\"{}\"", s.name))
        .collect();
    names.join(", ")
}

/// A name as a spreadsheet may have left it: without its commas and quotation marks.
fn tidy(name: &str) -> &str {
    name.trim_matches(|c: char| c.is_whitespace() || c == ',' || c == '"')
}
