//! What is on the servo's arm and hangs on the surface, arming by arming: the options of `simulate` that say so.

use clap::Args;

use crate::problem::Problem;
use crate::simulated::{Loaded, OnArm};

#[derive(Args)]
#[command(next_help_heading = "Loads")]
pub struct LoadOptions {
    /// A weight on the servo's arm instead of the surface, kg: at the first arming, the second …; 0 is the arm alone
    #[arg(long, value_name = "KG,KG…", value_delimiter = ',', value_parser = super::not_negative, conflicts_with_all = ["hung", "rods_off"])]
    weights: Vec<f64>,
    /// From the servo's shaft to the weight, mm
    #[arg(
        long,
        value_name = "MM",
        default_value_t = 60.0,
        value_parser = super::not_negative,
        requires = "weights"
    )]
    weight_arm: f64,
    /// A weight hung on the surface, N·cm about its hinge line, up positive: at the first arming, the second …
    #[arg(
        long,
        value_name = "NCM,NCM…",
        value_delimiter = ',',
        allow_hyphen_values = true
    )]
    hung: Vec<f64>,
    /// The rods are off: the servo turns free, and the angle sensor sits on its arm
    #[arg(long)]
    rods_off: bool,
}

impl LoadOptions {
    /// In the order of the armings; none where nothing was said.
    ///
    /// # Errors
    /// A weight that hangs on the surface is no number.
    pub fn loads(&self) -> Result<Vec<Loaded>, Problem> {
        if let Some(odd) = self.hung.iter().find(|ncm| !ncm.is_finite()) {
            return Err(Problem::new(format!("--hung {odd} cannot be"))
                .hint("give N·cm with commas, for instance --hung 0,12.5,0,-12.5"));
        }
        let on_arm = |on_arm| Loaded {
            on_arm,
            hung_ncm: 0.0,
        };
        if self.rods_off {
            return Ok(vec![on_arm(OnArm::Nothing)]);
        }
        let weights = self.weights.iter().map(|&mass_kg| {
            on_arm(match mass_kg {
                0.0 => OnArm::Nothing,
                mass_kg => OnArm::Weight {
                    mass_kg,
                    arm_mm: self.weight_arm,
                },
            })
        });
        let hung = self.hung.iter().map(|&hung_ncm| Loaded {
            on_arm: OnArm::Surface,
            hung_ncm,
        });
        Ok(weights.chain(hung).collect())
    }
}
