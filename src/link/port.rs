//! Serial ports: what there is, opening one, and why one could not be opened. What goes down the wire is not known here.

use std::io;
use std::path::Path;
use std::pin::Pin;
use std::task::{Context, Poll, Waker};

use tokio::io::{AsyncRead, AsyncWrite};
use tokio_serial::{SerialPortBuilderExt, SerialPortType, SerialStream};

use crate::problem::Problem;

/// Anything that carries the link both ways: a serial port, a pseudo-terminal, a pipe in memory. The two ways share no lock:
/// on a busy machine a read may hang in the kernel for half a second, and a line to the rig must go out all the same.
pub struct Wire {
    pub read: Box<dyn AsyncRead + Send + Unpin>,
    pub write: Box<dyn PutNow>,
}

/// Takes what it can at once and never waits.
pub trait PutNow: Send {
    /// How many of these bytes were taken; `WouldBlock` where there is no room.
    fn put(&mut self, bytes: &[u8]) -> io::Result<usize>;
}

impl Wire {
    /// Both ways over one stream.
    pub fn over<S: AsyncRead + AsyncWrite + Send + 'static>(stream: S) -> Self {
        let (read, write) = tokio::io::split(stream);
        Self {
            read: Box::new(read),
            write: Box::new(Polled(write)),
        }
    }
}

/// The writing half of a stream, asked without waiting for it.
struct Polled<W>(W);

impl<W: AsyncWrite + Send + Unpin> PutNow for Polled<W> {
    fn put(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let context = &mut Context::from_waker(Waker::noop());
        match Pin::new(&mut self.0).poll_write(context, bytes) {
            Poll::Ready(taken) => taken,
            Poll::Pending => Err(io::ErrorKind::WouldBlock.into()),
        }
    }
}

/// A port opened for writing, without blocking.
#[cfg(unix)]
struct Handle(std::fs::File);

#[cfg(unix)]
impl PutNow for Handle {
    fn put(&mut self, bytes: &[u8]) -> io::Result<usize> {
        io::Write::write(&mut self.0, bytes)
    }
}

/// A port of this machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Port {
    /// What `--port` takes.
    pub path: String,
    /// What it is, in a few words.
    pub what: String,
}

/// The ports of this machine, in the order of their names.
pub fn list() -> Result<Vec<Port>, Problem> {
    let found = tokio_serial::available_ports().map_err(|e| {
        Problem::new(format!("the list of serial ports could not be had: {e}"))
            .hint("name the port yourself with --port")
    })?;
    let mut ports: Vec<Port> = found
        .into_iter()
        .map(|port| Port {
            what: described(&port.port_type),
            path: port.port_name,
        })
        .collect();
    ports.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(ports)
}

fn described(kind: &SerialPortType) -> String {
    match kind {
        SerialPortType::UsbPort(usb) => {
            let words: Vec<&str> = [&usb.manufacturer, &usb.product]
                .into_iter()
                .flatten()
                .map(String::as_str)
                .collect();
            let named = if words.is_empty() {
                "a USB serial device".to_owned()
            } else {
                format!("USB: {}", words.join(" "))
            };
            match &usb.serial_number {
                Some(number) => format!("{named}, serial number {number}"),
                None => named,
            }
        }
        SerialPortType::BluetoothPort => "a Bluetooth serial link".to_owned(),
        SerialPortType::PciPort => "a serial port of this computer".to_owned(),
        SerialPortType::Unknown => "a serial port of unknown kind".to_owned(),
    }
}

/// Opens a port for the link: 8 data bits, no parity, 1 stop bit. Has to be called within a tokio runtime.
pub fn open(path: &str, baud: u32) -> Result<Wire, Problem> {
    let stream = tokio_serial::new(path, baud)
        .open_native_async()
        .map_err(|error| why_not_opened(path, &error))?;
    // What lay in the driver's buffer is older than this moment. A pseudo-terminal may not know how to drop it.
    let _ = tokio_serial::SerialPort::clear(&stream, tokio_serial::ClearBuffer::Input);
    both_ways(path, stream).map_err(|error| {
        Problem::new(format!("{path}: could not be opened for writing: {error}"))
            .hint("unplug the rig, plug it in again, and try once more")
    })
}

/// The port once more, for writing alone, without ever waiting: the stream's own way of writing first asks the kernel whether
/// there is room, and that question can hang for as long as a read.
#[cfg(unix)]
fn both_ways(path: &str, stream: SerialStream) -> io::Result<Wire> {
    use std::os::unix::fs::OpenOptionsExt;
    let flags = nix::fcntl::OFlag::O_NONBLOCK | nix::fcntl::OFlag::O_NOCTTY;
    // An exclusive port cannot be opened twice, not even by its owner.
    let mut stream = stream;
    stream.set_exclusive(false).map_err(io::Error::from)?;
    let write = std::fs::File::options()
        .write(true)
        .custom_flags(flags.bits())
        .open(path)?;
    stream.set_exclusive(true).map_err(io::Error::from)?;
    Ok(Wire {
        read: Box::new(stream),
        write: Box::new(Handle(write)),
    })
}

#[cfg(not(unix))]
fn both_ways(_: &str, stream: SerialStream) -> io::Result<Wire> {
    Ok(Wire::over(stream))
}

