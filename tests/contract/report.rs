//! `report` from outside: the page of an aircraft, and its print through whatever browser is there.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};

use tempfile::TempDir;

const SOUND: &str = "samples/1-left-elevator-sound.log";

/// A logbook with one sample as recordings of several days and purposes.
struct Book(TempDir);

struct Ran {
    status: i32,
    out: String,
    err: String,
}

impl Book {
    fn new() -> Self {
        let book = Self(tempfile::tempdir().unwrap());
        fs::create_dir(book.path("recordings")).unwrap();
        for file in [
            "aircraft.toml",
            "E1.calibration.toml",
            "E2.calibration.toml",
        ] {
            fs::copy(Path::new("samples").join(file), book.path(file)).unwrap();
        }
        book
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// The sample with lines of the host before it, its own time and purpose taken out.
    fn record(&self, id: &str, started: &str, lines: &str) {
        let text = fs::read_to_string(SOUND).unwrap();
        let own = text.split_inclusive('\n');
        let own = own.filter(|l| !l.starts_with("# started=") && !l.starts_with("# purpose="));
        let own: String = own.collect();
        let path = self.path(&format!("recordings/{id}.log"));
        fs::write(path, format!("# started={started}\n{lines}{own}")).unwrap();
    }

    fn run_with(&self, command: &[&str], environment: &[(&str, &str)]) -> Ran {
        let output = Command::new(env!("CARGO_BIN_EXE_hingewright"))
            .args(command)
            .arg("--logbook")
            .arg(self.0.path())
            .envs(environment.iter().copied())
            .output()
            .unwrap();
        let ran = Ran {
            status: output.status.code().expect("ended by a signal"),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        };
        assert!(!ran.err.contains("panicked"), "{}", ran.err);
        ran
    }

    fn run(&self, command: &[&str]) -> Ran {
        self.run_with(command, &[])
    }

    /// Names of what stands in its folder.
    fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(self.0.path()).unwrap();
        let names = entries.map(|e| e.unwrap().file_name().to_string_lossy().into_owned());
        let mut names: Vec<String> = names.collect();
        names.sort();
        names
    }

    /// A browser for `HINGEWRIGHT_BROWSER`: a script that finds the PDF's place in `$pdf` and the page in `$page`.
    #[cfg(unix)]
    fn browser(&self, script: &str) -> String {
        use std::os::unix::fs::PermissionsExt;
        let path = self.path("browser");
        let head = "#!/bin/sh\nfor a in \"$@\"; do case \"$a\" in --print-to-pdf=*) pdf=\"${a#*=}\";; *) page=\"$a\";; esac; done\n";
        fs::write(&path, format!("{head}{script}\n")).unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
        path.to_str().unwrap().to_owned()
    }
}

fn one_sweep() -> Book {
    let book = Book::new();
    book.record("a", "2026-04-01T10:00:00Z", "");
    book
}

