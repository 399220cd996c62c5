//! An angle sensor that shows too little or too much, on a simulated rig: the surface is stopped before it goes far, or a word
//! is said.

use super::rods::sweep;

/// A sweep where the sensor shows `scale` degrees for one of the surface: status, what was said, and the furthest true angle that
/// the recording shows, degrees.
fn swept(scale: f64) -> (i32, String, f64) {
    let scratch = tempfile::tempdir().unwrap();
    let plant = scratch.path().join("plant.toml");
    std::fs::write(&plant, format!("[sensors]\nangle_scale = {scale:?}\n")).unwrap();
    let book = scratch.path().join("book").display().to_string();
    let plant = ["--plant", plant.to_str().unwrap()];
    let (status, out, err) = sweep(&plant, &book, &["--cycles", "4"]);
    let folder = scratch.path().join("book/recordings");
    let file = std::fs::read_dir(folder).unwrap().next().unwrap().unwrap();
    let text = std::fs::read_to_string(file.path()).unwrap();
    let channels = text.lines().find(|l| l.starts_with("RIG,")).unwrap();
    let place = channels.split(['*', ',']).position(|c| c == "angle_deg");
    // S,seq,t_us and then the channels; RIG,1,name,firmware,mode,rate before them.
    let place = place.unwrap() - 6 + 3;
    let samples = text.lines().filter(|l| l.starts_with("S,"));
    let angles = samples.filter_map(|l| l.split(['*', ',']).nth(place)?.parse::<f64>().ok());
    let furthest = angles.fold(0.0, |most: f64, deg| most.max(deg.abs()));
    let said = format!("{out}\n{err}");
    (
        status,
        said.split_whitespace().collect::<Vec<_>>().join(" "),
        furthest / scale,
    )
}

/// Its throws are 24.3° and 22.3°; the true way to where the sensor would show them is 55°.
#[test]
fn a_sensor_that_shows_less_than_half_does_not_drive_the_surface_beyond_its_throws() {
    let (status, said, furthest_deg) = swept(0.42);
    assert_eq!(status, 3, "{said}");
    assert!(said.contains("stopped before it goes too far"), "{said}");
    assert!(
        said.contains("hingewright calibrate angle") && said.contains("arm_deg_per_us"),
        "{said}"
    );
    assert!(said.contains("disarmed the rig confirmed it"), "{said}");
    assert!(
        (5.0..16.0).contains(&furthest_deg),
        "{furthest_deg}: {said}"
    );
}

#[test]
fn one_that_shows_half_as_much_again_is_swept_and_spoken_of() {
    let (status, said, _) = swept(1.5);
    assert_eq!(status, 1, "{said}");
    assert!(said.contains("Pulse and angle do not agree"), "{said}");
    assert!(
        said.contains("UNPROVEN left elevator")
            && said.contains("all angles and throws are unproven"),
        "{said}"
    );
}

#[test]
fn a_true_one_is_not_spoken_of() {
    let (status, said, _) = swept(1.0);
    assert!(status <= 1, "{said}");
    assert!(!said.contains("Pulse and angle"), "{said}");
}
