//! HTML
