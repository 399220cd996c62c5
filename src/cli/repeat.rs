//! `repeat`: the same surface mounted and measured again, by one person or several: how repeatable is this rig?

use std::path::{Path, PathBuf};

use clap::{ArgMatches, Args, FromArgMatches};

use super::whose::Whose;
use super::{at_rig, complain, show};
use crate::aircraft::Aircraft;
use crate::assess::{Assessed, assess, surface_named, surface_of};
use crate::command::word;
use crate::history::gauge::{Mounting, quantities, study};
use crate::logbook::{BY, Logbook};
use crate::problem::{Problem, exit};
use crate::recording::{self, purpose};
use crate::report::repeat::{Shown, Source, json, text};
use crate::units::TorqueUnit;

#[derive(Args)]
#[command(
    after_help = "Take surface or rig off, put it on again, sweep; three times or more by each, people taking turns. Who measured is said in one of \
                  three ways:\n  \
                  --by NAME FILE…   each person with the recordings mounted by them, the option once a person\n  \
                  RECORDING…        each says it itself by a line `# by=NAME`, as `sweep --by NAME` writes it; where none does, all are one \
                  person's\n  \
                  --logbook alone   all sweeps in it that say `# by=`, of the surface given by --surface, since work was last noted\n\
                  Several surfaces measured by the same people (--surface twice, or recordings of both) tell more than one. \
                  Recordings outside a logbook need --aircraft FILE.\n\n\
                  Exit status: 0 it is told how much mounting again changes; 1 unproven; 2 an argument or a file could not be used.\n\n\
                  Example:\n  hingewright repeat --logbook dunlin --surface \"left elevator\"\n  \
                  hingewright repeat --aircraft samples/aircraft.toml --by Ann a1.log a2.log a3.log --by Ben b1.log b2.log b3.log"
)]
pub struct Arguments {
    /// Recordings, one a mounting; with a logbook their IDs will do
    #[arg(value_name = "RECORDING")]
    recordings: Vec<PathBuf>,
    #[command(flatten)]
    by: People,
    #[command(flatten)]
    whose: Whose,
    /// The surface; several times for several
    #[arg(long, value_name = "NAME")]
    surface: Vec<String>,
    /// One JSON object, in N·cm whatever --units says
    #[arg(long)]
    json: bool,
    /// Unit of torque in what is shown: ncm, kgcm, ozin or nm
    #[arg(long, value_name = "UNIT", default_value = "ncm")]
    units: TorqueUnit,
}

/// `--by NAME FILE…`, once a person.
#[derive(Debug, Clone, Default)]
struct People(Vec<(String, Vec<PathBuf>)>);

impl Args for People {
    fn augment_args(command: clap::Command) -> clap::Command {
        command.arg(
            clap::Arg::new(BY)
                .long(BY)
                .value_names(["NAME", "FILE"])
                .num_args(2..)
                .action(clap::ArgAction::Append)
                .help("A person, and the recordings that they mounted; once a person"),
        )
    }

    fn augment_args_for_update(command: clap::Command) -> clap::Command {
        Self::augment_args(command)
    }
}

impl FromArgMatches for People {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        let groups = matches.get_occurrences::<String>(BY).into_iter().flatten();
        let person = groups.filter_map(|mut values| {
            let name = values.next()?.clone();
            Some((name, values.map(PathBuf::from).collect()))
        });
        Ok(Self(person.collect()))
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}

pub fn run(arguments: &Arguments) -> u8 {
    told(arguments).unwrap_or_else(|problem| {
        complain(&problem);
        exit::UNUSABLE
    })
}

/// A mounting, and who made it, where that is said.
type Mounted = (Assessed, Option<String>);

