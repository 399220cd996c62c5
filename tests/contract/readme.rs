//! What the README shows of a terminal is what the program prints.

use super::bench::run;

const README: &str = include_str!("../../README.md");

/// The session in the README: its command line, and what is shown of its output.
fn session() -> (Vec<&'static str>, Vec<&'static str>) {
    let mut lines = README
        .lines()
        .skip_while(|l| !l.starts_with("    $ hingewright "));
    let command = lines.next().expect("the README shows no session");
    let arguments = command.split_whitespace().skip(2).collect();
    let shown = lines.take_while(|l| l.is_empty() || l.starts_with("    "));
    let shown = shown.map(|l| l.strip_prefix("    ").unwrap_or(l)).collect();
    (arguments, shown)
}

#[test]
fn the_session_that_the_readme_shows_is_what_is_printed() {
    let (arguments, mut shown) = session();
    while shown.last().is_some_and(|l| l.is_empty()) {
        shown.pop();
    }
    assert!(shown.len() > 10, "{shown:#?}");
    let ran = run(arguments);
    assert_eq!(ran.status, 1, "{}", ran.err);
    let mut printed = ran.out.lines();
    let mut left_out = false;
    for line in shown {
        if line == "…" {
            left_out = true;
            continue;
        }
        let found = match left_out {
            true => printed.any(|p| p == line),
            false => printed.next() == Some(line),
        };
        assert!(
            found,
            "the README shows {line:?} where the program prints something else:\n{}",
            ran.out
        );
        left_out = false;
    }
    assert!(
        printed.all(str::is_empty),
        "the README leaves out the end without a word"
    );
}
