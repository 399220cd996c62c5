#[allow(dead_code)]
#[path = "accuracy/study.rs"]
mod study;
fn main() {
    let seed: u64 = std::env::args()
        .nth(2)
        .and_then(|a| a.parse().ok())
        .unwrap_or(0);
    let case = study::CASES[std::env::args().nth(1).unwrap().parse::<usize>().unwrap()];
    let o = study::run(case, seed);
    let c = o.measured.curve.as_ref().unwrap();
    println!("truth {:?}", o.truth);
    println!(
        "{:?}\n{:?}\n{:?}\n knees {:#?} spots {:#?}\nresid {} strokes {:?} slop {:?}",
        c.stiffness_ncm_per_deg,
        c.friction_ncm,
        c.neutral_torque_ncm,
        c.knees,
        c.tight_spots,
        c.residual_ncm,
        o.measured.strokes,
        o.measured.slop_deg
    );
    for f in &o.judged.findings {
        println!("{:?} {}", f.level, f.text(Default::default()));
    }
    let s: String = c
        .points
        .iter()
        .map(|p| {
            format!(
                "{},{},{},{}\n",
                p.angle_deg, p.torque_ncm, p.moving_up as u8, p.used as u8
            )
        })
        .collect();
    std::fs::write("/tmp/dbg/points.csv", s).unwrap();
    let s: String = c
        .fit
        .iter()
        .map(|p| format!("{},{},{}\n", p.angle_deg, p.up_ncm, p.down_ncm))
        .collect();
    std::fs::write("/tmp/dbg/fit.csv", s).unwrap();
}
