//! Order statistics by selection: median, quantile, median absolute deviation.
//! No NaN may be passed in: it would be sorted to one end and shift the answer. Callers leave missing readings out first.

/// Standard deviation of a normal distribution over its median absolute deviation, 1/Φ⁻¹(3/4)
/// (P. J. Rousseeuw and C. Croux, Alternatives to the Median Absolute Deviation, JASA 88, 1993, section 1: 1.4826).
pub const MAD_TO_SIGMA: f64 = 1.482_602_218_505_602;

/// The median, in the unit of the values; `None` of nothing. No NaN allowed.
pub fn median(values: &[f64]) -> Option<f64> {
    median_in_place(&mut values.to_vec())
}

/// [`median`] without a copy: reorders the values.
pub fn median_in_place(values: &mut [f64]) -> Option<f64> {
    quantile_in_place(values, 0.5)
}

/// The median absolute deviation about the median, times [`MAD_TO_SIGMA`]: the standard deviation's stand-in, in the
/// unit of the values. `None` of nothing. No NaN allowed.
pub fn mad(values: &[f64]) -> Option<f64> {
    let centre = median(values)?;
    mad_about(values, centre)
}

/// The median absolute deviation about a given centre, times [`MAD_TO_SIGMA`]. No NaN allowed.
pub fn mad_about(values: &[f64], centre: f64) -> Option<f64> {
    let mut distances: Vec<f64> = values.iter().map(|v| (v - centre).abs()).collect();
    median_in_place(&mut distances).map(|m| m * MAD_TO_SIGMA)
}

/// The quantile at `p` (0 to 1, outside clamped), linear between order statistics: definition 7 of R. J. Hyndman and
/// Y. Fan, Sample Quantiles in Statistical Packages, The American Statistician 50, 1996. `None` of nothing or at p = NaN.
/// No NaN allowed among the values.
pub fn quantile(values: &[f64], p: f64) -> Option<f64> {
    quantile_in_place(&mut values.to_vec(), p)
}

/// [`quantile`] without a copy: reorders the values.
pub fn quantile_in_place(values: &mut [f64], p: f64) -> Option<f64> {
    if values.is_empty() || p.is_nan() {
        return None;
    }
    let place = p.clamp(0.0, 1.0) * (values.len() - 1) as f64;
    let below = place.floor() as usize;
    let share = place - below as f64;
    let (_, &mut low, above) = values.select_nth_unstable_by(below, f64::total_cmp);
    if share == 0.0 {
        return Some(low);
    }
    let high = above.iter().copied().fold(f64::INFINITY, f64::min);
    // Halves are summed as such, so that a median of huge values does not overflow.
    Some(low * (1.0 - share) + high * share)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_of_an_even_count_lies_half_way() {
        assert_eq!(median(&[4.0, 1.0, 3.0, 2.0]), Some(2.5));
        assert_eq!(median(&[5.0, 1.0, 3.0]), Some(3.0));
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[f64::MAX, f64::MAX]), Some(f64::MAX));
    }

    #[test]
    fn one_wild_value_hardly_moves_the_mad() {
        let calm = [1.0, 2.0, 3.0, 4.0, 5.0];
        let wild = [1.0, 2.0, 3.0, 4.0, 1e9];
        assert_eq!(mad(&calm), Some(MAD_TO_SIGMA));
        assert_eq!(mad(&wild), mad(&calm));
    }

    #[test]
    fn quantiles_interpolate_between_order_statistics() {
        let v = [10.0, 20.0, 30.0, 40.0, 50.0];
        assert_eq!(quantile(&v, 0.0), Some(10.0));
        assert_eq!(quantile(&v, 1.0), Some(50.0));
        assert_eq!(quantile(&v, 0.25), Some(20.0));
        assert!((quantile(&v, 0.9).unwrap() - 46.0).abs() < 1e-12);
        assert_eq!(quantile(&v, f64::NAN), None);
    }
}
