use super::*;
use crate::aircraft::Aircraft;
use crate::analysis::Quantity;
use crate::csv::records;
use crate::history::compare::{self, Caution, Change, Outcome, Proof, What};
use crate::history::season::Measure;
use crate::report::book::{Chapter, Done, Fix, ServoRecord};
use crate::report::{course_fixture as course, fixture};

/// Rows by the names of their columns.
struct Read {
    header: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Read {
    fn of(tables: &[Table], name: &str) -> Self {
        let (_, bytes) = tables.iter().find(|t| t.0 == name).unwrap();
        let mut all = records(bytes).unwrap().into_iter();
        let header = all.next().unwrap();
        let rows: Vec<_> = all.collect();
        assert!(rows.iter().all(|r| r.len() == header.len()), "{name}");
        Self { header, rows }
    }

    fn column(&self, name: &str) -> Vec<&str> {
        let at = self.header.iter().position(|h| h == name);
        let at = at.unwrap_or_else(|| panic!("no {name} in {:?}", self.header));
        self.rows.iter().map(|r| r[at].as_str()).collect()
    }

    /// `None` where the field is empty.
    fn numbers(&self, name: &str) -> Vec<Option<f64>> {
        let number = |cell: &str| (!cell.is_empty()).then(|| cell.parse().unwrap());
        self.column(name).into_iter().map(number).collect()
    }
}

fn empty(aircraft: &Aircraft) -> Book<'_> {
    Book {
        aircraft,
        logbook: "/somewhere/dunlin".into(),
        written: course::at(200.0),
        surfaces: Vec::new(),
        servos: Vec::new(),
        remarks: Vec::new(),
    }
}

fn done(days: f64, subject: &str, text: &str) -> Done {
    Done {
        at: course::at(days),
        subject: subject.into(),
        kind: "hinge-work",
        text: text.into(),
    }
}

fn proof() -> Proof {
    let change = |what, before: f64, after: f64| Change {
        what,
        before: Some(course::quantity(before, 0.01)),
        after: Some(course::quantity(after, 0.01)),
        change: course::quantity(after - before, 0.015),
        smallest_seen: 0.04,
        p: 1e-9,
        p_of_all: 2.5e-8,
        verdict: compare::Verdict::Better,
    };
    Proof {
        changes: vec![
            change(What::Stiffness, 0.41, 0.30),
            change(What::Throw(0), 23.1, 24.2),
        ],
        left_out: vec![What::Slop],
        cautions: vec![Caution::Rig("one, \"old\"".into(), "other".into())],
        outcome: Outcome::Better,
    }
}

/// Everything that a book can hold.
fn full(aircraft: &Aircraft) -> Book<'_> {
    let chapter = |index: usize, latest| Chapter {
        surface: &aircraft.surfaces[index],
        latest,
        worked_in: None,
        fixes: Vec::new(),
        done: Vec::new(),
        record: None,
    };
    let readings = course::readings(course::every(9.0, 14), |d| 0.15 + 0.0015 * d);
    let subjects = course::subjects(&readings, &[course::note(20.0, "rod-work: new clevis")]);
    let [surface, servo] = [0, 1].map(|kind| {
        let kinds = [
            crate::history::season::Kind::Surface,
            crate::history::season::Kind::Servo,
        ];
        subjects.iter().find(|s| s.kind == kinds[kind]).cloned()
    });
    let note = done(20.0, "E1", "naïve, \"quoted\"\nand 舵");
    let mut book = empty(aircraft);
    book.surfaces = vec![
        Chapter {
            worked_in: Some(course::worked_in(&[(Some(20.0), 5), (None, 1)], true)),
            fixes: vec![Fix {
                what: "worked in, 24 cycles".into(),
                before: fixture::knee(aircraft),
                after: fixture::fault_free(aircraft),
                proof: proof(),
            }],
            done: vec![note.clone(), done(10.0, "left elevator", "reglued")],
            record: surface,
            ..chapter(0, Some(fixture::knee(aircraft)))
        },
        chapter(1, None),
        chapter(2, Some(fixture::short(aircraft))),
    ];
    book.servos = vec![ServoRecord {
        tag: "E1".into(),
        model: Some("metal gear, 21 kg·cm".into()),
        surfaces: vec!["left elevator".into()],
        record: servo,
        done: vec![note],
    }];
    book.remarks = vec!["one recording was left out".into()];
    book
}

