//! What `calibrate servo` says: sentences worded once, then [`text`], [`json`] and the calibration's own [`file`].
//! No fitting, no deciding.

pub mod file;
pub mod json;
pub mod text;

use crate::aircraft::{ServoType, SheetSpeed};
use crate::servo::balance::{Balance, Doubt, Row, implied_stall_ncm};
use crate::servo::lifts::{Doing, Lifts, Warmth};
use crate::units::significant;

/// One servo's calibration and what it came from.
pub struct Calibrated<'a> {
    pub tag: &'a str,
    pub lifts: &'a Lifts,
    pub balance: &'a Balance,
    /// What the data sheet says, where an aircraft file was there.
    pub kind: Option<&'a ServoType>,
    /// Its speed: of the aircraft file, or as told.
    pub speed: Option<SheetSpeed>,
    /// Names of the recordings.
    pub files: &'a [String],
    /// Those whose run did not reach its end, with why.
    pub unfinished: &'a [String],
    /// What stands against it although it fits.
    pub doubts: &'a [Doubt],
}

/// The four numbers as one names them, with their units.
pub const NAMES: [(&str, &str); 4] = [
    ("idle power", "W"),
    ("winding loss", "W/(N·m)²"),
    ("friction", "N·m"),
    ("gear loss", "of the load"),
];

pub fn doing_word(doing: Doing) -> &'static str {
    match doing {
        Doing::Lifting => "lifting",
        Doing::Lowering => "lowering",
        Doing::Resting => "at rest",
    }
}

/// Correlations strong enough to be said.
const STRONG: f64 = 0.8;
/// Torque known worse than this (95 %) is said to be weak.
const WEAK_TORQUE: f64 = 0.05;

