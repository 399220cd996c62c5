//! How repeatable a rig is: the same surface mounted and measured again, by one person or several (a gauge study).
//! Pure, as all of this room; wording for people is the report's.

pub mod anova;
pub mod limits;
