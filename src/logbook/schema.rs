//! The columns of a result, in order: the one list that rows are made by and frames are read by. No value in it.

/// Name and version of a result's shape, in each file's key-value metadata as `hingewright.schema`. A column more keeps
/// the version; one that changes its meaning does not.
pub const SCHEMA: &str = "hingewright.result/1";
/// The key of [`SCHEMA`], and that of the program's version, in a file's metadata.
pub(super) const SCHEMA_KEY: &str = "hingewright.schema";
pub(super) const VERSION_KEY: &str = "hingewright.version";

/// Columns that stand in the folders' names, both text.
pub(super) const FOLDERS: [&str; 2] = ["aircraft", "surface"];

/// What a column holds. Each may be null.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Holds {
    Text,
    /// A list of texts.
    Texts,
    /// A whole number.
    Count,
    Number,
    /// True or false.
    Flag,
    /// A time, UTC.
    Time,
    /// Four numbers: NAME, NAME_u, NAME_lo95, NAME_hi95.
    Quantity,
}

impl Holds {
    /// As the table in `schema.md` calls it.
    #[cfg(test)]
    pub(super) fn word(self) -> &'static str {
        match self {
            Holds::Text => "text",
            Holds::Texts => "texts",
            Holds::Count => "count",
            Holds::Number => "number",
            Holds::Flag => "flag",
            Holds::Time => "time",
            Holds::Quantity => "quantity",
        }
    }
}

/// The endings of a quantity's four columns.
pub(super) const QUANTITY: [&str; 4] = ["", "_u", "_lo95", "_hi95"];

pub(super) const COLUMNS: &[(&str, Holds)] = &[
    ("id", Holds::Text),
    ("file", Holds::Text),
    ("started", Holds::Time),
    ("purpose", Holds::Text),
    ("note", Holds::Text),
    ("cycles_before", Holds::Count),
    ("rig", Holds::Text),
    ("drive", Holds::Text),
    ("servo", Holds::Text),
    ("servo2", Holds::Text),
    ("finished", Holds::Flag),
    ("unfinished_why", Holds::Text),
    ("samples", Holds::Count),
    ("lost", Holds::Count),
    ("damaged_lines", Holds::Count),
    ("restarts", Holds::Count),
    ("span_s", Holds::Number),
    ("rate_hz", Holds::Number),
    ("events", Holds::Texts),
    ("air_c", Holds::Number),
    ("case_c", Holds::Number),
    ("supply_v", Holds::Number),
    ("speed_deg_s", Holds::Number),
    ("rest_deg", Holds::Number),
    ("lowest_deg", Holds::Number),
    ("highest_deg", Holds::Number),
    ("torque_from", Holds::Text),
    ("strokes_up", Holds::Count),
    ("strokes_down", Holds::Count),
    ("strokes_left_out", Holds::Count),
    ("stiffness_ncm_per_deg", Holds::Quantity),
    ("friction_ncm", Holds::Quantity),
    ("neutral_torque_ncm", Holds::Quantity),
    ("residual_ncm", Holds::Number),
    ("knee_up_deg", Holds::Quantity),
    ("knee_up_stiffness_ncm_per_deg", Holds::Quantity),
    ("knee_down_deg", Holds::Quantity),
    ("knee_down_stiffness_ncm_per_deg", Holds::Quantity),
    ("tight_spots", Holds::Count),
    ("tight_spot_deg", Holds::Quantity),
    ("tight_spot_ncm", Holds::Quantity),
    ("slop_deg", Holds::Quantity),
    ("lead_mohm", Holds::Quantity),
    ("peak_torque_ncm", Holds::Quantity),
    ("peak_at_deg", Holds::Number),
    ("share_of_stall", Holds::Quantity),
    ("hold_neutral_ma", Holds::Number),
    ("hold_up_ma", Holds::Number),
    ("hold_down_ma", Holds::Number),
    ("throws_met", Holds::Count),
    ("throws_short", Holds::Count),
    ("throws_unproven", Holds::Count),
    ("dead_time_ms", Holds::Quantity),
    ("slew_s_per_60deg", Holds::Quantity),
    ("overshoot_deg", Holds::Quantity),
    ("settling_ms", Holds::Quantity),
    ("dead_band_us", Holds::Quantity),
    ("centring_deg", Holds::Quantity),
    ("arm_slop_deg", Holds::Quantity),
    ("jitter_deg", Holds::Quantity),
    ("idle_ma", Holds::Quantity),
    ("held_ncm_per_deg", Holds::Quantity),
    ("held_play_deg", Holds::Quantity),
    ("case_end_c", Holds::Quantity),
    ("fight_ma", Holds::Quantity),
    ("verdict", Holds::Text),
    ("findings_stop", Holds::Count),
    ("findings_work", Holds::Count),
    ("findings_watch", Holds::Count),
    ("worst_kind", Holds::Text),
    ("worst_finding", Holds::Text),
    ("check_json", Holds::Text),
];

/// Every column of a file with what it holds, quantities taken apart.
pub(super) fn columns() -> Vec<(String, Holds)> {
    let apart = |&(name, holds): &(&str, Holds)| match holds {
        Holds::Quantity => QUANTITY
            .iter()
            .map(|ending| (format!("{name}{ending}"), Holds::Number))
            .collect(),
        _ => vec![(name.to_owned(), holds)],
    };
    COLUMNS.iter().flat_map(apart).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_for_readers_is_the_schema() {
        let table = include_str!("schema.md");
        let mut told = Vec::new();
        for line in table.lines().filter(|l| l.starts_with("| `")) {
            let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
            assert_eq!(cells.len(), 3, "{line}");
            assert!(cells[2].len() > 3, "{line}: not explained");
            for name in cells[0].split(", ") {
                told.push((name.trim_matches('`').to_owned(), cells[1].to_owned()));
            }
        }
        let folders = FOLDERS.map(|name| (name.to_owned(), "folder".to_owned()));
        let columns = COLUMNS
            .iter()
            .map(|(name, holds)| (name.to_string(), holds.word().to_owned()));
        let real: Vec<_> = folders.into_iter().chain(columns).collect();
        assert_eq!(told, real);
        assert!(
            table.contains(SCHEMA) && table.contains(SCHEMA_KEY) && table.contains(VERSION_KEY)
        );
    }

    #[test]
    fn no_two_columns_have_one_name() {
        let mut names: Vec<String> = columns().into_iter().map(|(name, _)| name).collect();
        names.extend(FOLDERS.map(str::to_owned));
        let all = names.len();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), all);
    }
}