fn told(arguments: &Arguments) -> Result<u8, Problem> {
    let opened = arguments.whose.opened()?;
    let Some(aircraft) = opened.aircraft() else {
        return Err(Problem::new("no logbook is named, and no recordings with their aircraft file").hint(
            "with a logbook: `hingewright repeat --logbook DIR --surface NAME`; without one: `hingewright repeat --aircraft FILE --by NAME RECORDING…`, \
             --by once a person",
        ));
    };
    let logbook = opened.logbook.as_ref();
    let named: Vec<usize> = arguments
        .surface
        .iter()
        .map(|name| surface_named(name, aircraft))
        .collect::<Result<_, _>>()?;
    let mut notes: Vec<String> = opened.note.iter().map(|note| format!("{note}.")).collect();
    let files = !arguments.recordings.is_empty() || !arguments.by.0.is_empty();
    let mounted = match (logbook, files) {
        (Some(logbook), false) => from_logbook(logbook, &named, &mut notes)?,
        _ => from_files(arguments, logbook, aircraft, &named)?,
    };
    alike(&mounted)?;
    shown(arguments, aircraft, mounted, notes)
}

fn from_logbook(
    logbook: &Logbook,
    named: &[usize],
    notes: &mut Vec<String>,
) -> Result<Vec<Mounted>, Problem> {
    let aircraft = logbook.aircraft();
    let all: Vec<usize> = (0..aircraft.surfaces.len()).collect();
    let (found, older) = logbook.mounted_by(if named.is_empty() { &all } else { named })?;
    let mut surfaces: Vec<&str> = found.iter().map(|a| a.summary.surface.as_str()).collect();
    surfaces.sort_unstable();
    surfaces.dedup();
    if named.is_empty() && surfaces.len() > 1 {
        return Err(Problem::new(format!(
            "{}: there are such sweeps of {}",
            logbook.root().display(),
            surfaces.join(", ")
        ))
        .hint("name one with --surface; or several, if the same people measured each of them"));
    }
    if older > 0 {
        notes.push(format!(
            "{older} of them left out: work on the surface or its servo was noted since, or the hinge was worked in."
        ));
    }
    if found.len() < 2 {
        return Err(too_few(logbook, named, found.len(), older)?);
    }
    let by = |a: &Assessed| {
        a.summary
            .keys
            .iter()
            .rfind(|(key, _)| key == BY)
            .map(|(_, by)| by.trim().to_owned())
    };
    Ok(found
        .into_iter()
        .map(|a| {
            let by = by(&a);
            (a, by)
        })
        .collect())
}

fn too_few(
    logbook: &Logbook,
    named: &[usize],
    found: usize,
    older: usize,
) -> Result<Problem, Problem> {
    let surfaces = &logbook.aircraft().surfaces;
    let name = |index: &usize| surfaces[*index].name.as_str();
    let of: Vec<&str> = named.iter().map(name).collect();
    let of = match of.is_empty() {
        true => String::new(),
        false => format!(" of the {}", of.join(" or ")),
    };
    let since = match older {
        0 => String::new(),
        n => format!("; before that there are {n}"),
    };
    let elsewhere = if named.is_empty() {
        Vec::new()
    } else {
        elsewhere(logbook, named)?
    };
    let there: Vec<String> = elsewhere
        .iter()
        .map(|(name, count)| format!("; of the {name} there are {count}"))
        .collect();
    let again = "take the surface off, put it on again and `hingewright sweep … --by NAME`, three times or more; or name recordings with \
                 --by NAME FILE…";
    Ok(Problem::new(format!(
        "{}: {}{of} that says who mounted it (# by=) since work was last noted{since}{}",
        logbook.root().display(),
        match found {
            0 => "no finished sweep",
            _ => "only one finished sweep",
        },
        there.concat()
    ))
    .hint(match elsewhere.first() {
        Some((name, _)) => format!(
            "say --surface {} if that is meant; else {again}",
            word(name)
        ),
        None => again.to_owned(),
    }))
}

