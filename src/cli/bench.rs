//! `bench`: the live page, served until Ctrl-C.

use std::fmt::Write;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::channel;
use std::time::Duration;

use clap::Args;
use minijinja::HtmlEscape;
use qrcode::QrCode;
use qrcode::render::unicode::Dense1x2;

use super::rig::{PortArguments, open, runtime};
use super::sweep::opened;
use super::words::say;
use super::{complain, new};
use crate::aircraft::Aircraft;
use crate::bench::gate::Gate;
use crate::bench::hub::{Hub, throws};
use crate::bench::plan as seen_from_above;
use crate::bench::serve::{Served, bind, serve};
use crate::bench::told::{State, SurfaceTold, SweepTold};
use crate::bench::worker::{Worker, plan};
use crate::logbook::{AIRCRAFT_FILE, Logbook};
use crate::problem::{Problem, exit};
use crate::report::CAUTIONS;
use crate::rig::asked_to_end;

#[derive(Args)]
#[command(
    after_help = "Example:\n  hingewright bench --port /dev/ttyACM0 --logbook dunlin --share\n\n\
                  It serves this computer alone, unless --share opens it to the network: then everybody with the address and its key \
                  can move the surfaces, and what goes over the network can be read there. Share it on a network that you trust.\n\
                  Exit status: 0 ended by Ctrl-C; 2 a file, an argument or the page's port could not be used."
)]
pub struct Arguments {
    /// The rig's serial port
    #[arg(long, value_name = "PATH")]
    port: String,
    /// Bits per second of the line; a rig with USB of its own does not mind
    #[arg(long, value_name = "N", default_value_t = 115_200)]
    baud: u32,
    /// The logbook: a folder with aircraft.toml in it; without that file the page asks for the aircraft first
    #[arg(long, value_name = "DIR")]
    logbook: PathBuf,
    /// Begin a new logbook with this aircraft file, if there is none yet
    #[arg(long, value_name = "FILE")]
    aircraft: Option<PathBuf>,
    /// Open the page to the local network, for a phone at the bench
    #[arg(long)]
    share: bool,
    /// Port of the page on this computer; 0 takes any that is free
    #[arg(long, value_name = "N", default_value_t = 8640)]
    page_port: u16,
}

/// For the last word to the pages.
const PAGES_HEAR_WITHIN: Duration = Duration::from_millis(150);

pub fn run(arguments: &Arguments) -> u8 {
    match served(arguments) {
        Ok(()) => exit::NO_FAULT,
        Err(problem) => {
            complain(&problem);
            exit::UNUSABLE
        }
    }
}

