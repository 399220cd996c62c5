//! The calibration as the table that goes into the aircraft file.

use super::Angled;

/// `[surface.angle]`, to stand beneath its `[[surface]]`.
pub fn toml(angled: &Angled<'_>) -> String {
    let line = angled.line;
    let [[a, b], [c, d]] = angled.covariance();
    format!(
        "# Angle sensor of the {}\n\
         # deflection = scale * (reading - zero_deg); covariance: of scale, zero\n\
         [surface.angle]\n\
         scale = {:.6}\n\
         zero_deg = {:.4}\n\
         covariance = [[{a:.5e}, {b:.5e}], [{c:.5e}, {d:.5e}]]\n\
         made = {}\n",
        angled.surface.name.replace(char::is_control, " "),
        line.scale.value,
        line.zero_deg.value,
        angled.made
    )
}
