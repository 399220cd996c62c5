//! Student's t and intervals against printed tables.

use hingewright::analysis::stats::student::{t_quantile, t_two_sided_p};

/// Upper 2.5 % points: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2 (10 and 20 degrees of freedom [S], all
/// of them [V]).
#[test]
fn printed_t_table_values_are_met_to_their_last_digit() {
    let table = [
        (1.0, 12.706),
        (2.0, 4.303),
        (5.0, 2.571),
        (9.0, 2.262),
        (10.0, 2.228),
        (20.0, 2.086),
        (30.0, 2.042),
        (60.0, 2.000),
        (120.0, 1.980),
    ];
    for (df, t) in table {
        assert!(
            (t_quantile(0.975, df) - t).abs() <= 0.000_5,
            "df {df}: {}",
            t_quantile(0.975, df)
        );
        assert!((t_two_sided_p(t, df) - 0.05).abs() < 1e-4);
    }
    // The last row of such tables; 1.959963985 in Abramowitz and Stegun, table 26.5 [M].
    assert!((t_quantile(0.975, f64::INFINITY) - 1.959_963_985).abs() < 5e-10);
}

/// e-Handbook 1.3.5.3 (AUTO83B): critical value 1.9673 at 326 degrees of freedom [S, V].
#[test]
fn a_t_table_is_not_needed_between_its_rows() {
    assert!((t_quantile(0.975, 326.0) - 1.9673).abs() < 5e-5);
}

/// Welch's test on the sleep data as R prints it: t −1.8608, df 17.776, p 0.07939 [S, V].
/// Paired: t −4.0621, df 9, p 0.002833 [S, V].
#[test]
fn p_values_of_the_sleep_data_are_as_r_prints_them() {
    assert!((t_two_sided_p(-1.8608, 17.776) - 0.07939).abs() < 1e-5);
    assert!((t_two_sided_p(-4.0621, 9.0) - 0.002833).abs() < 1e-6);
}