fn served(arguments: &Arguments) -> Result<(), Problem> {
    let there = arguments.logbook.join(AIRCRAFT_FILE);
    let asks = arguments.aircraft.is_none() && !there.exists() && !arguments.logbook.is_file();
    // A logbook that cannot be used is said before anything is served.
    let open_it = || opened(&arguments.logbook, arguments.aircraft.as_deref(), None);
    let logbook = if asks { None } else { Some(open_it()?) };
    let runtime = runtime()?;
    let on = match arguments.share {
        true => Ipv4Addr::UNSPECIFIED,
        false => Ipv4Addr::LOCALHOST,
    };
    let address = SocketAddr::from((on, arguments.page_port));
    let listener = runtime.block_on(bind(address))?;
    let page_port = listener
        .local_addr()
        .map_or(arguments.page_port, |a| a.port());
    let mut addresses = vec![IpAddr::V4(Ipv4Addr::LOCALHOST)];
    if arguments.share {
        addresses.extend(of_the_network());
    }
    let gate = Arc::new(Gate::new(&addresses, page_port));
    let what = match &logbook {
        Some(logbook) => format!(
            "aircraft   {}\nlogbook    {}\n",
            logbook.aircraft().name,
            logbook.root().display()
        ),
        None => format!(
            "logbook    {} has no {AIRCRAFT_FILE} yet: the page asks for the aircraft first, and begins it\n",
            arguments.logbook.display()
        ),
    };
    say(&(what + &shown(arguments, &gate, &addresses, page_port)));
    let logbook = match logbook {
        Some(logbook) => logbook,
        None if new::at_page(&runtime, &listener, &gate, &there)? => {
            say(&format!("begun      {}", there.display()));
            open_it()?
        }
        None => {
            say("The page has ended; nothing was written.");
            return Ok(());
        }
    };
    let logbook = Arc::new(logbook);
    let (orders, taken) = channel();
    let hub = Arc::new(Hub::new(first(&logbook), orders));
    let names: Vec<&str> = names(logbook.aircraft());
    let served = Served::new(
        Arc::clone(&hub),
        gate,
        logbook.root().to_owned(),
        seen_from_above::svg(&names),
        cautions(),
    );
    let port = PortArguments {
        port: arguments.port.clone(),
        baud: arguments.baud,
    };
    let opens = Box::new(move || open(&port));
    let worker = Worker::new(logbook, Arc::clone(&hub), taken, opens)?;
    let works = std::thread::Builder::new()
        .name("worker".into())
        .spawn(|| worker.work())
        .map_err(|e| Problem::new(format!("the program could not start its worker: {e}")))?;
    runtime.block_on(async {
        serve(&listener, Arc::new(served), async {
            hub.end(asked_to_end().await);
            // What runs is stopped and kept before the page goes.
            while !works.is_finished() {
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
            hub.say_over();
            tokio::time::sleep(PAGES_HEAR_WITHIN).await;
        })
        .await;
    });
    say("The page has ended; what was recorded is kept.");
    Ok(())
}

fn names(aircraft: &Aircraft) -> Vec<&str> {
    aircraft.surfaces.iter().map(|s| s.name.as_str()).collect()
}

/// What the page shows before anything has happened.
fn first(logbook: &Logbook) -> State {
    let aircraft = logbook.aircraft();
    let surfaces = aircraft.surfaces.iter().map(|surface| {
        let both = [Some(surface.servo_index), surface.second_servo_index];
        let tags = both
            .into_iter()
            .flatten()
            .map(|i| aircraft.servos[i].tag.as_str());
        let plan = plan(aircraft, surface);
        SurfaceTold {
            name: surface.name.clone(),
            servo: tags.collect::<Vec<_>>().join(" and "),
            throws: throws(surface),
            sweep: SweepTold {
                from_deg: plan.down_deg,
                to_deg: plan.up_deg,
                cycles: plan.cycles,
                takes_s: plan.whole_s(),
            },
            calibrated: surface.angle.is_some(),
            last: None,
        }
    });
    State {
        aircraft: aircraft.name.clone(),
        logbook: logbook.root().display().to_string(),
        surfaces: surfaces.collect(),
        ..State::default()
    }
}

/// This computer's addresses in the local network.
#[cfg(unix)]
fn of_the_network() -> Vec<IpAddr> {
    let all = nix::ifaddrs::getifaddrs().into_iter().flatten();
    let own = all.filter_map(|one| one.address?.as_sockaddr_in().map(|a| a.ip()));
    let own = own.filter(|ip| !ip.is_loopback() && !ip.is_link_local());
    own.map(IpAddr::V4).collect()
}

#[cfg(not(unix))]
fn of_the_network() -> Vec<IpAddr> {
    // The address by which the network would be left; nothing is sent.
    let socket = std::net::UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0));
    let own = socket.and_then(|s| {
        s.connect((Ipv4Addr::new(192, 0, 2, 1), 9))
            .and_then(|()| s.local_addr())
    });
    own.map(|a| a.ip()).into_iter().collect()
}

fn shown(arguments: &Arguments, gate: &Gate, addresses: &[IpAddr], port: u16) -> String {
    let here = gate.address(&format!("127.0.0.1:{port}"));
    let mut out = format!("rig        {}\npage       {here}\n", arguments.port);
    let others: Vec<String> = addresses[1..]
        .iter()
        .map(|ip| gate.address(&SocketAddr::new(*ip, port).to_string()))
        .collect();
    for other in &others {
        let _ = writeln!(out, "network    {other}");
    }
    if arguments.share {
        match others
            .first()
            .map(|address| QrCode::new(address.as_bytes()))
        {
            Some(Ok(code)) => {
                let _ = write!(out, "\n{}\n", code.render::<Dense1x2>().build());
            }
            _ => {
                out += "note       this computer has no address in a local network: only a page on itself can be opened\n"
            }
        }
        out += "Whoever has the address can move the surfaces: share it on a network that you trust, and with nobody who does not stand at \
                the bench.\n";
    }
    out + "Open the address with its key in a browser. Ctrl-C here stops everything and ends the page."
}

/// The cautions, for the page.
fn cautions() -> String {
    let one = |(heading, sentence): &(&str, &str)| {
        format!(
            "<dt>{}</dt><dd>{}</dd>",
            HtmlEscape(heading),
            HtmlEscape(sentence)
        )
    };
    // The last is the report's own; the page has its own words for that.
    CAUTIONS[..4].iter().map(one).collect()
}
