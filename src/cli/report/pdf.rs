//! A page printed to PDF by a browser that is on this computer: found, run without a window in a profile of its own, given a
//! time, and ended. The PDF is whole or not there. Knows nothing of what is on the page.

use std::ffi::OsString;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use crate::logbook::write_whole;
use crate::problem::Problem;

/// Overrides what is on the PATH.
pub const BROWSER: &str = "HINGEWRIGHT_BROWSER";
/// Names under which Chromium and its kin are installed.
const NAMES: [&str; 5] = [
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
];
const LOOK_EVERY: Duration = Duration::from_millis(50);

/// Prints a page into a file, within a time.
///
/// # Errors
/// No browser is there, it fails, takes longer, or leaves no whole PDF; or the file's folder cannot be written to.
pub fn print(page: &str, file: &Path, within: Duration) -> Result<(), Problem> {
    let browser = browser()?;
    let folder = match file.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    };
    // Beside the PDF: a browser that is shut up in a sandbox of its own often sees no /tmp.
    let room = tempfile::Builder::new()
        .prefix("hingewright-printing-")
        .tempdir_in(folder)
        .and_then(|room| Ok((room.path().canonicalize()?, room)));
    let (path, _room) = room.map_err(|error| {
        Problem::new(format!(
            "{}: no folder could be made there to print in: {error}",
            folder.display()
        ))
        .hint("give --pdf a name in a folder of your own")
    })?;
    let pdf = printed(&browser, &path, page, within).map_err(|why| {
        Problem::new(format!(
            "the page could not be printed by {}: {why}",
            Path::new(&browser).display()
        ))
        .hint(format!(
            "open the HTML page and print it from there; a slow computer gets more time with --pdf-seconds, and {BROWSER}=PATH names \
             another Chromium"
        ))
    })?;
    write_whole(file, &pdf)
}

/// The print of a page, made in a folder that is nobody else's; else why there is none.
fn printed(
    browser: &OsString,
    room: &Path,
    page: &str,
    within: Duration,
) -> Result<Vec<u8>, String> {
    let html = room.join("page.html");
    fs::write(&html, page).map_err(|e| e.to_string())?;
    let mut child =
        started(browser, room, &html).map_err(|e| format!("it could not be started: {e}"))?;
    let ended = waited_for(&mut child, within);
    // Its helpers may outlive it.
    end(&mut child);
    match ended.map_err(|e| e.to_string())? {
        None => {
            return Err(format!(
                "it was not done after {} s, and was ended",
                within.as_secs()
            ));
        }
        Some(status) if !status.success() => {
            return Err(format!("{status}{}", last_words(room)));
        }
        Some(_) => {}
    }
    let pdf = fs::read(room.join("page.pdf")).unwrap_or_default();
    match is_whole(&pdf) {
        true => Ok(pdf),
        false => Err(format!("it left no whole PDF{}", last_words(room))),
    }
}

/// The browser to print with.
fn browser() -> Result<OsString, Problem> {
    if let Some(named) = std::env::var_os(BROWSER).filter(|b| !b.is_empty()) {
        return Ok(named);
    }
    let path = std::env::var_os("PATH").unwrap_or_default();
    let folders: Vec<PathBuf> = std::env::split_paths(&path).collect();
    let places = NAMES
        .iter()
        .flat_map(|name| folders.iter().map(move |folder| folder.join(name)));
    let names = || places.map(|place| place.with_extension(std::env::consts::EXE_EXTENSION));
    match names().find(|place| place.is_file()) {
        Some(place) => Ok(place.into_os_string()),
        None => Err(Problem::new(format!(
            "no browser to print with: none of {} is on the PATH",
            NAMES.join(", ")
        ))
        .hint(format!(
            "install Chromium, name it with {BROWSER}=PATH, or open the HTML page in any browser and print it from there"
        ))),
    }
}

