//! Names of files and folders in a logbook, from names and times and back. Touches no disk.

use std::path::Path;

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, percent_decode_str, utf8_percent_encode};

use super::schema::FOLDERS;

/// Longest part of a recording's name that comes from the surface's.
const LONGEST_SLUG: usize = 60;

/// All that is not a letter, a figure or one of these is written %XX, as Hive, DuckDB and polars do: no name can leave
/// its folder, upset a shell or mean something in a glob.
const ESCAPED: &AsciiSet = &NON_ALPHANUMERIC.remove(b'-').remove(b'_').remove(b'.');

/// `results`' folder for one value of a column: `surface=left%20elevator`.
pub(super) fn partition(column: &str, value: &str) -> String {
    format!("{column}={}", utf8_percent_encode(value, ESCAPED))
}

/// The value that a folder of [`partition`] stands for; `None` where it is another's.
pub(super) fn partition_value(folder: &str, column: &str) -> Option<String> {
    let escaped = folder.strip_prefix(column)?.strip_prefix('=')?;
    let value = percent_decode_str(escaped).decode_utf8().ok()?;
    Some(value.into_owned())
}

/// The aircraft and the surface of a result by its path, `…/aircraft=NAME/surface=NAME/ID.parquet`; empty where it has none.
pub(super) fn folders(path: &Path) -> [String; 2] {
    let mut above = path.ancestors().skip(1).map(|folder| {
        let name = folder.file_name().unwrap_or_default();
        name.to_string_lossy().into_owned()
    });
    let [aircraft, surface] = FOLDERS;
    let mut value = |column| partition_value(&above.next()?, column);
    let surface = value(surface).unwrap_or_default();
    [value(aircraft).unwrap_or_default(), surface]
}

/// `20260418T102207Z-left-elevator`.
pub(super) fn recording_stem(surface: &str, started: jiff::Timestamp) -> String {
    format!("{}-{}", started.strftime("%Y%m%dT%H%M%SZ"), slug(surface))
}

/// Whether an ID has the form of [`recording_stem`]'s, with a number behind it or not.
pub(super) fn is_own_id(id: &str) -> bool {
    let Some((time, surface)) = id.split_once('-') else {
        return false;
    };
    let time = time.as_bytes();
    let dated = time.len() == "20260418T102207Z".len()
        && time.iter().enumerate().all(|(i, b)| match i {
            8 => *b == b'T',
            15 => *b == b'Z',
            _ => b.is_ascii_digit(),
        });
    let slug = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    dated && !surface.is_empty() && surface.chars().all(slug)
}

/// A name in lower-case letters and figures of ASCII, with hyphens for all else.
fn slug(name: &str) -> String {
    let mut slug = String::new();
    for c in name.chars() {
        if c.is_ascii_alphanumeric() {
            slug.push(c.to_ascii_lowercase());
        } else if !slug.is_empty() && !slug.ends_with('-') {
            slug.push('-');
        }
        if slug.len() == LONGEST_SLUG {
            break;
        }
    }
    let slug = slug.trim_end_matches('-');
    if slug.is_empty() { "surface" } else { slug }.to_owned()
}

/// `.log` and `.csv`, upper or lower case alike; no hidden file.
pub(super) fn is_recording(path: &Path) -> bool {
    let hidden = path
        .file_name()
        .is_none_or(|n| n.to_string_lossy().starts_with('.'));
    let ending = path.extension().unwrap_or_default();
    !hidden && (ending.eq_ignore_ascii_case("log") || ending.eq_ignore_ascii_case("csv"))
}

/// A recording's ID: the name of its file without the ending.
pub(super) fn id(path: &Path) -> Option<String> {
    path.file_stem().map(|s| s.to_string_lossy().into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_recording_is_named_by_time_and_surface_in_plain_letters() {
        let started = "2026-04-18T12:22:07.9+02:00".parse().unwrap();
        let stem = |surface| recording_stem(surface, started);
        assert_eq!(stem("left elevator"), "20260418T102207Z-left-elevator");
        assert_eq!(stem("  Flap/../#2 "), "20260418T102207Z-flap-2");
        assert_eq!(stem("舵"), "20260418T102207Z-surface");
        assert!(stem(&"x y".repeat(200)).len() < 80);
    }

    #[test]
    fn a_folder_s_name_keeps_nothing_that_a_path_a_shell_or_a_glob_reads() {
        assert_eq!(
            partition("surface", "left elevator"),
            "surface=left%20elevator"
        );
        assert_eq!(partition("surface", "a=b/../*"), "surface=a%3Db%2F..%2F%2A");
        assert_eq!(partition("aircraft", "Möwe"), "aircraft=M%C3%B6we");
    }

    #[test]
    fn a_result_s_path_says_aircraft_and_surface() {
        let of = |path: &str| folders(Path::new(path));
        let whole = "/x/aircraft=no/results/aircraft=M%C3%B6we/surface=left%20flap/1.parquet";
        assert_eq!(of(whole), ["Möwe", "left flap"]);
        assert_eq!(of("1.parquet"), ["", ""]);
    }

    proptest! {
        #[test]
        fn every_name_comes_back_from_its_folder(name in ".{1,40}") {
            let folder = partition("surface", &name);
            prop_assert!(folder.is_ascii() && !folder.contains('/'));
            prop_assert_eq!(partition_value(&folder, "surface"), Some(name));
        }
    }
}
