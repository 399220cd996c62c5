//! What a logbook knows of the working in of one surface: its batches, and the cycles worked so far. Judges nothing: how the
//! hinge stands is `history::settling`'s.

use std::io::Read;
use std::path::{Path, PathBuf};

use super::{Logbook, RECHECK, WORKED_IN};
use crate::assess::Assessed;
use crate::history::settling::Batch;
use crate::problem::Problem;

/// The `#` keys of a batch.
pub const CYCLES_BEFORE: &str = "cycles_before";
pub const STAGE_DEG: &str = "stage_deg";
pub const CYCLES: &str = "cycles";
/// The head of a recording is within this, bytes.
const HEAD: u64 = 4096;

/// What was done with a surface so far, in the order of time.
#[derive(Debug, Clone, Default)]
pub struct Past {
    pub batches: Vec<Batch>,
    /// Cycles worked so far: by batches, by other sweeps, and by hand as far as a recording says so.
    pub worked: f64,
    /// The recording of the last batch.
    pub last: Option<PathBuf>,
}

impl Logbook {
    /// What all recordings of a surface say of it, and those that could not be used.
    ///
    /// # Errors
    /// The folder of the recordings cannot be read.
    pub fn past(&self, surface_index: usize) -> Result<(Past, Vec<Problem>), Problem> {
        let name = &self.aircraft().surfaces[surface_index].name;
        let (mut past, mut problems) = (Past::default(), Vec::new());
        for path in self.recordings()? {
            if surface_in_head(&path).is_some_and(|of| !of.eq_ignore_ascii_case(name)) {
                continue;
            }
            match self.assess(&path) {
                Ok(one) if one.surface_index == surface_index => past.add(&one, &path),
                Ok(_) => {}
                Err(problem) => problems.push(problem),
            }
        }
        Ok((past, problems))
    }
}

impl Past {
    /// Adds a recording.
    pub fn add(&mut self, assessed: &Assessed, path: &Path) {
        let key = |name: &str| {
            let mut keys = assessed.summary.keys.iter().rev();
            keys.find(|(k, _)| k == name).map(|(_, v)| v.as_str())
        };
        let number = |name: &str| {
            let value = key(name)?.parse::<f64>().ok()?;
            (value.is_finite() && value >= 0.0).then_some(value)
        };
        let finished = assessed.summary.unfinished.is_none();
        let strokes = &assessed.measured.strokes;
        let seen = strokes.up.max(strokes.down) as f64;
        let cycles = number(CYCLES).filter(|_| finished).unwrap_or(seen);
        let cycles_before = self.worked.max(number(CYCLES_BEFORE).unwrap_or(0.0));
        self.worked = cycles_before + cycles;
        let purpose = key("purpose");
        let belongs = matches!(purpose, Some(WORKED_IN | RECHECK));
        if !belongs || cycles < 1.0 {
            return;
        }
        let curve = assessed.measured.curve.as_ref();
        self.batches.push(Batch {
            cycles_before,
            cycles,
            stage_deg: number(STAGE_DEG),
            recheck: purpose == Some(RECHECK),
            started: key("started").and_then(|v| v.parse().ok()),
            air_c: assessed.measured.conditions.air_c,
            stiffness_ncm_per_deg: curve.map(|c| c.stiffness_ncm_per_deg),
            friction_ncm: curve.map(|c| c.friction_ncm),
            knees_deg: [true, false].map(|up| curve?.nearest_knee(up).map(|k| k.at_deg)),
        });
        if purpose == Some(WORKED_IN) {
            self.last = Some(path.to_owned());
        }
    }
}

/// The surface that the top of a recording names, if it does: most are of others and need not be read.
fn surface_in_head(path: &Path) -> Option<String> {
    let mut head = Vec::new();
    let file = std::fs::File::open(path).ok()?;
    file.take(HEAD).read_to_end(&mut head).ok()?;
    let head = String::from_utf8_lossy(&head).into_owned();
    let mut named = head
        .lines()
        .filter_map(|line| line.strip_prefix("# surface="));
    named.next_back().map(|name| name.trim().to_owned())
}
