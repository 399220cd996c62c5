//! A small text file from disk, or why it could not be read. Knows nothing of what is in it.

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::Path;

use crate::problem::Problem;

/// A file larger than this is no aircraft file, whatever its name: 40 surfaces come to some 20 kB.
const LARGEST_BYTES: u64 = 1024 * 1024;

/// A text and the name that messages give its file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedText {
    pub file_name: String,
    pub text: String,
}

/// Reads a UTF-8 text file. The problem says whether it is missing, a folder, not permitted, too large or not text.
pub fn read_text(path: &Path) -> Result<NamedText, Problem> {
    let file_name = path.display().to_string();
    let bytes = read_bytes(path, &file_name)?;
    let text = String::from_utf8(bytes).map_err(|error| not_text(&file_name, &error))?;
    Ok(NamedText { file_name, text })
}

fn read_bytes(path: &Path, file_name: &str) -> Result<Vec<u8>, Problem> {
    let failed = |error: std::io::Error| match error.kind() {
        ErrorKind::NotFound => Problem::new(format!("{file_name} does not exist"))
            .hint("check the name and the folder, or write the file there"),
        ErrorKind::PermissionDenied => {
            Problem::new(format!("{file_name} may not be read: permission denied"))
                .hint("change the file's owner or its read permission")
        }
        ErrorKind::IsADirectory => folder(file_name),
        _ => Problem::new(format!("{file_name} could not be read: {error}"))
            .hint("see that the disk or card is still there, and try again"),
    };
    let file = File::open(path).map_err(failed)?;
    let metadata = file.metadata().map_err(failed)?;
    if metadata.is_dir() {
        return Err(folder(file_name));
    }
    let mut bytes = Vec::new();
    // The size that the system states is not trusted: a device or a pipe states none.
    file.take(LARGEST_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(failed)?;
    if bytes.len() as u64 > LARGEST_BYTES {
        return Err(Problem::new(format!(
            "{file_name} is larger than {} MB: no aircraft or calibration file is",
            LARGEST_BYTES / (1024 * 1024)
        ))
        .hint("name the aircraft file here, and recordings without --aircraft"));
    }
    Ok(bytes)
}

fn folder(file_name: &str) -> Problem {
    Problem::new(format!("{file_name} is a folder, not a file")).hint(format!(
        "name the file in it, such as {}/aircraft.toml",
        file_name.trim_end_matches('/')
    ))
}

fn not_text(file_name: &str, error: &std::string::FromUtf8Error) -> Problem {
    let bytes = error.as_bytes();
    let good = &bytes[..error.utf8_error().valid_up_to()];
    let line = 1 + good.iter().filter(|&&b| b == b'\n').count();
    let start = good.iter().rposition(|&b| b == b'\n').map_or(0, |i| i + 1);
    let rest = &bytes[start..];
    let end = rest.iter().position(|&b| b == b'\n').unwrap_or(rest.len());
    let shown: String = String::from_utf8_lossy(&rest[..end.min(300)])
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .take(100)
        .collect();
    Problem::new(format!("{file_name}, line {line}: not UTF-8 text"))
        .excerpt(format!("{line:>5} | {}", shown.trim_end()))
        .hint("save the file again with the encoding UTF-8 (an editor's 'Save as' offers it)")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_file_a_folder_and_bytes_that_are_no_text_each_have_their_own_remedy() {
        let dir = tempfile::tempdir().unwrap();
        let missing = read_text(&dir.path().join("aircraft.toml")).unwrap_err();
        assert!(
            missing.what.ends_with("aircraft.toml does not exist"),
            "{missing}"
        );

        let folder = read_text(dir.path()).unwrap_err();
        assert!(folder.what.contains("is a folder"), "{folder}");
        assert!(folder.hint.unwrap().contains("aircraft.toml"));

        let latin1 = dir.path().join("latin1.toml");
        std::fs::write(&latin1, b"[aircraft]\r\nname = \"M\xf6we\"\r\n").unwrap();
        let latin1 = read_text(&latin1).unwrap_err();
        assert!(latin1.what.contains("line 2: not UTF-8"), "{latin1}");
        assert!(latin1.excerpt.unwrap().contains("name = \"M"));

        let huge = dir.path().join("huge.toml");
        std::fs::File::create(&huge)
            .unwrap()
            .set_len(3 << 30)
            .unwrap();
        let huge = read_text(&huge).unwrap_err();
        assert!(huge.what.contains("larger than 1 MB"), "{huge}");
    }
}
