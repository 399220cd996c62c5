//! The ranges that pictures of a curve are drawn in.

use super::canvas::range;
use crate::analysis::{FitPoint, ThrowResult};
use crate::report::Checked;

/// Ranges that pictures to be compared share: autoscaling hides what changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axes {
    /// Deflection shown, degrees, from low to high.
    pub angle_deg: (f64, f64),
    /// Torque shown, N·cm, from low to high.
    pub torque_ncm: (f64, f64),
}

impl Axes {
    /// The ranges that one recording's own picture needs.
    pub fn of(checked: &Checked<'_>) -> Self {
        own_axes(checked)
    }

    /// The smallest ranges that hold all of these recordings' curves; `None` if none has one.
    pub fn shared<'a, 'b: 'a>(all: impl IntoIterator<Item = &'a Checked<'b>>) -> Option<Self> {
        let curves = all
            .into_iter()
            .filter(|checked| checked.measured.curve.is_some());
        curves.map(Self::of).reduce(|a, b| Axes {
            angle_deg: (
                a.angle_deg.0.min(b.angle_deg.0),
                a.angle_deg.1.max(b.angle_deg.1),
            ),
            torque_ncm: (
                a.torque_ncm.0.min(b.torque_ncm.0),
                a.torque_ncm.1.max(b.torque_ncm.1),
            ),
        })
    }
}
/// The ranges this recording needs: everything used and fitted, everything left out as far as it is near, the
/// travel and the throws.
fn own_axes(checked: &Checked<'_>) -> Axes {
    let measured = &checked.measured;
    let curve = measured.curve.as_ref();
    let (points, fit) = (
        curve.map_or(&[][..], |c| &c.points),
        curve.map_or(&[][..], |c| &c.fit),
    );
    let throws = measured
        .throws
        .iter()
        .flat_map(|t| [Some(t.asked_deg), reached_deg(t)].map(|d| (d, t.side.sign())));
    let angles = (points.iter().map(|p| p.angle_deg))
        .chain(fit.iter().map(|f| f.angle_deg))
        .chain(measured.travel_deg.iter().flat_map(|t| [t.0, t.1]))
        .chain(throws.filter_map(|(deg, sign)| Some(deg? * sign)));
    let band = |f: &FitPoint| {
        if f.band_ncm.is_finite() {
            f.band_ncm
        } else {
            0.0
        }
    };
    let used = (points.iter().filter(|p| p.used).map(|p| p.torque_ncm)).chain(
        fit.iter()
            .flat_map(|f| [f.up_ncm + band(f), f.down_ncm - band(f)]),
    );
    let torque = range(used, 0.2, 0.0).map(|(lo, hi)| {
        // A wild point that was left out must not squash the picture: it is drawn at the edge.
        let near = (lo - 0.5 * (hi - lo))..=(hi + 0.5 * (hi - lo));
        let left_out = points
            .iter()
            .filter(|p| !p.used)
            .map(|p| p.torque_ncm)
            .filter(|t| near.contains(t));
        range(left_out.chain([lo, hi]), 0.2, 0.05).unwrap_or((lo, hi))
    });
    Axes {
        angle_deg: range(angles, 2.0, 0.03).unwrap_or((-10.0, 10.0)),
        torque_ncm: torque.unwrap_or((-1.0, 1.0)),
    }
}

/// Axes from outside are taken only if they can be drawn.
pub fn usable(axes: Axes) -> bool {
    let fits =
        |(lo, hi): (f64, f64)| lo.is_finite() && hi.is_finite() && hi - lo > 1e-9 && hi - lo < 1e13;
    fits(axes.angle_deg) && fits(axes.torque_ncm)
}

/// Where the surface got to on this throw's own side, as a magnitude in degrees.
pub fn reached_deg(throw: &ThrowResult) -> Option<f64> {
    throw
        .reached_deg
        .as_ref()
        .map(|q| q.value)
        .filter(|v| v.is_finite())
}
