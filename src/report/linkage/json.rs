//! `linkage --json`: one object. Storage types of their own, converted here and nowhere else; N·cm, mm, degrees.

use serde::Serialize;

use super::{Looked, finding, finding_word, no_fit, state};
use crate::analysis::Quantity;
use crate::linkage::along::{Ahead, Row};
use crate::linkage::fit::{ArmFrom, Fitted, Length};
use crate::linkage::holes::{Reach, Tried};
use crate::linkage::{InLine, look::Look};
use crate::report::json::{Q, number, quantity};

/// Name and version of the object's shape.
pub const SCHEMA: &str = "hingewright.linkage/1";

/// All surfaces as one line of JSON, without the line's end.
pub fn line(looked: &[Looked<'_>]) -> String {
    let out = Out {
        schema: SCHEMA,
        surfaces: looked.iter().map(surface).collect(),
    };
    // String keys, no maps, and numbers that are finite or null: nothing here can fail to be written.
    serde_json::to_string(&out).unwrap_or_default()
}

#[derive(Serialize)]
struct Out<'a> {
    schema: &'static str,
    surfaces: Vec<SurfaceOut<'a>>,
}

#[derive(Serialize)]
struct SurfaceOut<'a> {
    surface: &'a str,
    /// `nothing-measured`, `no-fit` (lengths are the file's), `nothing-found`, `found`.
    state: &'static str,
    recording: Option<&'a str>,
    lengths: LengthsOut,
    fit: Option<FitOut>,
    no_fit: Option<String>,
    asked_up_deg: Option<f64>,
    asked_down_deg: Option<f64>,
    servo_travel_deg: Option<f64>,
    stall_torque_ncm: Option<f64>,
    torque_measured: bool,
    along: Vec<RowOut>,
    differential: Option<DifferentialOut>,
    dead_points: Vec<DeadOut>,
    holes: Vec<TriedOut>,
    findings: Vec<FindingOut>,
}

/// Those that all else is computed with, with standard uncertainties.
#[derive(Serialize)]
struct LengthsOut {
    arm_mm: Option<f64>,
    arm_u_mm: Option<f64>,
    horn_mm: Option<f64>,
    horn_u_mm: Option<f64>,
    rod_mm: Option<f64>,
    rod_u_mm: Option<f64>,
    base_mm: Option<f64>,
    base_u_mm: Option<f64>,
    arm_zero_deg: Option<f64>,
    arm_zero_u_deg: Option<f64>,
}

#[derive(Serialize)]
struct FitOut {
    arm_from: &'static str,
    cycles: usize,
    arm_mm: LengthOut,
    horn_mm: LengthOut,
    rod_mm: LengthOut,
    base_mm: LengthOut,
    arm_zero_deg: LengthOut,
    arm_over_horn: LengthOut,
    ratio_at_neutral: Option<Q>,
    rms_deg: Option<f64>,
    worst_deg: Option<f64>,
    worst_at_deg: Option<f64>,
    residuals: Vec<LeftOut>,
}

#[derive(Serialize)]
struct LeftOut {
    arm_deg: Option<f64>,
    surface_deg: Option<f64>,
    residual_deg: Option<f64>,
    moving_up: bool,
}

#[derive(Serialize)]
struct LengthOut {
    on_file: Option<f64>,
    fitted: Option<Q>,
    /// False: the recording does not tell it, and it stands within the file's tolerance.
    told: bool,
}

#[derive(Serialize)]
struct RowOut {
    arm_deg: Option<f64>,
    surface_deg: Option<Q>,
    advantage: Option<Q>,
    servo_ncm: Option<Q>,
    rod_to_arm_deg: Option<f64>,
    rod_to_horn_deg: Option<f64>,
}

#[derive(Serialize)]
struct DifferentialOut {
    arm_deg: Option<f64>,
    up_deg: Option<Q>,
    down_deg: Option<Q>,
    up_over_down: Option<Q>,
}

#[derive(Serialize)]
struct DeadOut {
    side: &'static str,
    in_line_with: &'static str,
    arm_deg: Option<Q>,
    surface_deg: Option<f64>,
    nears_at_arm_deg: Option<f64>,
    left_deg: Option<Q>,
}

#[derive(Serialize)]
struct TriedOut {
    arm_mm: Option<f64>,
    horn_mm: Option<f64>,
    in_use: bool,
    rod_mm: Option<Q>,
    reached: &'static str,
    arm_up_deg: Option<Q>,
    arm_down_deg: Option<Q>,
    gets_to_up_deg: Option<f64>,
    gets_to_down_deg: Option<f64>,
    margin_deg: Option<Q>,
    peak_servo_ncm: Option<Q>,
    peak_share_of_stall: Option<Q>,
    dead_point_left_deg: Option<Q>,
    near_dead_point: bool,
}

#[derive(Serialize)]
struct FindingOut {
    kind: &'static str,
    text: String,
}