fn started(browser: &OsString, room: &Path, html: &Path) -> std::io::Result<Child> {
    let with = |option: &str, path: &Path| {
        let mut argument = OsString::from(option);
        argument.push(path);
        argument
    };
    let mut command = Command::new(browser);
    command
        .args([
            "--headless",
            "--disable-gpu",
            "--no-first-run",
            "--no-default-browser-check",
            "--disable-extensions",
            "--disable-sync",
            "--disable-background-networking",
            "--disable-component-update",
            "--no-pdf-header-footer",
        ])
        .arg(with("--user-data-dir=", &room.join("profile")))
        .arg(with("--print-to-pdf=", &room.join("page.pdf")));
    #[cfg(unix)]
    {
        use std::os::unix::process::CommandExt;
        // Chromium refuses its sandbox to root, and to root alone.
        if nix::unistd::geteuid().is_root() {
            command.arg("--no-sandbox");
        }
        // A group of its own, so that all of it can be ended.
        command.process_group(0);
    }
    command
        .arg(html)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        // Into a file: nobody reads a pipe while it runs.
        .stderr(File::create(room.join("said"))?)
        .spawn()
}

fn waited_for(child: &mut Child, within: Duration) -> std::io::Result<Option<ExitStatus>> {
    let since = Instant::now();
    loop {
        if let Some(status) = child.try_wait()? {
            return Ok(Some(status));
        }
        if since.elapsed() >= within {
            return Ok(None);
        }
        std::thread::sleep(LOOK_EVERY);
    }
}

/// Ends it, and on Unix all that it started.
fn end(child: &mut Child) {
    #[cfg(unix)]
    {
        use nix::sys::signal::{Signal, killpg};
        if let Ok(group) = i32::try_from(child.id()) {
            let _ = killpg(nix::unistd::Pid::from_raw(group), Signal::SIGKILL);
        }
    }
    let _ = child.kill();
    let _ = child.wait();
}

/// The last line that it said, for the problem.
fn last_words(room: &Path) -> String {
    let said = fs::read(room.join("said")).unwrap_or_default();
    let said = String::from_utf8_lossy(&said);
    let last = said.lines().rfind(|line| !line.trim().is_empty());
    last.map_or(String::new(), |line| {
        let line: String = line.trim().chars().filter(|c| !c.is_control()).collect();
        let short: String = line.chars().take(200).collect();
        format!("; it said: {short}")
    })
}

/// A PDF says at its end that it ends (ISO 32000-1, 7.5.5).
fn is_whole(pdf: &[u8]) -> bool {
    let tail = &pdf[pdf.len().saturating_sub(1024)..];
    pdf.starts_with(b"%PDF-") && tail.windows(5).any(|w| w == b"%%EOF")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{aircraft_page, book_fixture};
    use crate::units::TorqueUnit;

    #[test]
    fn half_a_pdf_is_none() {
        assert!(is_whole(b"%PDF-1.4\n1 0 obj\n%%EOF\n"));
        assert!(!is_whole(b"%PDF-1.4\n1 0 obj\n"));
        assert!(!is_whole(b"<html>%%EOF") && !is_whole(b""));
    }

    /// Page objects of a PDF as Chromium writes it, uncompressed.
    fn pages(pdf: &[u8]) -> usize {
        let page = b"/Type /Page";
        let all = pdf.windows(page.len() + 1);
        all.filter(|w| w.starts_with(page) && w[page.len()] != b's')
            .count()
    }

    #[test]
    fn the_field_page_of_eight_surfaces_is_one_sheet_whatever_is_said_of_them() {
        if browser().is_err() {
            println!("SKIPPED: no Chromium is on the PATH");
            return;
        }
        let aircraft = book_fixture::eight();
        let book = book_fixture::book(&aircraft);
        let html = aircraft_page::page(&book, TorqueUnit::NewtonCentimetre).unwrap();
        let chapters = html.find("<section class=\"surface chapter\"").unwrap();
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("field.pdf");
        print(&html[..chapters], &file, Duration::from_secs(60)).unwrap();
        assert_eq!(pages(&fs::read(&file).unwrap()), 1);
        // Nothing but the PDF is left behind.
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }
}
