//! Parquet that is damaged within makes its reader panic at times: that is an error here, and no word of it on the terminal.
//! Knows nothing of what is read.

use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;
use std::sync::atomic::{AtomicUsize, Ordering};

use polars::prelude::*;

/// So many reads are under way, on whatever threads.
static READING: AtomicUsize = AtomicUsize::new(0);
static HOOK: Once = Once::new();

/// What `read` gives; a panic within the reader is its error. Nothing of a read that failed is used again.
pub(super) fn caught<T>(read: impl FnOnce() -> PolarsResult<T>) -> PolarsResult<T> {
    HOOK.call_once(keep_quiet);
    READING.fetch_add(1, Ordering::SeqCst);
    let done = panic::catch_unwind(AssertUnwindSafe(read));
    READING.fetch_sub(1, Ordering::SeqCst);
    done.unwrap_or_else(|_| Err(polars_err!(ComputeError: "what is in it cannot be unpacked")))
}

/// The reader has threads of its own: by its source a panic is known to be its, whatever thread it is on.
fn keep_quiet() {
    let told = panic::take_hook();
    panic::set_hook(Box::new(move |info| {
        let of_the_reader = info
            .location()
            .is_some_and(|at| at.file().contains("polars"));
        if READING.load(Ordering::SeqCst) == 0 || !of_the_reader {
            told(info);
        }
    }));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_while_reading_is_an_error_and_what_is_read_comes_through() {
        assert_eq!(caught(|| Ok(7)).unwrap(), 7);
        let failed = caught(|| -> PolarsResult<()> { panic!("in the test") });
        assert!(failed.unwrap_err().to_string().contains("unpacked"));
        assert_eq!(caught(|| Ok(8)).unwrap(), 8);
    }
}
