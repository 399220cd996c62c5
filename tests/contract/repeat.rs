//! `repeat` from outside: a gauge study of simulated mountings.

use std::path::PathBuf;

use hingewright::simulated::{Scenario, simulate};
use serde_json::Value;

use super::bench::{BY_POWER, BY_TORQUE, Bench, OnFile, Ran, elevator, run};

/// Friction by which each mounting differs, N·cm; Ben mounts it tighter.
const ANN: [f64; 4] = [0.12, -0.2, 0.25, -0.1];
const BEN: [f64; 4] = [1.05, 0.8, 1.25, 0.95];

fn mounting(friction_by: f64, hour: u32) -> Scenario {
    let mut mounted = elevator(BY_TORQUE);
    mounted.plant.hinge.friction_ncm += friction_by;
    mounted.started = format!("2026-04-02T{hour:02}:00:00Z");
    mounted
}

fn put(bench: &Bench, name: &str, keys: &str, scenario: &Scenario, seed: u64) -> PathBuf {
    let mut bytes = format!("# surface=left elevator\n{keys}").into_bytes();
    bytes.extend(simulate(scenario, seed).capture);
    bench.put(name, bytes)
}

/// Both people's recordings at the bench, who took turns; in a folder of it.
fn both(bench: &Bench, folder: &str, keys: impl Fn(&str) -> String) -> [Vec<String>; 2] {
    let mut files = [Vec::new(), Vec::new()];
    for (i, pair) in ANN.iter().zip(BEN).enumerate() {
        for (person, (by, friction)) in [("Ann", *pair.0), ("Ben", pair.1)].into_iter().enumerate()
        {
            let name = format!("{folder}{}-{i}.log", by.to_lowercase());
            let hour = (2 * i + person) as u32;
            let path = put(
                bench,
                &name,
                &keys(by),
                &mounting(friction, hour),
                u64::from(hour) + 40,
            );
            files[person].push(path.display().to_string());
        }
    }
    files
}

fn repeat(bench: &Bench, more: &[&str]) -> Ran {
    let aircraft = bench.path("aircraft.toml");
    let mut arguments = vec!["repeat", "--aircraft", aircraft.to_str().unwrap()];
    arguments.extend(more);
    run(arguments)
}

fn by<'a>(files: &'a [Vec<String>; 2], more: &[&'a str]) -> Vec<&'a str> {
    let mut arguments = Vec::new();
    for (name, own) in ["Ann", "Ben"].into_iter().zip(files) {
        arguments.extend(["--by", name]);
        arguments.extend(own.iter().map(String::as_str));
    }
    arguments.extend(more);
    arguments
}

fn told(ran: &Ran) -> Value {
    let value: Value =
        serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {}", ran.err));
    assert_eq!(value["schema"], "hingewright.repeat/1");
    assert!(!ran.out.contains("NaN"));
    value
}

fn quantity<'a>(value: &'a Value, name: &str) -> &'a Value {
    let all = value["quantities"].as_array().unwrap();
    let found = all.iter().find(|q| q["quantity"] == name);
    found.unwrap_or_else(|| panic!("no {name} in {value}"))
}

fn holds(interval: &Value, truth: f64) -> bool {
    let end = |key: &str| {
        interval[key]
            .as_f64()
            .unwrap_or_else(|| panic!("{interval}"))
    };
    end("lo95") <= truth && truth <= end("hi95")
}

#[test]
fn mountings_and_people_are_told_apart_and_one_pair_claims_more_than_they_allow() {
    let bench = Bench::new(&OnFile::default());
    let files = both(&bench, "", |_| String::new());
    let ran = repeat(&bench, &by(&files, &["--json"]));
    assert_eq!(ran.status, 0, "{}", ran.err);
    let value = told(&ran);
    assert_eq!(value["people"], serde_json::json!(["Ann", "Ben"]));
    assert_eq!(value["outcome"], "told");
    let friction = quantity(&value, "friction_ncm");
    // Of the offsets put in: the standard deviation of Ann's is 0.21, of Ben's 0.19 N·cm; their means lie 0.995 apart.
    assert!(holds(&friction["mounting_sd"], 0.2), "{friction}");
    assert_eq!(friction["people_differ"], true, "{friction}");
    let mean = |i: usize| friction["by"][i]["mean"]["value"].as_f64().unwrap();
    assert!((mean(1) - mean(0) - 0.995).abs() < 0.1, "{friction}");
    let smallest = &friction["smallest_change"];
    let each = |i: usize| {
        smallest["each_side"][i]["same_person"]["value"]
            .as_f64()
            .unwrap()
    };
    assert!(
        smallest["strokes_alone"].as_f64().unwrap() < 0.6 * each(0),
        "{smallest}"
    );
    assert!(each(2) < each(1) && each(1) < each(0));
    // Two people are one degree of freedom: too few.
    assert!(
        smallest["each_side"][0]["another_person"].is_null(),
        "{smallest}"
    );
    // Mounting changed no stiffness: it scatters as the strokes say.
    let stiffness = quantity(&value, "stiffness_ncm_per_deg");
    let own = stiffness["one_recording_u"].as_f64().unwrap();
    assert!(holds(&stiffness["mounting_sd"], own), "{stiffness}");
    assert_eq!(stiffness["people_differ"], false);
    assert_eq!(value["cautions"], serde_json::json!([]));

    let text = repeat(&bench, &by(&files, &[])).out;
    for words in [
        "8 mountings by 2 people",
        "Mounting again changes more than the strokes of one recording tell",
        "People differ beyond what mounting again explains: friction (Ann",
        "`prove` counts the strokes within one mounting only",
    ] {
        assert!(text.replace('\n', " ").contains(words), "{words}: {text}");
    }
    let more: Vec<&Value> = value["quantities"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|q| {
            let smallest = &q["smallest_change"];
            let single = &smallest["each_side"][0]["same_person"]["value"];
            smallest["strokes_alone"].as_f64() > single.as_f64()
        })
        .collect();
    let why = text.matches("Strokes alone is larger").count();
    assert!(!more.is_empty() && why > 0, "{text}");
}

