//! What is made of single rows and headers.

use crate::recording::{Channel, Recording, read};

fn of(text: &str) -> Recording {
    read(text.as_bytes(), "x.csv").unwrap_or_else(|p| panic!("{p}"))
}
fn problem(text: &str) -> String {
    read(text.as_bytes(), "x.csv").unwrap_err().to_string()
}
fn angles(recording: &Recording) -> Vec<f64> {
    recording
        .segments
        .iter()
        .flat_map(|s| s.column(Channel::AngleDeg).unwrap().iter().copied())
        .collect()
}

#[test]
fn keys_and_columns_in_any_order_are_read_and_unknown_ones_left_alone() {
    let r = of(
        "\u{feff}# surface=rudder\r\n# note = a = b \r\n\r\nlux,angle_deg,seq,t_us\r\nbright,1.5,65535,0\r\ndark,,1,5000\r\n",
    );
    assert_eq!(r.key("surface"), Some("rudder"));
    assert_eq!(r.key("note"), Some("a = b"));
    assert_eq!((r.samples, r.lost, r.damaged_lines), (2, 1, 0));
    let column = r.segments[0].column(Channel::AngleDeg).unwrap();
    assert!(column[0] == 1.5 && column[1].is_nan(), "{column:?}");
    assert_eq!(r.segments[0].t_s, [0.0, 0.005]);
    assert!(r.notes.iter().any(|n| n.contains("lux")), "{:?}", r.notes);
    assert!(r.rig.is_none());
}

#[test]
fn a_row_that_does_not_parse_is_damaged_and_the_next_is_not() {
    for bad in [
        "1,x", "1", "1,2,3", ",2", "-1,2", "1,\"2", "x,2", "1,2 3", "1,1e", "1,0x1",
    ] {
        let r = of(&format!("t_us,angle_deg\n0,1\n{bad}\n9,3\n"));
        assert_eq!((angles(&r), r.damaged_lines), (vec![1.0, 3.0], 1), "{bad}");
    }
    let mut bytes = b"t_us,angle_deg,note\n0,1,a\n1,2,\xff\n9,3,c\n".to_vec();
    bytes.extend_from_slice(&vec![b'7'; 100_000]);
    bytes.extend_from_slice(b"\n10,4,d\n");
    let r = read(&bytes[..], "x.csv").unwrap();
    assert_eq!((angles(&r), r.damaged_lines), (vec![1.0, 3.0, 4.0], 2));
}

#[test]
fn nan_infinity_and_1e308_damage_their_row_and_are_spoken_of() {
    for bad in [
        "nan",
        "NaN",
        "inf",
        "-Infinity",
        "1e308",
        "1e400",
        "1e12",
        "999999999999999",
    ] {
        let r = of(&format!("t_us,angle_deg\n0,1\n1,{bad}\n9,3\n"));
        assert_eq!((angles(&r), r.damaged_lines), (vec![1.0, 3.0], 1), "{bad}");
        assert!(
            r.notes.iter().any(|n| n.contains("NaN")),
            "{bad}: {:?}",
            r.notes
        );
    }
}

#[test]
fn a_spreadsheets_ways_are_understood() {
    let r = of("\"t_s\", Angle_Deg \n\"0.5\", 1.25E1 \n,\n 1e0,-2\n");
    assert_eq!((angles(&r), r.damaged_lines), (vec![12.5, -2.0], 0));
    assert_eq!(r.segments[0].t_s, [0.0, 0.5]);
}

#[test]
fn the_32_bit_clock_wraps_and_seconds_do_not() {
    let r = of("t_us,angle_deg\n4294967000,1\n704,2\n");
    assert_eq!(
        (r.segments.len(), r.segments[0].t_s.clone()),
        (1, vec![0.0, 0.001])
    );
    let r = of("t_s,angle_deg\n4294.967,1\n0.000704,2\n");
    assert_eq!(r.segments.len(), 2);
    let r = of("t_us,angle_deg\n1770000000000000,1\n1770000000005000,2\n");
    assert_eq!(r.segments[0].t_s, [0.0, 0.005]);
}

#[test]
fn a_clock_that_jumps_back_starts_a_segment_and_is_spoken_of() {
    let r = of("t_s,angle_deg\n10,1\n11,2\n0,3\n1,4\n");
    assert_eq!((r.segments.len(), r.restarts, r.samples), (2, 0, 4));
    assert!(r.notes[0].contains("jumped back once"), "{:?}", r.notes);
    let r = of("t_s,angle_deg\n10,1\nt_s,angle_deg\n20,3\n");
    assert_eq!((r.segments.len(), r.damaged_lines), (2, 0));
}

#[test]
fn a_last_row_without_its_end_is_left_out_and_spoken_of() {
    let r = of("t_us,angle_deg\n0,1\n5,12.3");
    assert_eq!((angles(&r), r.damaged_lines), (vec![1.0], 0));
    assert!(r.notes[0].contains("last row"), "{:?}", r.notes);
}

#[test]
fn a_header_that_cannot_be_used_names_its_line() {
    let twice = problem("# a=b\nt_us,angle_deg,angle_deg\n0,1,2\n");
    assert!(
        twice.contains("line 2: the header names angle_deg twice"),
        "{twice}"
    );
    assert!(problem("t_us;angle_deg\n0;1\n").contains("not separated by commas"));
    assert!(problem("t_us,angle_deg\n").contains("no whole row"));
    assert!(problem("t_us,angle_deg\n0,x\n1,y\n").contains("2 rows do not parse"));
}
