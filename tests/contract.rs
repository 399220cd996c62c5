//! What an outsider can rely on, driven through the binary alone: the JSON of `check`, its exit status, the samples,
//! where torque comes from, bad input and files cut off anywhere. Nothing of the analysis is called from here;
//! recordings come from the simulated rig, which shares no formula with it.

#[path = "contract/aircraft_file.rs"]
mod aircraft_file;
#[path = "contract/bad_input.rs"]
mod bad_input;
#[path = "contract/bench.rs"]
mod bench;
#[path = "contract/bench_work.rs"]
mod bench_work;
#[path = "contract/calibrate.rs"]
mod calibrate;
#[path = "contract/club.rs"]
mod club;
#[path = "contract/flight.rs"]
mod flight;
#[path = "contract/help_examples.rs"]
mod help_examples;
#[path = "contract/json.rs"]
mod json;
#[path = "contract/large.rs"]
mod large;
#[path = "contract/linkage.rs"]
mod linkage;
#[path = "contract/logbook.rs"]
mod logbook;
#[path = "contract/new.rs"]
mod new;
#[path = "contract/pages.rs"]
mod pages;
#[path = "contract/prove.rs"]
mod prove;
#[path = "contract/readings.rs"]
mod readings;
#[path = "contract/readme.rs"]
mod readme;
#[path = "contract/repeat.rs"]
mod repeat;
#[path = "contract/report.rs"]
mod report;
#[path = "contract/samples.rs"]
mod samples;
#[path = "contract/season.rs"]
mod season;
#[path = "contract/season_advice.rs"]
mod season_advice;
#[path = "contract/season_keeping.rs"]
mod season_keeping;
#[path = "contract/sensors.rs"]
mod sensors;
#[path = "contract/servos.rs"]
mod servos;
#[path = "contract/shape.rs"]
mod shape;
#[path = "contract/sources.rs"]
mod sources;
#[path = "contract/supply.rs"]
mod supply;
#[path = "contract/truncated.rs"]
mod truncated;
#[path = "contract/wire.rs"]
mod wire;