#[test]
fn too_few_mountings_print_no_table_of_nothing_but_unproven() {
    let bench = Bench::new(&OnFile::default());
    let files = both(&bench, "", |_| String::new());
    let table = "Smallest change that shows";
    let few = repeat(&bench, &[&files[0][0], &files[0][1]]);
    let words = few.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(!words.contains(table), "{words}");
    assert!(
        words.contains(
            "nor the smallest change that shows. One person has to mount and measure three times"
        ),
        "{words}"
    );
    let enough = repeat(&bench, &[&files[0][0], &files[0][1], &files[0][2]]);
    assert!(enough.out.contains(table), "{}", enough.out);
}

#[test]
fn what_is_missing_is_named_with_where_it_may_be() {
    let ran = run(["repeat"]);
    ran.refused_with(&["--logbook DIR --surface", "--aircraft FILE --by NAME"]);

    let bench = Bench::new(&OnFile::default());
    let one = std::fs::read_to_string(bench.path("aircraft.toml")).unwrap();
    let at = one.find("\n[[surface]]").unwrap();
    let right = one[at..].replace("left elevator", "right elevator");
    bench.put("aircraft.toml", one.clone() + &right);
    std::fs::create_dir(bench.path("recordings")).unwrap();
    both(&bench, "recordings/", |by| format!("# by={by}\n"));
    let root = bench.path("").display().to_string();
    let of = |surface: &str| run(["repeat", "--logbook", &root, "--surface", surface]);
    of("right elevator").refused_with(&[
        "no finished sweep of the right elevator",
        "of the left elevator there are 8",
        "--surface \"left elevator\"",
    ]);

    // A logbook's own file holds; another is told of.
    let other = bench.put("other.toml", one).display().to_string();
    let surface = ["--surface", "left elevator"];
    let both = ["repeat", "--logbook", &root, "--aircraft"];
    let ran = run([&both[..], &[&other], &surface].concat());
    assert_eq!(ran.status, 0, "{}", ran.err);
    let words = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("other.toml differs from"), "{words}");
    let own = bench.path("aircraft.toml").display().to_string();
    let ran = run([&both[..], &[&own], &surface].concat());
    assert!(!ran.out.contains("differs from"), "{}", ran.out);
}

#[test]
fn the_logbook_gives_those_that_say_by_whom_and_none_from_before_a_fix() {
    let bench = Bench::new(&OnFile::default());
    std::fs::create_dir(bench.path("recordings")).unwrap();
    both(&bench, "recordings/", |by| format!("# by={by}\n"));
    put(&bench, "recordings/other.log", "", &mounting(5.0, 20), 90);
    let root = bench.path("").display().to_string();
    let of_logbook = |more: &[&str]| run([&["repeat", "--logbook", &root][..], more].concat());
    let value = told(&of_logbook(&["--json"]));
    assert_eq!(value["recordings"].as_array().unwrap().len(), 8);
    assert_eq!(quantity(&value, "friction_ncm")["people_differ"], true);
    // IDs do as well.
    let ran = of_logbook(&[
        "--by", "Ann", "ann-0", "ann-1", "--by", "ann", "ann-2", "--json",
    ]);
    let value = told(&ran);
    assert_eq!(value["recordings"].as_array().unwrap().len(), 3);
    assert_eq!(
        value["people"],
        serde_json::json!(["Ann"]),
        "one person, however written"
    );

    let note = [
        "note",
        "left elevator",
        "re-glued",
        "--kind",
        "hinge-work",
        "--date",
        "2026-04-02T04:30:00Z",
        "--logbook",
        &root,
    ];
    assert_eq!(run(note).status, 0);
    let ran = of_logbook(&["--json"]);
    assert_eq!(
        told(&ran)["recordings"].as_array().unwrap().len(),
        3,
        "{}",
        ran.out
    );
    assert!(of_logbook(&[]).out.contains("5 of them left out"));
}

