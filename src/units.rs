//! The one place that formats a quantity for people, and the torque units a builder may ask for.
//! Nothing here measures or judges. Inside the program torque is N·cm, angle is degree, length is mm.

/// A torque unit to show. JSON keeps N·cm whatever is chosen here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum TorqueUnit {
    #[default]
    NewtonCentimetre,
    KilogramCentimetre,
    OunceInch,
    NewtonMetre,
}

impl TorqueUnit {
    /// One N·cm in this unit. Standard gravity 9.806 65 m/s² (ISO 80000-3, by definition),
    /// ounce 28.349 523 125 g and inch 25.4 mm (international yard and pound agreement of 1959, exact).
    pub fn per_ncm(self) -> f64 {
        const STANDARD_GRAVITY_M_S2: f64 = 9.806_65;
        match self {
            Self::NewtonCentimetre => 1.0,
            Self::KilogramCentimetre => 1.0 / STANDARD_GRAVITY_M_S2,
            Self::OunceInch => 1.0 / (0.028_349_523_125 * STANDARD_GRAVITY_M_S2 * 2.54),
            Self::NewtonMetre => 0.01,
        }
    }

    pub fn symbol(self) -> &'static str {
        match self {
            Self::NewtonCentimetre => "N·cm",
            Self::KilogramCentimetre => "kg·cm",
            Self::OunceInch => "oz·in",
            Self::NewtonMetre => "N·m",
        }
    }
}