fn why_not_opened(path: &str, error: &tokio_serial::Error) -> Problem {
    use tokio_serial::ErrorKind;
    let text = error.description.to_ascii_lowercase();
    let kind = match error.kind {
        ErrorKind::Io(kind) => kind,
        _ if text.contains("exclusive lock") || text.contains("busy") => {
            io::ErrorKind::ResourceBusy
        }
        _ if text.contains("permission") => io::ErrorKind::PermissionDenied,
        ErrorKind::NoDevice if !Path::new(path).exists() => io::ErrorKind::NotFound,
        _ if text.contains("no such file") => io::ErrorKind::NotFound,
        _ => io::ErrorKind::Other,
    };
    match kind {
        io::ErrorKind::PermissionDenied => no_permission(path, owning_group(path)),
        io::ErrorKind::ResourceBusy => busy(path, &holders(path)),
        io::ErrorKind::NotFound => Problem::new(format!("{path}: there is no such port"))
            .hint("plug the rig in and run `hingewright rig ports` to see what there is"),
        _ if text.contains("not a typewriter") || text.contains("inappropriate ioctl") => {
            Problem::new(format!("{path}: this is no serial port"))
                .hint("run `hingewright rig ports` to see which ports there are")
        }
        _ => Problem::new(format!("{path}: could not be opened as a serial port: {}", error.description))
            .hint("run `hingewright rig ports` to see which ports there are, and whether the rig is one of them"),
    }
}

fn no_permission(path: &str, group: Option<String>) -> Problem {
    let hint = match group {
        Some(group) if group != "root" => format!(
            "the port belongs to the group \"{group}\": run `sudo usermod -a -G {group} $USER`, then log out and in again"
        ),
        _ => "the port belongs to root alone: give your user a right to it, for instance with a udev rule".to_owned(),
    };
    Problem::new(format!(
        "{path}: the port is there, but you have no permission to open it"
    ))
    .hint(hint)
}

fn busy(path: &str, holders: &[String]) -> Problem {
    let hint = if holders.is_empty() {
        format!(
            "close the other program that has it open; `sudo fuser -v {path}` names it if it is another user's"
        )
    } else {
        format!("close it first: {}", holders.join(", "))
    };
    Problem::new(format!("{path}: the port is in use by another program")).hint(hint)
}

/// The group that owns a port.
#[cfg(unix)]
fn owning_group(path: &str) -> Option<String> {
    use std::os::unix::fs::MetadataExt;
    let gid = std::fs::metadata(path).ok()?.gid();
    let known = nix::unistd::Group::from_gid(nix::unistd::Gid::from_raw(gid))
        .ok()
        .flatten();
    Some(known.map_or_else(|| gid.to_string(), |group| group.name))
}

#[cfg(not(unix))]
fn owning_group(_: &str) -> Option<String> {
    None
}

/// The programs that have the port open, as far as this user may see: name and process number.
fn holders(path: &str) -> Vec<String> {
    let Ok(port) = std::fs::canonicalize(path) else {
        return Vec::new();
    };
    let own = std::process::id();
    let Ok(processes) = std::fs::read_dir("/proc") else {
        return Vec::new();
    };
    let mut found = Vec::new();
    for process in processes.flatten() {
        let Some(number) = process
            .file_name()
            .to_str()
            .and_then(|n| n.parse::<u32>().ok())
        else {
            continue;
        };
        let Ok(open) = std::fs::read_dir(process.path().join("fd")) else {
            continue;
        };
        let links: Vec<_> = open
            .flatten()
            .filter_map(|fd| std::fs::read_link(fd.path()).ok())
            .collect();
        // The program behind a pseudo-terminal has its port open as well, and is the rig.
        let is_behind = links.iter().any(|to| to.ends_with("ptmx"));
        let holds = !is_behind && links.contains(&port);
        if holds && number != own {
            let name = std::fs::read_to_string(process.path().join("comm")).unwrap_or_default();
            found.push(format!("{} (process {number})", name.trim()));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_permission_is_not_no_port_and_names_the_group() {
        let shown = no_permission("/dev/ttyUSB0", Some("dialout".into())).to_string();
        assert!(
            shown.contains("no permission") && shown.contains("-G dialout"),
            "{shown}"
        );
        let denied = tokio_serial::Error::new(
            tokio_serial::ErrorKind::Io(io::ErrorKind::PermissionDenied),
            "Permission denied",
        );
        let shown = why_not_opened("/dev/null", &denied).to_string();
        assert!(
            shown.contains("no permission") && !shown.contains("no such port"),
            "{shown}"
        );
    }

    #[test]
    fn a_port_that_is_not_there_says_so_and_how_to_look() {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        let _inside = runtime.enter();
        let shown = open("/dev/no-such-port", 115_200)
            .err()
            .unwrap()
            .to_string();
        assert!(
            shown.contains("no such port") && shown.contains("rig ports"),
            "{shown}"
        );
    }

    #[test]
    fn a_busy_port_names_who_holds_it() {
        let shown = busy("/dev/ttyACM0", &["plotter (process 4711)".into()]).to_string();
        assert!(
            shown.contains("in use") && shown.contains("plotter (process 4711)"),
            "{shown}"
        );
    }
}
