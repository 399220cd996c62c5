//! Statistics under the analysis: regression, nonlinear fits, Student's t, smoothing, robust summaries.
//! Numbers here carry no unit of the trade: a result has the unit that its inputs imply. Pure, as all of the analysis:
//! nothing is opened, printed or judged here, and nothing here knows what a stroke is.

pub mod nonlinear;
pub mod regression;
pub mod robust;
pub mod smooth;
pub mod student;
pub mod variance;