const NAMES: [&str; 17] = [
    "about.csv",
    "surfaces.csv",
    "throws.csv",
    "findings.csv",
    "measured.csv",
    "curve.csv",
    "curve_points.csv",
    "holds.csv",
    "break_in.csv",
    "settling.csv",
    "fixes.csv",
    "changes.csv",
    "record.csv",
    "record_points.csv",
    "done.csv",
    "servos.csv",
    "remarks.csv",
];

#[test]
fn every_table_is_there_with_its_header_whether_or_not_anything_is_in_it() {
    let aircraft = fixture::aircraft();
    let (none, all) = (tables(&empty(&aircraft)), tables(&full(&aircraft)));
    let names = |tables: &[Table]| -> Vec<String> { tables.iter().map(|t| t.0.clone()).collect() };
    assert_eq!(names(&none), NAMES);
    assert_eq!(names(&all), NAMES);
    for name in NAMES {
        let (none, all) = (Read::of(&none, name), Read::of(&all, name));
        assert_eq!(none.header, all.header, "{name}");
        assert_eq!(none.rows.len(), usize::from(name == "about.csv"), "{name}");
        assert!(!all.rows.is_empty(), "{name}");
        let mut unique = all.header.clone();
        unique.sort();
        unique.dedup();
        assert_eq!(unique.len(), all.header.len(), "{name}");
    }
    for (name, bytes) in &all {
        let text = std::str::from_utf8(bytes).unwrap();
        assert!(
            text.ends_with("\r\n") && !text.starts_with('\u{FEFF}'),
            "{name}"
        );
        assert!(!text.contains("NaN") && !text.contains("inf,"), "{name}");
    }
}

#[test]
fn numbers_come_back_to_their_last_bit() {
    let aircraft = fixture::aircraft();
    let mut book = full(&aircraft);
    let curve = book.surfaces[0]
        .latest
        .as_mut()
        .unwrap()
        .measured
        .curve
        .as_mut();
    let curve = curve.unwrap();
    for (point, odd) in curve
        .points
        .iter_mut()
        .zip([0.1 + 0.2, 1e-300, -1.0 / 3.0, 1e300])
    {
        point.torque_ncm = odd;
    }
    let tables = tables(&book);
    let checked = book.surfaces[0].latest.as_ref().unwrap();
    let curve = checked.measured.curve.as_ref().unwrap();
    let read = Read::of(&tables, "curve_points.csv");
    let torque: Vec<f64> = curve.points.iter().map(|p| p.torque_ncm).collect();
    let back = read.numbers("torque_ncm");
    assert!(back.len() > torque.len() && torque.len() > 100);
    let same = torque.iter().zip(&back);
    assert!(
        same.clone()
            .all(|(a, b)| a.to_bits() == b.unwrap().to_bits())
    );
    let read = Read::of(&tables, "measured.csv");
    let row = read
        .column("quantity")
        .iter()
        .position(|q| *q == "stiffness_ncm_per_deg");
    let interval = curve.stiffness_ncm_per_deg.interval.unwrap();
    for (name, value) in [
        ("value", curve.stiffness_ncm_per_deg.value),
        ("u", interval.u),
        ("lo95", interval.lo95),
        ("hi95", interval.hi95),
    ] {
        assert_eq!(read.numbers(name)[row.unwrap()], Some(value));
    }
    assert_eq!(read.column("unit")[row.unwrap()], "N·cm/deg");
    let points = Read::of(&tables, "record_points.csv");
    let record = book.surfaces[0].record.as_ref().unwrap();
    let first = &record.quantities[0];
    let values = points.numbers("value");
    for (i, point) in first.points.iter().enumerate() {
        assert_eq!(values[i], Some(point.quantity.value));
        assert_eq!(points.column("at")[i], point.at.to_string());
    }
    let in_force = points.column("in_force");
    assert_eq!(
        in_force.iter().position(|f| *f == "true"),
        Some(first.in_force_from)
    );
}

/// A name that a spreadsheet would run.
const FORMULAS: [&str; 9] = [
    "=HYPERLINK(\"http://x\",\"y\")",
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\t=1",
    " =1",
    "'quoted",
    "''twice",
    "＝1",
];

