//! Manual pages and completions, and what the package takes along.

use std::path::Path;
use std::process::Command;

#[allow(dead_code)]
#[path = "../../examples/make_pages.rs"]
mod make_pages;

/// A command's name with those of the commands above it, and itself.
fn all(command: &clap::Command, above: &str, found: &mut Vec<(String, clap::Command)>) {
    let name = match above {
        "" => command.get_name().to_owned(),
        above => format!("{above}-{}", command.get_name()),
    };
    for below in command.get_subcommands().filter(|c| c.get_name() != "help") {
        all(below, &name, found);
    }
    found.push((name, command.clone()));
}

#[test]
fn every_command_has_a_manual_page_with_all_its_options_and_examples() {
    let folder = tempfile::tempdir().unwrap();
    make_pages::write(folder.path()).unwrap();
    let mut commands = Vec::new();
    all(&hingewright::cli::command(), "", &mut commands);
    assert!(commands.len() > 25, "{}", commands.len());
    for (name, command) in commands {
        let file = folder.path().join("man").join(format!("{name}.1"));
        let page = std::fs::read_to_string(&file).unwrap_or_else(|e| panic!("{name}: {e}"));
        // Hyphens are escaped in a page.
        let plain = page.replace("\\-", "-");
        assert!(plain.contains(".SH NAME"), "{name}");
        for option in command.get_arguments().filter_map(clap::Arg::get_long) {
            assert!(
                plain.contains(&format!("--{option}")),
                "{name}: no --{option}"
            );
        }
        let help = command.get_after_help().map(ToString::to_string);
        let example = help.and_then(|h| {
            h.lines()
                .map(str::trim)
                .find(|l| l.starts_with("hingewright "))
                .map(str::to_owned)
        });
        let example = example.and_then(|e| e.split('"').next().map(|e| e.trim().to_owned()));
        assert!(example.is_none_or(|e| plain.contains(&e)), "{name}: {page}");
    }
}

#[test]
fn completions_know_every_command_and_are_what_the_shell_takes() {
    let folder = tempfile::tempdir().unwrap();
    let written = make_pages::write(folder.path()).unwrap();
    for file in &written[1..] {
        let text = std::fs::read_to_string(file).unwrap();
        for word in ["sweep", "repeat", "doctor", "break-in", "logbook"] {
            assert!(text.contains(word), "{}: no {word}", file.display());
        }
    }
    let bash = folder.path().join("hingewright.bash");
    match Command::new("bash").arg("-n").arg(&bash).status() {
        Ok(status) => assert!(status.success(), "bash does not take its completions"),
        Err(error) => println!("SKIPPED: no bash here: {error}"),
    }
}

#[test]
fn what_the_package_takes_along_is_there_or_made_by_the_example() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = tempfile::tempdir().unwrap();
    make_pages::write(folder.path()).unwrap();
    let manifest: toml::Table = std::fs::read_to_string(root.join("Cargo.toml"))
        .unwrap()
        .parse()
        .unwrap();
    let assets = manifest["package"]["metadata"]["deb"]["assets"]
        .as_array()
        .unwrap();
    assert!(assets.len() >= 7);
    for asset in assets {
        let from = asset[0].as_str().unwrap();
        let here = match from.strip_prefix("target/pages/") {
            Some(made) => folder.path().join(made),
            None => root.join(from),
        };
        // A star stands for all files of a folder, two for all below it.
        let folder = here
            .ancestors()
            .find(|p| !p.to_string_lossy().contains('*'));
        let there = match from.contains('*') {
            true => folder.unwrap().read_dir().unwrap().count() > 0,
            false => here.exists() || from.starts_with("target/release/"),
        };
        assert!(there, "{from} is not there");
    }
}
