//! Hingewright measures what a builder feels in a control surface and judges it with an honest interval.
//!
//! The rooms of the house, from the wire up to the eye. A lower room never imports a higher one.
//!
//! - [`units`]: the one place that formats a quantity for people.
//! - [`problem`]: what failed, where, what to try; the exit codes.
//! - [`command`]: a command line as a builder can paste it.
//! - [`csv`]: records of text, written and read.
//! - [`link`]: bytes to lines to messages. One decoder for files, ports and tests.
//! - [`recording`]: a recording read, from a capture or from CSV.
//! - [`aircraft`]: `aircraft.toml`, calibrations, linkage geometry.
//! - [`analysis`]: pure; strokes, torque, curve, throws, load.
//! - [`servo`]: pure; what a servo and its control circuit are like: steps, held weights, heat.
//! - [`flight`]: pure; what the air asks of a servo at speed, estimated, against what it has.
//! - [`supply`]: pure; all servos together on one supply: loads, leads against copper, ratings, flights per charge.
//! - [`verdict`]: pure; rules, findings, the sentences.
//! - [`assess`]: a recording measured and judged, in one call.
//! - [`report`]: one view of the results, then text, JSON, HTML and plots; no arithmetic of the trade.
//! - [`history`]: pure; what several recordings say together: a fix, a hinge settling, a season.
//! - [`linkage`]: pure; the push rod along the throw, fitted to measured angles, and with other holes.
//! - [`logbook`]: the folder of an aircraft: recordings as they came, results in Parquet. The only user of polars.
//! - [`doctor`]: pure; whether a rig at rest, its line and the computer are fit to measure with.
//! - [`rig`]: a rig on a line; driving it, recording what it says.
//! - [`bench`]: the live page at the bench, and what commands and page do alike on a rig.
//! - [`simulated`]: a plant that shares no formula with the analysis.
//! - [`cli`]: arguments; one file a command.

pub mod aircraft;
pub mod analysis;
pub mod assess;
pub mod bench;
pub mod cli;
pub mod command;
pub mod csv;
pub mod doctor;
pub mod flight;
pub mod history;
pub mod link;
pub mod linkage;
pub mod logbook;
pub mod problem;
pub mod recording;
pub mod report;
pub mod rig;
pub mod servo;
pub mod simulated;
pub mod supply;
pub mod units;
pub mod verdict;