impl Calibrated<'_> {
    /// Whether something is the matter with the lifts, beyond what chance does.
    pub fn poor(&self) -> bool {
        self.balance.poor() || self.lifts.slipped.is_some() || !self.doubts.is_empty()
    }

    /// Torques at which the calibration's own uncertainty is told, N·m, with the 95 % half width as a share.
    pub fn torque_widths(&self) -> [(f64, f64); 3] {
        let balance = self.balance;
        [0.25, 0.5, 1.0].map(|share| {
            let torque = share * balance.torque_nm.1;
            let half = 1.96 * balance.torque_u(torque, balance.speed_rad_s.0);
            (torque, half / torque)
        })
    }

    /// What a builder should know, most important first.
    pub fn sentences(&self) -> Vec<String> {
        let mut said = vec![self.torque_sentence(), self.fit_sentence()];
        let unfinished = self.unfinished.iter();
        said.extend(
            unfinished.map(|u| format!("Of an unfinished run, taken as far as it goes: {u}.")),
        );
        said.extend(self.slipped_sentence());
        said.extend(self.doubts.iter().map(|d| self.doubt_sentence(d)));
        said.extend(self.advice_sentence());
        said.extend(self.correlation_sentence());
        said.extend(self.sheet_sentences());
        said.push(self.copper_sentence());
        said.push(self.left_out_sentence());
        said
    }

    fn torque_sentence(&self) -> String {
        let widths = self.torque_widths();
        let each: Vec<String> = widths
            .iter()
            .map(|(torque, share)| {
                format!("±{} % at {} N·cm", two(100.0 * share), two(100.0 * torque))
            })
            .collect();
        let weak = if widths[1].1 > WEAK_TORQUE {
            " That is weak: every torque found with it inherits this."
        } else {
            ""
        };
        format!(
            "Torque from supply power by this calibration (95 %): {}; lifted were up to {} N·cm at {:.0} to {:.0}°/s of the arm, and beyond that it is drawn on.{weak}",
            each.join(", "),
            two(100.0 * self.balance.torque_nm.1),
            self.balance.speed_rad_s.0.to_degrees(),
            self.balance.speed_rad_s.1.to_degrees(),
        )
    }

    fn fit_sentence(&self) -> String {
        let balance = self.balance;
        let chi = two(balance.chi2_per_df);
        if balance.poor() {
            return format!(
                "The fit is poor: chi-square per degree of freedom {chi} ({:.0} degrees of freedom). The levels differ by more than their strokes \
                 scatter, so all uncertainties were enlarged {} times. {}",
                balance.df,
                two(balance.chi2_per_df.sqrt()),
                self.where_to_look()
            );
        }
        let enlarged = if balance.chi2_per_df > 1.0 {
            format!(
                ", uncertainties enlarged {} times",
                two(balance.chi2_per_df.sqrt())
            )
        } else {
            String::new()
        };
        format!(
            "The fit is good: chi-square per degree of freedom {chi} ({:.0} degrees of freedom){enlarged}.",
            balance.df
        )
    }

    /// Strokes alike that differ among themselves are a weight that swings; strokes that agree and stand off together are a
    /// number said wrongly.
    fn where_to_look(&self) -> String {
        let rows = || {
            self.balance
                .rows
                .iter()
                .filter(|r| r.doing != Doing::Resting)
        };
        let place = |r: &Row| {
            format!(
                "{} {} kg at {:.0}°/s",
                doing_word(r.doing),
                r.mass_kg,
                r.speed_rad_s.to_degrees()
            )
        };
        let uneven = rows().max_by(|a, b| a.scatter.total_cmp(&b.scatter));
        let off = rows().max_by(|a, b| a.off().abs().total_cmp(&b.off().abs()));
        match (uneven, off) {
            (Some(uneven), Some(off)) if uneven.scatter > off.off().abs() => format!(
                "Strokes that should be alike differ most {} ({} times what they should): see that the weight hangs still before each stroke, \
                 that nothing rubs, and that the servo is clamped.",
                place(uneven),
                two(uneven.scatter)
            ),
            (_, Some(off)) => format!(
                "Furthest off: {}. Look for a mass or length said wrongly, an arm not level, or something that rubs.",
                place(off)
            ),
            _ => String::new(),
        }
    }

    fn slipped_sentence(&self) -> Option<String> {
        let slip = self.lifts.slipped?;
        Some(format!(
            "THE ARM SLIPPED: with {} kg the same pulse had it {}° from where it stood before. Tighten its screw, clamp the servo, and lift again; \
             a weight on an arm that gives way may fall.",
            slip.mass_kg,
            two(slip.deg)
        ))
    }

    /// What disagrees, by how much, and what to check.
    pub fn doubt_sentence(&self, doubt: &Doubt) -> String {
        let told = match doubt {
            Doubt::Gears { loss } => format!(
                "DOUBTFUL: gears that lose {} % of the load are hardly met with (10 to 50 % are common; common practice, no source).",
                two(100.0 * loss)
            ),
            Doubt::Older {
                share,
                half95,
                made,
            } => format!(
                "DOUBTFUL: from the same power this calibration has {} % {} torque than the one before it{}, and the two explain ±{} % between them.",
                two(100.0 * share.abs()),
                match *share > 0.0 {
                    true => "more",
                    false => "less",
                },
                made.map_or(String::new(), |day| format!(" ({day})")),
                two(100.0 * half95)
            ),
            Doubt::Sheet { times, implied_ncm } => format!(
                "DOUBTFUL: with its data sheet's speed it would stall at {} N·cm, {} times what the sheet says.",
                two(*implied_ncm),
                two(*times)
            ),
        };
        let arms = self.lifts.arms_mm.iter();
        let arms: Vec<String> = arms
            .map(|arm| match doubt.too_large() {
                Some(by) => format!(
                    "said {} mm, to agree it would be {} mm",
                    arm.value,
                    two(arm.value / by)
                ),
                None => format!(
                    "said {} mm; a longer one would lose less in its gears",
                    arm.value
                ),
            })
            .collect();
        format!(
            "{told} Measure the arm again, from the shaft's middle to where the weight hangs ({}), weigh the masses (kg, not g), and see that \
             it is servo {}. Then say them anew: --arm-mm with --from needs no second lift.",
            arms.join("; "),
            self.tag
        )
    }

    fn advice_sentence(&self) -> Option<String> {
        let advice = self.balance.advice?;
        let names = ["winding loss", "friction", "gear loss"];
        let units = [" W/(N·m)²", " N·m", " of the load"];
        // A share of next to nothing says nothing.
        let changes: Vec<String> = (0..3)
            .map(|k| match advice.now[k] <= 1.0 {
                true => format!(
                    "{} from ±{} % to ±{} %",
                    names[k],
                    two(100.0 * advice.now[k]),
                    two(100.0 * advice.then[k])
                ),
                false => format!(
                    "{} from ±{} to ±{}{}",
                    names[k],
                    two(advice.now_half[k]),
                    two(advice.then_half[k]),
                    units[k]
                ),
            })
            .collect();
        let badly = if self.torque_widths()[1].1 > WEAK_TORQUE {
            "These loads separate the terms badly, and torque suffers from it."
        } else {
            "Torque is known better than the terms that it is made of."
        };
        Some(format!(
            "{badly} What would part them most: {}. It would bring {} (95 %).",
            advice.words(),
            changes.join(", ")
        ))
    }

    fn correlation_sentence(&self) -> Option<String> {
        let mut strong = Vec::new();
        for (i, one) in NAMES.iter().enumerate() {
            for (j, other) in NAMES.iter().enumerate().skip(i + 1) {
                let r = self.balance.correlation(i, j);
                if r.abs() >= STRONG {
                    let way = if r < 0.0 {
                        "more of one with less of the other"
                    } else {
                        "both larger or both smaller"
                    };
                    strong.push(format!(
                        "{} and {} ({way}, correlation {})",
                        one.0,
                        other.0,
                        crate::units::fixed(r, 2)
                    ));
                }
            }
        }
        (!strong.is_empty()).then(|| {
            format!(
                "Fit almost as well: {}. The covariance in the file carries that, so a torque is known better than its parts.",
                strong.join("; ")
            )
        })
    }

    /// By the balance at stall, V·I = a·x²; running free, V = k·ω with k = V/(a·x_stall).
    fn sheet_sentences(&self) -> Option<String> {
        let kind = self.kind?;
        let [_, winding, friction, gear] = self.balance.values;
        let stall_nm = 0.01 * kind.stall_torque_ncm;
        let x = (1.0 + gear) * stall_nm + friction;
        let volts = kind.stall_voltage_v;
        if let Some(speed) = self.speed {
            return Some(format!(
                "Against the data sheet: with 60° in {} s at {} V this winding loss implies a stall torque of {} N·cm at {volts} V; the sheet says {} N·cm.",
                speed.s_per_60deg,
                speed.voltage_v,
                two(implied_stall_ncm(self.balance, kind, speed)),
                two(kind.stall_torque_ncm)
            ));
        }
        let amps = winding * x * x / volts;
        let seconds = 60_f64.to_radians() / (winding * (x - friction));
        Some(format!(
            "Against the data sheet: if the servo stalls at its {} N·cm at {volts} V, this calibration has it draw {} A then and turn 60° in {} s \
             unloaded (copper at 20 °C). Numbers far from the sheet's mean another servo, a mass said wrongly, or a sheet that flatters.",
            two(kind.stall_torque_ncm),
            two(amps),
            two(seconds)
        ))
    }

    fn copper_sentence(&self) -> String {
        let from = match self.lifts.warmth {
            Warmth::Case => "the case's temperature was measured",
            Warmth::Air => "only the room's temperature was measured",
            Warmth::Nothing => {
                "no temperature was measured, and the copper was taken as at 20 ± 12 °C"
            }
        };
        format!(
            "Winding loss is given for copper at 20 °C. {}{}; the strokes show the copper up to {:.0} °C.",
            from[..1].to_uppercase(),
            &from[1..],
            self.balance.copper_c
        )
    }

    fn left_out_sentence(&self) -> String {
        let (seen, unseen) = self.balance.lowering;
        let mut said = format!(
            "Of the lowering strokes {seen} served; in {unseen} the load drove the servo, and supply power says nothing of torque then. \
             Holding a weight tells nothing either: friction holds a part that nobody knows."
        );
        if self.lifts.unsteady > 0 {
            said += &format!(" {} strokes were not steady.", self.lifts.unsteady);
        }
        if self.balance.out_of_line > 0 {
            said += &format!(
                " {} levels were out of line with all others and left out, most of them with {} kg: see that it hangs still before each stroke.",
                self.balance.out_of_line,
                self.balance.out_of_line_kg.unwrap_or_default()
            );
        }
        said
    }
}

/// Three digits at most: what a sentence can carry.
fn two(value: f64) -> String {
    significant(value, if value.abs() >= 100.0 { 3 } else { 2 })
        .unwrap_or_else(|| crate::units::NOT_A_NUMBER.into())
}