#[test]
fn the_report_tells_the_whole_story_of_a_surface() {
    let book = Book::new();
    let batch = |before| {
        format!("# purpose=break-in\n# cycles_before={before}\n# stage_deg=20\n# cycles=6\n")
    };
    book.record("a", "2026-04-01T10:00:00Z", "");
    book.record("b", "2026-04-02T10:00:00Z", &batch(0));
    book.record("c", "2026-04-02T10:10:00Z", &batch(6));
    book.record("d", "2026-04-03T10:00:00Z", "");
    book.record("e", "2026-04-12T10:00:00Z", "");
    let note = [
        "note",
        "left elevator",
        "new <clevis>",
        "--kind",
        "rod-work",
        "--date",
        "2026-04-10",
    ];
    assert_eq!(book.run(&note).status, 0);
    assert_eq!(book.run(&["recheck"]).status, 0);
    let ran = book.run(&["report"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let html = fs::read_to_string(book.path("report.html")).unwrap();
    let (field, chapters) = html
        .split_once("<section class=\"surface chapter\"")
        .unwrap();
    for told in [
        "no fault found",
        "rod work: new &lt;clevis&gt;",
        "and 1 earlier",
        "no change shown",
        "not measured yet",
        "Signature",
    ] {
        assert!(field.contains(told), "{told}");
    }
    for told in [
        "Before and after: worked in, 12 cycles",
        "Before and after: rod work: new &lt;clevis&gt;",
        "Worked in: ",
        "From recording to recording",
        "Servo E1",
        "Left out: 2 made while a hinge was worked in: ",
    ] {
        assert!(chapters.contains(told), "{told}");
    }
    assert!(!html.contains("<clevis>"));
    // One chapter; the other surfaces stand on the field page.
    assert_eq!(
        html.matches("<section class=\"surface chapter\"").count(),
        1
    );
}

#[test]
fn the_same_logbook_is_told_the_same_whatever_its_recordings_are_called() {
    let book = one_sweep();
    book.record("0-later", "2026-05-01T10:00:00Z", "");
    book.run(&["report"]);
    let html = fs::read_to_string(book.path("report.html")).unwrap();
    assert!(html.contains("2026-05-01") && html.contains("0-later.log"));
}

#[cfg(unix)]
#[test]
fn a_print_is_written_whole_and_named_in_full() {
    let book = one_sweep();
    let browser = book
        .browser("grep -q 'field page' \"$page\" && printf '%%PDF-1.4\\n%%%%EOF\\n' > \"$pdf\"");
    let before = book.names();
    let ran = book.run_with(&["report", "--pdf"], &[("HINGEWRIGHT_BROWSER", &browser)]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let (html, pdf) = (book.path("report.html"), book.path("report.pdf"));
    let told = format!("written: {}\nwritten: {}\n", html.display(), pdf.display());
    assert_eq!(ran.out, told);
    assert_eq!(fs::read(&pdf).unwrap(), b"%PDF-1.4\n%%EOF\n");
    // Nothing of the printing is left behind.
    assert_eq!(book.names().len(), before.len() + 2);

    let elsewhere = book.path("my print.pdf");
    let page = book.run_with(
        &[
            "report",
            "--into",
            "-",
            "--pdf",
            elsewhere.to_str().unwrap(),
        ],
        &[("HINGEWRIGHT_BROWSER", &browser)],
    );
    assert!(
        page.out.ends_with("</html>\n") || page.out.ends_with("</html>"),
        "{}",
        page.err
    );
    assert!(
        page.err
            .contains(&format!("written: {}", elsewhere.display()))
    );
    assert!(elsewhere.exists());
}

#[cfg(unix)]
#[test]
fn a_browser_that_fails_hangs_or_tears_the_print_is_told_and_the_page_is_there_all_the_same() {
    let book = one_sweep();
    for (script, word) in [
        (
            "echo 'no display to be had' >&2; exit 7",
            "no display to be had",
        ),
        ("printf '%%PDF-1.4\\nhalf of' > \"$pdf\"", "no whole PDF"),
        ("exit 0", "no whole PDF"),
        (
            "sleep 300 & echo $! > \"$0.child\"; wait",
            "not done after 1 s",
        ),
    ] {
        let browser = book.browser(script);
        let _ = fs::remove_file(book.path("report.html"));
        fs::write(book.path("report.pdf"), "of yesterday").unwrap();
        let since = Instant::now();
        let ran = book.run_with(
            &["report", "--pdf", "--pdf-seconds", "1"],
            &[("HINGEWRIGHT_BROWSER", &browser)],
        );
        assert_eq!(ran.status, 2, "{script}: {}", ran.err);
        assert!(
            ran.err.contains(word) && ran.err.contains("what to do"),
            "{}",
            ran.err
        );
        assert!(since.elapsed() < Duration::from_secs(30));
        assert!(book.path("report.html").exists());
        assert!(!ran.out.contains("report.pdf"), "{}", ran.out);
        assert_eq!(fs::read(book.path("report.pdf")).unwrap(), b"of yesterday");
        let left = book.names();
        assert!(
            !left.iter().any(|n| n.starts_with("hingewright-printing")),
            "{left:?}"
        );
    }
    // What the hanging one had started is gone too: it was told to, and a busy
    // machine takes a moment over it.
    let child = fs::read_to_string(book.path("browser.child")).unwrap();
    let status = format!("/proc/{}/status", child.trim());
    let since = Instant::now();
    while let Ok(told) = fs::read_to_string(&status)
        && !told.contains("State:\tZ")
    {
        assert!(since.elapsed() < Duration::from_secs(20), "{told}");
        thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn without_a_browser_the_page_is_written_and_the_want_is_said() {
    let book = one_sweep();
    let nowhere = book.path("nowhere");
    let path = nowhere.to_str().unwrap();
    let environment = [("PATH", path), ("HINGEWRIGHT_BROWSER", "")];
    let ran = book.run_with(&["report", "--pdf"], &environment);
    assert_eq!(ran.status, 2);
    for word in [
        "no browser to print with",
        "HINGEWRIGHT_BROWSER",
        "open the HTML page",
    ] {
        assert!(ran.err.contains(word), "{word}: {}", ran.err);
    }
    assert_eq!(
        ran.out,
        format!("written: {}\n", book.path("report.html").display())
    );
    assert!(!book.path("report.pdf").exists());
}

#[test]
fn a_print_never_stands_in_the_page_s_place_or_among_the_logbook_s_own_files() {
    let book = one_sweep();
    for file in ["aircraft.toml", "recordings/a.log", "report.html"] {
        let file = book.path(file);
        let before = fs::read(&file).ok();
        let ran = book.run(&["report", "--pdf", file.to_str().unwrap()]);
        assert_eq!(ran.status, 2, "{}", ran.out);
        assert!(ran.err.contains("--pdf"), "{}", ran.err);
        assert_eq!(fs::read(&file).ok(), before);
    }
    assert!(!book.path("report.html").exists());
}

#[test]
fn a_real_browser_prints_the_report() {
    let names = ["chromium", "chromium-browser", "google-chrome", "chrome"];
    let path = std::env::var_os("PATH").unwrap_or_default();
    if !std::env::split_paths(&path).any(|f| names.iter().any(|n| f.join(n).is_file())) {
        println!("SKIPPED: no Chromium is on the PATH");
        return;
    }
    let book = one_sweep();
    let ran = book.run(&["report", "--pdf"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let pdf = fs::read(book.path("report.pdf")).unwrap();
    assert!(pdf.starts_with(b"%PDF-") && pdf.len() > 10_000);
}