/// Other surfaces of which there are such sweeps, enough for a study, and how many.
fn elsewhere(logbook: &Logbook, named: &[usize]) -> Result<Vec<(String, usize)>, Problem> {
    let surfaces = &logbook.aircraft().surfaces;
    let others: Vec<usize> = (0..surfaces.len()).filter(|i| !named.contains(i)).collect();
    let (found, _) = logbook.mounted_by(&others)?;
    let count = |index: usize| found.iter().filter(|a| a.surface_index == index).count();
    let counted = others
        .iter()
        .map(|i| (surfaces[*i].name.clone(), count(*i)));
    Ok(counted.filter(|(_, count)| *count > 1).collect())
}

fn from_files(
    arguments: &Arguments,
    logbook: Option<&Logbook>,
    aircraft: &Aircraft,
    named: &[usize],
) -> Result<Vec<Mounted>, Problem> {
    let mut wanted: Vec<(&Path, Option<&str>)> = Vec::new();
    for (person, files) in &arguments.by.0 {
        if Path::new(person).is_file() {
            return Err(Problem::new(format!(
                "--by {person}: a name is wanted here, and this is a file"
            ))
            .hint("give the person's name first: --by NAME FILE…"));
        }
        wanted.extend(files.iter().map(|f| (f.as_path(), Some(person.trim()))));
    }
    wanted.extend(arguments.recordings.iter().map(|f| (f.as_path(), None)));
    if wanted.len() < 2 {
        return Err(Problem::new("one recording cannot show what repeating changes").hint(
            "name three or more of the same surface, mounted anew before each: RECORDING…, or --by NAME FILE… once a person",
        ));
    }
    let mut seen: Vec<(PathBuf, Vec<u8>)> = Vec::new();
    let mut mounted = Vec::new();
    for (given, person) in wanted {
        let path = match logbook {
            Some(logbook) if !given.is_file() => {
                logbook.recording_by_id(&given.display().to_string())?
            }
            _ => given.to_owned(),
        };
        let bytes = std::fs::read(&path).unwrap_or_default();
        if let Some((same, _)) = seen
            .iter()
            .find(|(_, other)| !bytes.is_empty() && *other == bytes)
        {
            return Err(Problem::new(format!(
                "{} and {} are the same recording",
                same.display(),
                path.display()
            ))
            .hint("name each mounting's recording once"));
        }
        seen.push((path.clone(), bytes));
        mounted.push(one(&path, person, aircraft, named)?);
    }
    Ok(mounted)
}

fn one(
    path: &Path,
    person: Option<&str>,
    aircraft: &Aircraft,
    named: &[usize],
) -> Result<Mounted, Problem> {
    let recording = recording::read_path(path)?;
    let file = path.display().to_string();
    // One that is named is what those are of that do not say; of several each says which.
    let name = match (named, recording.key("surface")) {
        ([only], None) => Some(aircraft.surfaces[*only].name.as_str()),
        _ => None,
    };
    let surface_index = surface_of(&recording, &file, name, aircraft)?;
    if !named.is_empty() && !named.contains(&surface_index) {
        return Err(Problem::new(format!(
            "{file}: this recording is of the {}",
            aircraft.surfaces[surface_index].name
        ))
        .hint("leave it out, or name that surface with --surface as well"));
    }
    let by = person
        .or(recording.key(BY))
        .map(str::trim)
        .filter(|by| !by.is_empty());
    let by = by.map(str::to_owned);
    Ok((assess(recording, &file, aircraft, surface_index), by))
}

fn refuse(one: &Assessed, what: String, hint: &str) -> Result<(), Problem> {
    Err(Problem::new(format!("{}: {what}", one.summary.file)).hint(hint))
}

/// All are finished sweeps between the throws.
fn finished_sweeps(mounted: &[Mounted]) -> Result<(), Problem> {
    for (one, _) in mounted {
        let purpose = one.summary.keys.iter().rfind(|(key, _)| key == "purpose");
        if !purpose::is_sweep(purpose.map(|(_, p)| p.trim())) {
            return refuse(
                one,
                "this recording is no sweep between the throws".into(),
                "name sweeps alone",
            );
        }
        if let Some(why) = &one.summary.unfinished {
            return refuse(
                one,
                format!("of an unfinished run: {why}"),
                "leave it out, or mount and sweep once more",
            );
        }
    }
    Ok(())
}

