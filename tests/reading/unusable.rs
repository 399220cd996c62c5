//! Files that cannot be used: what is said, where, and what to do.

use hingewright::recording::{read, read_path};

use crate::common::{RIG, line, lines, sample};

fn problem(bytes: &[u8]) -> String {
    let problem = read(bytes, "x.log").unwrap_err();
    assert!(problem.hint.is_some(), "{problem}");
    problem.to_string()
}

#[test]
fn each_unusable_file_is_told_from_the_others() {
    for (bytes, said) in [
        (&b""[..], "the file is empty"),
        (b"\xef\xbb\xbf", "no samples and no RIG line"),
        (b"# surface=rudder\n\n", "no samples and no RIG line"),
        (
            b"\x00\x01\x02\xff\n\x80\x81\n",
            "none of its 2 lines is a line of the rig link",
        ),
        (b"\xff\xfet\x00_\x00", "UTF-16"),
        (b"0,0.5,1500\n1,0.6,1500\n", "none of its 2 lines"),
        (
            lines((0..4).map(sample)).as_bytes(),
            "4 samples, but no whole RIG line",
        ),
        (
            line(RIG).as_bytes(),
            "not one good sample in 1 lines, 0 of them damaged",
        ),
        (
            lines([RIG, "S,0,1,2", "S,1,2,3"]).as_bytes(),
            "its samples have 1 values, its RIG line names 4 channels",
        ),
        (
            lines([&RIG.replace("RIG,1", "RIG,2"), "S,0,1,2"]).as_bytes(),
            "another version",
        ),
        (
            (line(RIG) + &lines((0..9).map(sample)).replace("S,", "Z,")).as_bytes(),
            "not one good sample in 10 lines, 9 of them damaged",
        ),
        (b"angle_deg,current_ma\n1,2\n", "neither t_us nor t_s"),
    ] {
        let text = problem(bytes);
        assert!(text.contains(said), "{said:?} is not in: {text}");
    }
}

#[test]
fn a_folder_and_a_missing_file_are_two_things() {
    let folder = tempfile::tempdir().unwrap();
    let said = read_path(folder.path()).unwrap_err().to_string();
    assert!(said.contains("this is a folder"), "{said}");
    let said = read_path(folder.path().join("none.log"))
        .unwrap_err()
        .to_string();
    assert!(
        said.contains("no such file") && said.contains("spelling"),
        "{said}"
    );
    let said = read_path(folder.path().join("no/none.log"))
        .unwrap_err()
        .to_string();
    assert!(said.contains("there is no folder"), "{said}");
}

#[cfg(unix)]
#[test]
fn a_file_that_may_not_be_read_says_whose_it_is_and_its_mode() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("closed.log");
    std::fs::write(&path, "x").unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o000)).unwrap();
    if std::fs::File::open(&path).is_ok() {
        println!("skipped: this user may read every file");
        return;
    }
    let said = read_path(&path).unwrap_err().to_string();
    assert!(
        said.contains("not allowed") && said.contains("mode 000") && said.contains("belongs to"),
        "{said}"
    );
}

#[test]
fn a_read_that_fails_is_no_shorter_recording() {
    struct Failing;
    impl std::io::Read for Failing {
        fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
            Err(std::io::Error::other("the disk went away"))
        }
    }
    let text = crate::common::capture(5);
    let said = read(std::io::Read::chain(text.as_bytes(), Failing), "x.log")
        .unwrap_err()
        .to_string();
    assert!(said.contains("the disk went away"), "{said}");
}
