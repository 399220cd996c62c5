//! Hinge moment of a plain flap from thin-aerofoil theory. Knows coefficients, no aircraft and no air.
//!
//! H. Glauert, 'Theoretical relationships for an aerofoil with hinged flap', ARC R&M 1095 (1927); in print as E. L.
//! Houghton and P. W. Carpenter, 'Aerodynamics for Engineering Students', section 4.5, equations 4.55 to 4.57 (seen). An
//! inviscid flow past a thin aerofoil, flap's gap sealed, hinge at the flap's nose, small angles, two dimensions.
//!
//! Angle of attack α is positive nose up, deflection δ positive trailing edge down, hinge moment H positive trailing edge
//! down: H = ½ρV²·c_flap²·span·(b1·α + b2·δ).

use std::f64::consts::PI;

/// Beyond this Mach number the Prandtl–Glauert rule is not used: common practice, no source. Shocks come before it on thick
/// aerofoils.
pub const MOST_MACH: f64 = 0.7;

/// Slopes per radian.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flap {
    /// Lift by attack and by deflection, on the whole chord.
    pub a1: f64,
    pub a2: f64,
    /// Hinge moment by attack and by deflection, on the flap's chord squared.
    pub b1: f64,
    pub b2: f64,
}

impl Flap {
    /// Of a flap that has this share of the whole chord (0 to 1, 0 excluded), two-dimensional, incompressible.
    pub fn plain(share: f64) -> Self {
        // The hinge in Glauert's angle from the leading edge: cos φ = 2F − 1.
        let phi = (2.0 * share - 1.0).clamp(-1.0, 1.0).acos();
        let (sin, cos) = phi.sin_cos();
        let left = PI - phi;
        let squared = share * share;
        Self {
            a1: 2.0 * PI,
            a2: 2.0 * (left + sin),
            // b1 = −1/F²·∫ (1 + cos θ)(cos φ − cos θ) dθ from φ to π.
            b1: -(left * (cos - 0.5) + sin * (1.0 - 0.5 * cos)) / squared,
            b2: -(2.0 * sin * sin - 2.0 * left * left * (1.0 - 2.0 * cos) + 4.0 * left * sin)
                / (4.0 * PI * squared),
        }
    }

    /// In compressible flow, after Prandtl and Glauert: every pressure over √(1 − M²) (H. Glauert, 'The effect of
    /// compressibility on the lift of an aerofoil', Proc. R. Soc. A 118, 1928). Held at [`MOST_MACH`] beyond it.
    pub fn at_mach(self, mach: f64) -> Self {
        let mach = mach.clamp(0.0, MOST_MACH);
        let more = 1.0 / (1.0 - mach * mach).sqrt();
        Self {
            a1: self.a1 * more,
            a2: self.a2 * more,
            b1: self.b1 * more,
            b2: self.b2 * more,
        }
    }

    /// On a wing of this aspect ratio with the flap along its whole span, loaded elliptically: the lift's downwash
    /// C_L/(π·A) takes from the angle of attack (Prandtl's lifting line; H. Glauert, 'The Elements of Aerofoil and Airscrew
    /// Theory', chapter XI). A flap along a part of the span loses less.
    pub fn of_wing(self, aspect: f64) -> Self {
        let downwash = 1.0 / (PI * aspect);
        let less = 1.0 / (1.0 + self.a1 * downwash);
        Self {
            a1: self.a1 * less,
            a2: self.a2 * less,
            b1: self.b1 * less,
            b2: self.b2 - self.b1 * self.a2 * less * downwash,
        }
    }

    /// Coefficient of the hinge moment, on the flap's chord squared.
    pub fn hinge(&self, attack_deg: f64, down_deg: f64) -> f64 {
        self.b1 * attack_deg.to_radians() + self.b2 * down_deg.to_radians()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Computed apart by integrating the pressure, not seen in print; four digits.
    #[test]
    fn the_closed_form_gives_the_known_slopes() {
        for (share, b1, b2) in [
            (0.10, -0.3449, -0.8842),
            (0.15, -0.4273, -0.9031),
            (0.20, -0.4994, -0.9229),
            (0.25, -0.5653, -0.9436),
            (0.30, -0.6274, -0.9654),
            (0.40, -0.7448, -1.0127),
            (0.50, -0.8584, -1.0658),
        ] {
            let flap = Flap::plain(share);
            assert!((flap.b1 - b1).abs() < 5.1e-5, "{share} {}", flap.b1);
            assert!((flap.b2 - b2).abs() < 5.1e-5, "{share} {}", flap.b2);
        }
        assert!((Flap::plain(0.25).a2 - 3.8264).abs() < 5.1e-5);
    }

    /// A flap that is the whole aerofoil is an aerofoil turned about its nose: moment −C_L/4, by deflection as by attack.
    #[test]
    fn a_flap_of_the_whole_chord_is_an_aerofoil_about_its_nose() {
        let whole = Flap::plain(1.0);
        assert!((whole.b1 + PI / 2.0).abs() < 1e-12 && (whole.b2 + PI / 2.0).abs() < 1e-12);
        assert!((whole.a2 - 2.0 * PI).abs() < 1e-12);
    }

    /// On a very small flap the leading terms cancel: b2 tends to a constant, b1 to nought.
    #[test]
    fn a_tiny_flap_keeps_its_digits() {
        let (small, smaller) = (Flap::plain(1e-3), Flap::plain(1e-4));
        assert!(
            (small.b2 - smaller.b2).abs() < 0.01,
            "{small:?} {smaller:?}"
        );
        // b1 goes with the root of the share.
        assert!((small.b1 / smaller.b1 - 10.0_f64.sqrt()).abs() < 0.01);
    }

    #[test]
    fn an_endless_wing_is_the_two_dimensional_one_and_a_short_wing_has_less() {
        let plain = Flap::plain(0.3);
        let endless = plain.of_wing(1e9);
        assert!((endless.b2 - plain.b2).abs() < 1e-6 && (endless.b1 - plain.b1).abs() < 1e-6);
        let short = plain.of_wing(4.0);
        // By hand: A/(A + 2) = 2/3 of b1; b2 + 0.6274·4.1516/(π·6) = −0.9654 + 0.1382.
        assert!((short.b1 / plain.b1 - 2.0 / 3.0).abs() < 1e-12);
        assert!((short.b2 + 0.8272).abs() < 1e-4, "{}", short.b2);
    }

    #[test]
    fn speed_of_sound_comes_in_by_prandtl_and_glauert_and_no_further_than_said() {
        let plain = Flap::plain(0.3);
        assert_eq!(plain.at_mach(0.0), plain);
        // √(1 − 0.36) = 0.8.
        assert!((plain.at_mach(0.6).b2 / plain.b2 - 1.25).abs() < 1e-12);
        assert_eq!(plain.at_mach(3.0), plain.at_mach(MOST_MACH));
    }
}