/// All are finished sweeps by one rig with one source of torque, and either all or none say by whom.
fn alike(mounted: &[Mounted]) -> Result<(), Problem> {
    finished_sweeps(mounted)?;
    let rig = |a: &Assessed| a.summary.rig.as_ref().map(|r| r.name.clone());
    let (first, by) = &mounted[0];
    for (one, its_by) in mounted {
        if rig(one) != rig(first) {
            let name = |a: &Assessed| rig(a).unwrap_or("no rig that is named".into());
            return refuse(
                one,
                format!(
                    "measured by {}, and {} by {}",
                    name(one),
                    first.summary.file,
                    name(first)
                ),
                "a study is of one rig: leave the other's out; with --by NAME ID… single recordings of a logbook are named",
            );
        }
        let (torque, other) = (one.measured.torque_from, first.measured.torque_from);
        if torque != other {
            return refuse(
                one,
                format!(
                    "torque from {}, and in {} from {}",
                    torque.word(),
                    first.summary.file,
                    other.word()
                ),
                "a study is of one way to measure: leave the other out",
            );
        }
        if its_by.is_some() != by.is_some() {
            let silent = if by.is_some() { one } else { first };
            return refuse(
                silent,
                "it does not say who mounted it, and others do".into(),
                "say it with --by NAME FILE…, or put a line `# by=NAME` on top of it",
            );
        }
    }
    Ok(())
}

fn shown(
    arguments: &Arguments,
    aircraft: &Aircraft,
    mounted: Vec<Mounted>,
    mut notes: Vec<String>,
) -> Result<u8, Problem> {
    let (mut people, mut surfaces): (Vec<String>, Vec<usize>) = (Vec::new(), Vec::new());
    let mut sources = Vec::new();
    if mounted[0].1.is_none() {
        notes.push(
            "None of the recordings says who mounted it: all are taken as one person's.".into(),
        );
    }
    for (one, by) in &mounted {
        let by = by.clone().unwrap_or("one person".into());
        // A name written another way is no other person.
        let known = people.iter().find(|p| p.eq_ignore_ascii_case(&by)).cloned();
        let person = place(&mut people, known.unwrap_or(by));
        place(&mut surfaces, one.surface_index);
        sources.push(Source {
            file: one.summary.file.clone(),
            surface: one.summary.surface.clone(),
            person,
        });
    }
    let mountings: Vec<Mounting> = mounted
        .iter()
        .zip(&sources)
        .map(|((one, _), source)| Mounting {
            surface: place(&mut surfaces, one.surface_index),
            person: source.person,
            measured: &one.measured,
            started: started(one),
        })
        .collect();
    let surfaces: Vec<_> = surfaces.iter().map(|i| &aircraft.surfaces[*i]).collect();
    let study = study(&mountings, &quantities(&surfaces));
    let told = study.told();
    let shown = Shown {
        surfaces,
        people: &people,
        sources: &sources,
        torque_from: mounted[0].0.measured.torque_from,
        study: &study,
        notes: &notes,
    };
    let line = arguments.json.then(|| json::line(&shown));
    at_rig::print(line, || {
        text::study(&shown, arguments.units, show::terminal_width())
    })?;
    Ok(if told { exit::NO_FAULT } else { exit::FOUND })
}

/// Where something stands in a list, put there if it is new.
fn place<T: PartialEq>(list: &mut Vec<T>, one: T) -> usize {
    list.iter()
        .position(|other| *other == one)
        .unwrap_or_else(|| {
            list.push(one);
            list.len() - 1
        })
}

fn started(one: &Assessed) -> Option<jiff::Timestamp> {
    let key = one.summary.keys.iter().rfind(|(key, _)| key == "started");
    key.and_then(|(_, at)| at.trim().parse().ok())
}
