//! Statistics under the analysis.
