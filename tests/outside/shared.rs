//! Reading ../shared/data in place, and counting digits.

use std::path::PathBuf;

fn place(path: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../shared/data")
        .join(path)
}

/// The bytes of a file under ../shared/data, or a printed word that the check was skipped.
pub fn bytes(path: &str) -> Option<Vec<u8>> {
    match std::fs::read(place(path)) {
        Ok(bytes) => Some(bytes),
        Err(error) => {
            println!(
                "SKIPPED: ../shared/data/{path} cannot be read ({error}); it is no part of this repository."
            );
            None
        }
    }
}

/// As [`bytes`], as text.
pub fn text(path: &str) -> Option<String> {
    bytes(path).map(|b| String::from_utf8_lossy(&b).into_owned())
}

/// The numbers of a line, separated by blanks, commas or tabs; `None` where a field is no number.
pub fn numbers(line: &str) -> Option<Vec<f64>> {
    line.split(|c: char| c.is_whitespace() || c == ',')
        .filter(|f| !f.is_empty())
        .map(|f| f.parse().ok())
        .collect()
}

/// Columns by name of comma-separated text; an empty field is NaN.
pub fn columns(text: &str, names: &[&str]) -> Vec<Vec<f64>> {
    let mut lines = text.lines();
    let head: Vec<&str> = lines.next().unwrap_or("").split(',').collect();
    let places: Vec<usize> = names
        .iter()
        .map(|n| {
            head.iter()
                .position(|h| h == n)
                .unwrap_or_else(|| panic!("no column {n}"))
        })
        .collect();
    let mut out = vec![Vec::new(); names.len()];
    for line in lines {
        let fields: Vec<&str> = line.split(',').collect();
        for (column, &place) in out.iter_mut().zip(&places) {
            column.push(
                fields
                    .get(place)
                    .and_then(|f| f.parse().ok())
                    .unwrap_or(f64::NAN),
            );
        }
    }
    out
}

/// Certified digits reached: −log₁₀ of the relative error (of the error itself where the certified value is zero), at
/// most 15 (the "log relative error" of B. D. McCullough, Assessing the Reliability of Statistical Software, The American
/// Statistician 52, 1998).
pub fn digits(found: f64, certified: f64) -> f64 {
    let error = if certified == 0.0 {
        found.abs()
    } else {
        ((found - certified) / certified).abs()
    };
    if error.is_nan() {
        0.0
    } else {
        (-error.log10()).clamp(0.0, 15.0)
    }
}

/// The fewest digits reached over pairs of (found, certified).
pub fn fewest_digits(pairs: impl IntoIterator<Item = (f64, f64)>) -> f64 {
    pairs
        .into_iter()
        .map(|(f, c)| digits(f, c))
        .fold(15.0, f64::min)
}