#[test]
fn two_mountings_are_unproven_and_so_are_people_of_one() {
    let bench = Bench::new(&OnFile::default());
    let files = both(&bench, "", |_| String::new());
    let ran = repeat(&bench, &["--json", &files[0][0], &files[0][1]]);
    assert_eq!(
        (ran.status, &told(&ran)["outcome"]),
        (1, &"unproven".into())
    );
    let ran = repeat(
        &bench,
        &[
            "--json",
            "--by",
            "Ann",
            &files[0][0],
            "--by",
            "Ben",
            &files[1][0],
        ],
    );
    assert_eq!(
        (ran.status, &told(&ran)["outcome"]),
        (1, &"unproven".into())
    );
    let ann: Vec<&str> = files[0].iter().map(String::as_str).collect();
    let ran = repeat(&bench, &ann);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let words = ran.out.replace('\n', " ");
    assert!(
        words.contains("What somebody else would read is unproven"),
        "{words}"
    );
}

#[test]
fn a_drift_is_said_to_count_as_spread() {
    let bench = Bench::new(&OnFile::default());
    let files: Vec<String> = (0..7)
        .map(|i| {
            let scenario = mounting(-0.3 * f64::from(i), i);
            let path = put(
                &bench,
                &format!("d{i}.log"),
                "",
                &scenario,
                60 + u64::from(i),
            );
            path.display().to_string()
        })
        .collect();
    let mut arguments = vec!["--json"];
    arguments.extend(files.iter().map(String::as_str));
    let value = told(&repeat(&bench, &arguments));
    let cautions = value["cautions"].to_string();
    assert!(
        cautions.contains("friction falls from mounting to mounting"),
        "{cautions}"
    );
}

#[test]
fn two_surfaces_by_the_same_people_are_one_study_and_a_gap_in_it_is_named() {
    let bench = Bench::new(&OnFile::default());
    let one = std::fs::read_to_string(bench.path("aircraft.toml")).unwrap();
    let at = one.find("\n[[surface]]").unwrap();
    let right = one[at..].replace("left elevator", "right elevator");
    bench.put("aircraft.toml", one + &right);
    let files = both(&bench, "", |_| String::new());
    let mut all = files.clone();
    for (person, by) in [0.3, 1.3].into_iter().enumerate() {
        for i in 0..4_u32 {
            let friction = by + [ANN, BEN][person][i as usize];
            let capture = simulate(
                &mounting(friction, 10 + i),
                70 + u64::from(i) + 4 * person as u64,
            );
            let text = String::from_utf8(capture.capture).unwrap();
            let of_the_right = text.replace("surface=left", "surface=right");
            assert_ne!(of_the_right, text);
            let path = bench.put(&format!("right-{person}-{i}.log"), of_the_right);
            all[person].push(path.display().to_string());
        }
    }
    let value = told(&repeat(&bench, &by(&all, &["--json"])));
    assert_eq!(
        value["surfaces"],
        serde_json::json!(["left elevator", "right elevator"])
    );
    let friction = quantity(&value, "friction_ncm");
    assert_eq!(friction["mean_squares"]["mountings"]["df"], 12.0);
    assert_eq!(friction["mean_squares"]["surfaces_by_people"]["df"], 1.0);
    assert!(holds(&friction["mounting_sd"], 0.2), "{friction}");
    all[1].truncate(4);
    let ran = repeat(&bench, &by(&all, &[]));
    let words = ran.out.replace('\n', " ");
    assert!(
        words.contains("not measured were right elevator by Ben"),
        "{words}"
    );
}

#[test]
fn recordings_that_do_not_belong_together_are_refused_by_name() {
    let bench = Bench::new(&OnFile::default());
    let files = both(&bench, "", |_| String::new());
    let (a, b) = (files[0][0].as_str(), files[0][1].as_str());
    repeat(&bench, &[a]).refused_with(&["one recording cannot show"]);
    repeat(&bench, &[a, b, a]).refused_with(&["are the same recording"]);
    let power = put(&bench, "power.log", "", &elevator(BY_POWER), 5);
    repeat(&bench, &[a, power.to_str().unwrap()])
        .refused_with(&["power.log: torque from supply-power"]);
    let mut unfinished = mounting(0.0, 9);
    unfinished
        .keys
        .push(("outcome".into(), "unfinished".into()));
    let unfinished = put(&bench, "cut.log", "", &unfinished, 6);
    repeat(&bench, &[a, unfinished.to_str().unwrap()])
        .refused_with(&["cut.log: of an unfinished run"]);
    let named = put(&bench, "named.log", "# by=Ann\n", &mounting(0.0, 10), 7);
    repeat(&bench, &[a, named.to_str().unwrap()])
        .refused_with(&["does not say who mounted it", "# by="]);
    let other = std::fs::read_to_string(a)
        .unwrap()
        .replace("surface=left", "surface=right");
    let other = bench.put("other.log", other);
    repeat(
        &bench,
        &[a, other.to_str().unwrap(), "--surface", "left elevator"],
    )
    .refused_with(&["other.log", "right elevator"]);
    repeat(&bench, &["--by", a, b, b]).refused_with(&["a name is wanted here"]);
}
