//! The CSV reader: any header and rows, no panic, and columns that are finite and in order of time.
#![no_main]

use hingewright::recording::{Channel, read};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    // As they come, and beneath a header that is good: most inputs would end at theirs.
    let with_header = [b"t_us,seq,angle_deg,current_ma,lux\n", bytes].concat();
    for input in [bytes, &with_header[..]] {
        let Ok(recording) = read(input, "fuzz.csv") else { continue };
        for segment in &recording.segments {
            assert!(!segment.is_empty() && segment.t_s.is_sorted());
            for channel in Channel::ALL {
                let column = segment.column(channel).unwrap_or(&[]);
                assert!(column.iter().all(|value| value.is_nan() || value.abs() < 1e12));
            }
        }
    }
});