#[test]
fn a_text_is_never_a_formula_and_loses_nothing() {
    for formula in FORMULAS {
        let mut aircraft = fixture::aircraft();
        aircraft.name = formula.into();
        aircraft.surfaces[0].name = formula.into();
        aircraft.surfaces[0].throws[0].name = formula.into();
        aircraft.servos[0].tag = formula.into();
        let mut book = full(&aircraft);
        let latest = book.surfaces[0].latest.as_mut().unwrap();
        latest.recording.file = format!("recordings/{formula}.log");
        latest.measured.throws[0].name = formula.into();
        book.surfaces[0].done[1].text = formula.into();
        book.surfaces[0].fixes[0].what = formula.into();
        book.remarks[0] = formula.into();
        book.servos[0].tag = formula.into();
        book.servos[0].model = Some(formula.into());
        let tables = tables(&book);
        for (name, column) in [
            ("about.csv", "aircraft"),
            ("surfaces.csv", "surface"),
            ("surfaces.csv", "servo"),
            ("throws.csv", "throw"),
            ("curve.csv", "surface"),
            ("break_in.csv", "surface"),
            ("fixes.csv", "what"),
            ("done.csv", "text"),
            ("servos.csv", "servo"),
            ("servos.csv", "model"),
            ("remarks.csv", "remark"),
        ] {
            let read = Read::of(&tables, name);
            let column = read.column(column);
            assert!(
                column.iter().any(|cell| text_of(cell) == formula),
                "{name}: {column:?}"
            );
        }
        for (name, _) in &tables {
            for cell in Read::of(&tables, name).rows.iter().flatten() {
                let cell = cell.trim_start();
                let runs = cell.starts_with(['=', '+', '-', '@', '＝']);
                assert!(!runs || cell.parse::<f64>().is_ok(), "{name}: {cell}");
            }
        }
    }
    assert_eq!(text_of("left elevator"), "left elevator");
}

#[test]
fn what_was_not_measured_is_an_empty_field() {
    let aircraft = fixture::aircraft();
    let mut book = full(&aircraft);
    book.surfaces[0].latest = Some(fixture::nothing_measured(&aircraft));
    let batch = &mut book.surfaces[0].worked_in.as_mut().unwrap().batches[1];
    batch.friction_ncm = Some(Quantity {
        value: f64::NAN,
        interval: Some(course::quantity(1.0, 0.1).interval.unwrap()),
    });
    batch.stiffness_ncm_per_deg = Some(Quantity {
        value: 0.4,
        interval: None,
    });
    let tables = tables(&book);
    let surfaces = Read::of(&tables, "surfaces.csv");
    assert_eq!(surfaces.numbers("share_of_stall")[0], None);
    assert_eq!(surfaces.numbers("rate_hz")[0], None);
    // Never swept.
    assert_eq!(surfaces.column("verdict")[1], "");
    assert_eq!(surfaces.column("throws_met")[..2], ["0", ""]);
    assert_eq!(
        Read::of(&tables, "throws.csv").numbers("reached_mm")[0],
        None
    );
    let batches = Read::of(&tables, "break_in.csv");
    assert_eq!(batches.numbers("friction_ncm_lo95")[1], None);
    assert_eq!(batches.numbers("stiffness_ncm_per_deg")[1], Some(0.4));
    assert_eq!(batches.numbers("stiffness_ncm_per_deg_u")[1], None);
    assert_eq!(
        batches.column("what")[4..],
        ["worked", "worked-by-hand", "recheck"]
    );
}

#[test]
fn each_note_stands_there_once_and_whole() {
    let aircraft = fixture::aircraft();
    let tables = tables(&full(&aircraft));
    let done = Read::of(&tables, "done.csv");
    assert_eq!(
        done.column("text"),
        ["reglued", "naïve, \"quoted\"\nand 舵"]
    );
    assert_eq!(done.column("subject"), ["left elevator", "E1"]);
}

#[test]
fn a_fix_s_changes_are_named_as_prove_names_them() {
    let aircraft = fixture::aircraft();
    let tables = tables(&full(&aircraft));
    let changes = Read::of(&tables, "changes.csv");
    assert_eq!(
        changes.column("quantity"),
        ["stiffness_ncm_per_deg", "throw_reached_mm"]
    );
    assert_eq!(changes.column("which"), ["", "up"]);
    assert_eq!(changes.column("unit"), ["N·cm/deg", "mm"]);
    assert_eq!(changes.column("before"), ["knee", "knee"]);
    assert_eq!(changes.numbers("p"), [Some(1e-9); 2]);
    let fixes = Read::of(&tables, "fixes.csv");
    assert_eq!(fixes.column("outcome"), ["better"]);
    assert_eq!(fixes.column("not_compared"), ["slop"]);
    assert!(fixes.column("cautions")[0].contains("one, \"old\" before"));
    let record = Read::of(&tables, "record.csv");
    let slop = record
        .column("quantity")
        .iter()
        .position(|q| *q == Measure::Slop.column());
    assert_eq!(record.numbers("limit_upper")[slop.unwrap()], Some(0.5));
    assert_eq!(
        record.column("since_what")[slop.unwrap()],
        "rod-work: new clevis"
    );
}
