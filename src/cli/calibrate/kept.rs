//! A calibration's file put in its place: an older one is never lost, and nothing that is no calibration is written over.

use std::io::Write;
use std::path::{Path, PathBuf};

use crate::cli::files::told_aside;
use crate::logbook::write_whole;
use crate::problem::Problem;

/// Writes `text`; what stood there before is kept beside it under a name of its own, and told.
///
/// # Errors
/// What stands there is no calibration, or the folder cannot be written.
pub fn replace(into: &Path, text: &str) -> Result<(), Problem> {
    match std::fs::read_to_string(into) {
        Ok(there) if there == text => {
            say(&format!("unchanged: {}", whole(into).display()));
            return Ok(());
        }
        Ok(there) if is_calibration(&there) => {
            let older = free_name(into);
            write_whole(&older, there.as_bytes())?;
            say(&format!(
                "the older calibration is kept as {}",
                whole(&older).display()
            ));
        }
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
        _ => {
            return Err(Problem::new(format!(
                "{}: what stands there is no calibration, and nothing is written over it",
                into.display()
            ))
            .hint("give --into another name, for instance E1.calibration.toml"));
        }
    }
    write_whole(into, text.as_bytes())?;
    told_aside(into);
    Ok(())
}

/// The day of a time, in UTC: a timestamp's text begins with it.
pub fn day(time: jiff::Timestamp) -> jiff::civil::Date {
    time.to_string()[..10].parse().unwrap_or_default()
}

fn say(words: &str) {
    let _ = writeln!(std::io::stderr(), "{words}");
}

fn whole(path: &Path) -> PathBuf {
    std::path::absolute(path).unwrap_or_else(|_| path.to_owned())
}

fn is_calibration(text: &str) -> bool {
    text.parse::<toml::Table>()
        .is_ok_and(|t| t.contains_key("power_balance") || is_angle_table(&t))
}

/// A file of `calibrate angle --into`: that one table and nothing else.
fn is_angle_table(table: &toml::Table) -> bool {
    table.len() == 1
        && table
            .get("surface")
            .and_then(toml::Value::as_table)
            .is_some_and(|s| s.len() == 1 && s.contains_key("angle"))
}

/// `E1.calibration.older-1.toml`, or the next number that is free.
fn free_name(path: &Path) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let ending = path
        .extension()
        .map_or(String::new(), |e| format!(".{}", e.to_string_lossy()));
    (1..)
        .map(|n| path.with_file_name(format!("{stem}.older-{n}{ending}")))
        .find(|candidate| !candidate.exists())
        .unwrap_or_else(|| path.with_extension("older"))
}

#[cfg(test)]
mod tests {
    use super::*;

    const CALIBRATION: &str = "[servo]\ntag = \"E1\"\n[power_balance]\nidle_w = 0.2\n";

    #[test]
    fn an_older_calibration_is_kept_beside_the_new_one_each_time() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("E1.calibration.toml");
        for n in 0..3 {
            replace(&file, &format!("# {n}\n{CALIBRATION}")).unwrap();
        }
        let read = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
        assert!(read("E1.calibration.toml").starts_with("# 2"));
        assert!(read("E1.calibration.older-1.toml").starts_with("# 0"));
        assert!(read("E1.calibration.older-2.toml").starts_with("# 1"));
        // The same once more changes nothing.
        replace(&file, &format!("# 2\n{CALIBRATION}")).unwrap();
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 3);
    }

    #[test]
    fn what_is_no_calibration_is_never_written_over() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("aircraft.toml");
        for there in ["[aircraft]\nname = \"Dunlin\"\n", "S,0,1000,1500*FFFF\n"] {
            std::fs::write(&file, there).unwrap();
            let problem = replace(&file, CALIBRATION).unwrap_err();
            assert!(problem.what.contains("no calibration"), "{problem}");
            assert_eq!(std::fs::read_to_string(&file).unwrap(), there);
        }
    }
}
