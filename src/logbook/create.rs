//! A new logbook: its folders, and the aircraft file with its calibrations, byte for byte. Never over another's.

use std::path::{Component, Path};

use super::{AIRCRAFT_FILE, RECORDINGS, RESULTS, whole};
use crate::aircraft::{self, NamedText, read_text};
use crate::problem::Problem;

pub(super) fn create(root: &Path, aircraft_file: &Path) -> Result<(), Problem> {
    let source = read_text(aircraft_file)?;
    let folder = aircraft_file.parent().unwrap_or(Path::new(""));
    let mut calibrations: Vec<(String, NamedText)> = Vec::new();
    aircraft::parse(&source.text, &source.file_name, |file| {
        let text = read_text(&folder.join(file))?;
        calibrations.push((file.to_owned(), text.clone()));
        Ok(text)
    })?;
    for (name, _) in &calibrations {
        beside_the_aircraft_file(name, &source)?;
    }
    for folder in [RECORDINGS, RESULTS] {
        whole::make_folder(&root.join(folder))?;
    }
    // The aircraft file last: a folder that has one is a whole logbook.
    for (name, text) in &calibrations {
        place(&root.join(name), text)?;
    }
    place(&root.join(AIRCRAFT_FILE), &source)
}

/// A calibration elsewhere would be lost when the logbook is copied.
fn beside_the_aircraft_file(name: &str, source: &NamedText) -> Result<(), Problem> {
    let within = Path::new(name)
        .components()
        .all(|part| matches!(part, Component::Normal(_) | Component::CurDir));
    if within {
        return Ok(());
    }
    Err(Problem::new(format!(
        "{}: the calibration \"{name}\" lies outside the aircraft file's folder, and a logbook has to hold all that it needs",
        source.file_name
    ))
    .hint("put the calibration beside the aircraft file, and name it there without a folder"))
}

fn place(path: &Path, source: &NamedText) -> Result<(), Problem> {
    if whole::place(path, source.text.as_bytes())? {
        return Ok(());
    }
    Err(Problem::new(format!(
        "{}: the logbook has this file already, and it differs from {}",
        path.display(),
        source.file_name
    ))
    .hint(
        "go without naming an aircraft file to use the logbook's own; \
         if the new one is right, put it there yourself, then run: hingewright recheck --logbook DIR",
    ))
}
