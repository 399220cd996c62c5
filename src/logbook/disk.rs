//! Whether a logbook's folder can be written to, and how much room its disk has. What is written is taken away again.

use std::io::Write;
use std::path::Path;

use super::{Logbook, RECORDINGS};
use crate::problem::Problem;

/// So much is written to try it, bytes: a tenth of a second of the fastest rig.
const TRIED_BYTES: usize = 65_536;

impl Logbook {
    /// Writes a little into the folder, brings it to the disk, and takes it away; into that of the recordings too, where it is there.
    ///
    /// # Errors
    /// It cannot be written to.
    pub fn try_writing(&self) -> Result<(), Problem> {
        let recordings = self.root.join(RECORDINGS);
        try_writing(&self.root)?;
        match recordings.is_dir() {
            true => try_writing(&recordings),
            false => Ok(()),
        }
    }
}

/// Whether a folder can be written to: a little is brought to its disk and taken away again.
///
/// # Errors
/// It cannot.
pub fn try_writing(folder: &Path) -> Result<(), Problem> {
    try_writing_into(folder).map_err(|error| {
        Problem::new(format!("{}: cannot be written to: {error}", folder.display()))
            .hint("give your user the right to write into this folder, or put the logbook where you may write")
    })
}

fn try_writing_into(folder: &Path) -> std::io::Result<()> {
    // Its name begins with a dot: no command takes it for a recording.
    let mut file = tempfile::Builder::new()
        .prefix(".tried")
        .tempfile_in(folder)?;
    file.write_all(&[b'#'; TRIED_BYTES])?;
    file.as_file().sync_data()?;
    file.close()
}

/// Room left on a folder's disk, bytes; `None` where the system does not tell.
#[cfg(unix)]
pub fn free_bytes(folder: &Path) -> Option<u64> {
    let found = nix::sys::statvfs::statvfs(folder).ok()?;
    // Their widths differ between systems.
    #[allow(clippy::useless_conversion, clippy::unnecessary_cast)]
    Some(found.blocks_available() as u64 * found.fragment_size() as u64)
}

#[cfg(not(unix))]
pub fn free_bytes(_: &Path) -> Option<u64> {
    None
}
