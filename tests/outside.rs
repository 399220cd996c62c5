//! Checks against the outside: certified results, printed tables, published figures, other people's measured data and
//! other people's code. Each value has its source beside it and how far that source was seen:
//! [S] seen in a source, [V] computed again independently, [M] from memory.
//!
//! Data sets that are not this project's to give away are read at ../shared/data. Where they are missing, the test prints
//! that it was skipped and why (`cargo test --test outside -- --nocapture` shows it, and the digits reached).

mod outside {
    mod calibrations;
    mod copper_table;
    mod emps;
    mod fatigue_loops;
    mod gauge;
    mod gum;
    mod linkage;
    mod pneumatic_friction;
    mod reference;
    mod savitzky_golay_table;
    mod shared;
    mod strd_linear;
    mod strd_models;
    mod strd_nonlinear;
    mod student_table;
    mod torque_ramps;
    mod welch;
}