fn surface<'a>(looked: &'a Looked<'_>) -> SurfaceOut<'a> {
    let look = &looked.look;
    let dead = |a: &Option<Ahead>, side| a.as_ref().map(|a| dead_out(a, side));
    let sides = super::sides(looked.surface);
    SurfaceOut {
        surface: &looked.surface.name,
        state: state(looked).0,
        recording: looked.recording.as_deref(),
        lengths: lengths(look),
        fit: look.fitted.as_ref().and_then(|f| f.as_ref().ok()).map(fit),
        no_fit: look
            .fitted
            .as_ref()
            .and_then(|f| f.as_ref().err())
            .map(|e| no_fit(*e)),
        asked_up_deg: number(look.asked.0),
        asked_down_deg: number(look.asked.1),
        servo_travel_deg: look.travel.and_then(|t| number(t.up_deg.min(t.down_deg))),
        stall_torque_ncm: number(look.stall_ncm),
        torque_measured: look.torque.is_some(),
        along: look.rows.iter().map(row).collect(),
        differential: look.differential.as_ref().map(|d| DifferentialOut {
            arm_deg: number(d.arm_deg),
            up_deg: quantity(&d.up_deg),
            down_deg: quantity(&d.down_deg),
            up_over_down: quantity(&d.ratio),
        }),
        dead_points: [dead(&look.ahead.0, sides.0), dead(&look.ahead.1, sides.1)]
            .into_iter()
            .flatten()
            .collect(),
        holes: look.tried.iter().map(|t| tried(look, t)).collect(),
        findings: look
            .findings
            .iter()
            .map(|f| FindingOut {
                kind: finding_word(f),
                text: finding(looked, f),
            })
            .collect(),
    }
}

fn lengths(look: &Look) -> LengthsOut {
    let (l, u) = (&look.known.linkage, look.known.u().map(number));
    LengthsOut {
        arm_mm: number(l.arm_mm),
        arm_u_mm: u[0],
        horn_mm: number(l.horn_mm),
        horn_u_mm: u[1],
        rod_mm: number(l.rod_mm),
        rod_u_mm: u[2],
        base_mm: number(l.base_mm),
        base_u_mm: u[3],
        arm_zero_deg: number(l.arm_zero_deg),
        arm_zero_u_deg: u[4],
    }
}

fn fit(fitted: &Fitted) -> FitOut {
    let length = |l: &Length| LengthOut {
        on_file: number(l.on_file),
        fitted: quantity(&l.fitted),
        told: l.told,
    };
    let [arm, horn, rod, base, zero] = fitted.lengths.each_ref().map(length);
    let worst = fitted.worst();
    FitOut {
        arm_from: match fitted.from {
            ArmFrom::ArmAngle => "arm_deg",
            ArmFrom::Pulse => "pulse_us",
        },
        cycles: fitted.cycles,
        arm_mm: arm,
        horn_mm: horn,
        rod_mm: rod,
        base_mm: base,
        arm_zero_deg: zero,
        arm_over_horn: length(&fitted.arm_over_horn),
        ratio_at_neutral: quantity(&fitted.ratio_at_neutral),
        rms_deg: number(fitted.rms_deg),
        worst_deg: worst.and_then(|w| number(w.left_deg)),
        worst_at_deg: worst.and_then(|w| number(w.surface_deg)),
        residuals: fitted
            .left_over
            .iter()
            .map(|p| LeftOut {
                arm_deg: number(p.arm_deg),
                surface_deg: number(p.surface_deg),
                residual_deg: number(p.left_deg),
                moving_up: p.up,
            })
            .collect(),
    }
}

fn row(row: &Row) -> RowOut {
    RowOut {
        arm_deg: number(row.arm_deg),
        surface_deg: quantity(&row.surface_deg),
        advantage: quantity(&row.advantage),
        servo_ncm: quantity(&row.servo_ncm),
        rod_to_arm_deg: number(row.rod_to_arm_deg),
        rod_to_horn_deg: number(row.rod_to_horn_deg),
    }
}

fn dead_out(ahead: &Ahead, side: &'static str) -> DeadOut {
    DeadOut {
        side,
        in_line_with: match ahead.dead.in_line {
            InLine::Arm => "arm",
            InLine::Horn => "horn",
        },
        arm_deg: quantity(&ahead.arm_deg),
        surface_deg: number(ahead.dead.surface_deg),
        nears_at_arm_deg: number(ahead.nears_at_arm_deg),
        left_deg: ahead.left_deg.as_ref().and_then(quantity),
    }
}

fn tried(look: &Look, tried: &Tried) -> TriedOut {
    let q = |q: &Option<Quantity>| q.as_ref().and_then(quantity);
    TriedOut {
        arm_mm: number(tried.arm_mm),
        horn_mm: number(tried.horn_mm),
        in_use: tried.in_use,
        rod_mm: quantity(&tried.rod_mm),
        reached: match tried.reach {
            Reach::Yes => "yes",
            Reach::No => "no",
            Reach::TooNearToTell => "too-near-to-tell",
            Reach::ServoNotKnown => "servo-travel-not-known",
        },
        arm_up_deg: q(&tried.needs_deg.0),
        arm_down_deg: q(&tried.needs_deg.1),
        gets_to_up_deg: number(tried.gets_to_deg.0),
        gets_to_down_deg: number(tried.gets_to_deg.1),
        margin_deg: q(&tried.margin_deg),
        peak_servo_ncm: q(&tried.peak_ncm),
        peak_share_of_stall: q(&super::share(look, tried)),
        dead_point_left_deg: q(&tried.left_deg),
        near_dead_point: tried.near_dead_point(),
    }
}
