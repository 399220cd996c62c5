//! How true `calibrate servo` is: `cargo run --example calibrate_study [SEEDS] [WORDS OF A CASE'S NAME]`. Torque found from supply
//! power by the calibration, against the torque that was there: how far off, and how often its 95 % interval holds it. And how
//! often it is doubted, rightly and wrongly.

mod bench;

use bench::{AS_IT_IS, Case, Misread};
use hingewright::aircraft::Calibration;
use hingewright::servo::balance::{Balance, Doubt, REFERENCE_C, doubts};
use rayon::prelude::*;

fn main() {
    let mut arguments = std::env::args().skip(1);
    let seeds: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(300);
    let wanted: Vec<String> = arguments.collect();
    let (mut held, mut all, mut worst) = (0_u32, 0_u32, 0.0_f64);
    for case in bench::CASES
        .iter()
        .filter(|c| wanted.iter().all(|w| c.name.contains(w.as_str())))
    {
        let runs: Vec<_> = (0..seeds)
            .into_par_iter()
            .map(|seed| bench::run(case, seed))
            .collect();
        let (mut within, mut count, mut covered) = (0_u32, 0_u32, 0_u32);
        let (mut squares, mut far, mut half_sum, mut bias) = (0.0, 0.0_f64, 0.0, 0.0);
        let mut numbers = [0; 4];
        let mut refused = Vec::new();
        let mut poor = 0;
        let mut chi = Vec::new();
        for (scenario, fitted) in &runs {
            let fitted = match fitted {
                Ok(fitted) => fitted,
                Err(why) => {
                    refused.push(why.clone());
                    continue;
                }
            };
            poor += usize::from(fitted.poor());
            chi.push(fitted.chi2_per_df);
            let servo = &scenario.plant.servo;
            let truth = [
                servo.idle_w,
                servo.winding_w_per_nm2,
                servo.friction_nm,
                servo.gear_loss,
            ];
            for (j, true_value) in truth.iter().enumerate() {
                let off = (fitted.values[j] - true_value).abs();
                numbers[j] += usize::from(off <= 1.959_964 * fitted.u(j));
            }
            for (torque, found, half) in bench::torques(servo, fitted) {
                let off = found / torque - 1.0;
                count += 1;
                within += u32::from(off.abs() <= 0.05);
                covered += u32::from((found - torque).abs() <= half);
                squares += off * off;
                bias += off;
                half_sum += half / torque;
                far = far.max(off.abs());
            }
        }
        let n = f64::from(count.max(1));
        let done = runs.len() - refused.len();
        let share = |k: u32| 100.0 * f64::from(k) / n;
        println!("{}: {} of {} calibrated", case.name, done, runs.len());
        println!(
            "  torque: {:.1} % of {count} within 5 %, rms {:.2} %, mean {:+.2} %, furthest {:.1} %; 95 % interval ±{:.2} % holds it in {:.1} %",
            share(within),
            100.0 * (squares / n).sqrt(),
            100.0 * bias / n,
            100.0 * far,
            100.0 * half_sum / n,
            share(covered),
        );
        let of = |k: usize| 100.0 * numbers[k] as f64 / done.max(1) as f64;
        chi.sort_by(f64::total_cmp);
        let middle = chi.get(chi.len() / 2).copied().unwrap_or(f64::NAN);
        println!(
            "  intervals hold: idle {:.1} %, winding {:.1} %, friction {:.1} %, gear loss {:.1} %; median chi-square {middle:.2}; called poor {poor}",
            of(0),
            of(1),
            of(2),
            of(3)
        );
        doubted(case, seeds);
        for why in refused.iter().take(2) {
            println!("  refused: {}", why.replace('\n', " "));
        }
        held += covered;
        all += count;
        worst = worst.max(far);
    }
    println!(
        "all: {all} torques, {:.1} % held, furthest {:.1} %",
        100.0 * f64::from(held) / f64::from(all.max(1)),
        100.0 * worst
    );
}

/// How often a calibration is doubted: where all was said as it is, which is a false alarm, and where the arm was said too long or
/// too short. Against the same servo's calibration of another day, rightly said.
fn doubted(case: &Case, seeds: u64) {
    const SAID: [(f64, &str); 5] = [
        (1.0, "as it is"),
        (1.1, "10 % too long"),
        (1.25, "25 % too long"),
        (0.9, "10 % too short"),
        (0.75, "25 % too short"),
    ];
    for (arm, words) in SAID {
        let counts = (0..seeds).into_par_iter().map(|seed| {
            let (_, older) = bench::run_on(case, seed, 1, &AS_IT_IS);
            let (_, new) = bench::run_on(case, seed, 2, &Misread { arm, ..AS_IT_IS });
            let Ok(older) = older else { return [0; 4] };
            let Ok(new) = new else { return [1, 1, 0, 0] };
            let all = doubts(&new, Some(&as_kept(&older)), None, None);
            let has = |of: fn(&Doubt) -> bool| u32::from(all.iter().any(of));
            [
                1,
                0,
                has(|d| matches!(d, Doubt::Gears { .. })),
                has(|d| matches!(d, Doubt::Older { .. })),
            ]
        });
        let [pairs, refused, gears, older] =
            counts.reduce(|| [0; 4], |a, b| std::array::from_fn(|i| a[i] + b[i]));
        println!(
            "  arm said {words}: of {pairs} pairs refused {refused}, doubted for its gears {gears}, against the older one {older}"
        );
    }
}

fn as_kept(fitted: &Balance) -> Calibration {
    let [idle_w, winding_w_per_nm2, friction_nm, gear_loss] = fitted.values;
    Calibration {
        tag: "E1".into(),
        made: None,
        reference_c: REFERENCE_C,
        idle_w,
        winding_w_per_nm2,
        friction_nm,
        gear_loss,
        covariance: fitted.covariance,
    }
}
