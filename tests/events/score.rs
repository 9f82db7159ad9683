//! How well events were found.
//!
//! As in the onset detection task of MIREX and in C. Raffel et al., "mir_eval: a transparent
//! implementation of common MIR metrics", ISMIR 2014: every found event may stand for one true
//! event no further away than a window and the other way round; F is the harmonic mean of the
//! shares of each that found a partner.

/// Pairs (true, found), as many as can be. Both rows rise, so taking the first that fits is best.
pub(crate) fn pairs(truth: &[f64], found: &[f64], window_s: f64) -> Vec<(f64, f64)> {
    let (mut t, mut f, mut pairs) = (0, 0, Vec::new());
    while t < truth.len() && f < found.len() {
        let late_s = found[f] - truth[t];
        if late_s.abs() <= window_s {
            pairs.push((truth[t], found[f]));
            t += 1;
            f += 1;
        } else if late_s < 0.0 {
            f += 1;
        } else {
            t += 1;
        }
    }
    pairs
}

/// F, 0 to 1.
pub(crate) fn f_measure(truth: &[f64], found: &[f64], window_s: f64) -> f64 {
    2.0 * pairs(truth, found, window_s).len() as f64 / (truth.len() + found.len()) as f64
}

/// Median of found minus true, in ms: positive is late.
pub(crate) fn median_late_ms(truth: &[f64], found: &[f64]) -> f64 {
    let late = pairs(truth, found, 0.05).iter().map(|(t, f)| 1e3 * (f - t)).collect();
    quantile(late, 0.5)
}

/// The value below which this share of the values lies.
pub(crate) fn quantile(mut values: Vec<f64>, share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values[((values.len() - 1) as f64 * share) as usize]
}

/// By hand: of three true and four found, two find a partner within 50 ms, one within 25 ms. The
/// second found lies near two true ones and may stand for one only.
#[test]
fn pairs_worked_by_hand() {
    let (truth, found) = ([1.0, 1.06, 2.0], [0.7, 1.03, 2.01, 3.0]);
    assert_eq!(pairs(&truth, &found, 0.05), [(1.0, 1.03), (2.0, 2.01)]);
    assert!((f_measure(&truth, &found, 0.05) - 4.0 / 7.0).abs() < 1e-12);
    assert!((f_measure(&truth, &found, 0.025) - 2.0 / 7.0).abs() < 1e-12);
    // With both found the first must stand for the first, or one would be left over.
    assert_eq!(pairs(&[1.0, 1.06], &[1.04, 1.09], 0.05).len(), 2);
    assert!((median_late_ms(&[1.0, 2.0, 3.0], &[1.001, 2.003, 3.04]) - 3.0).abs() < 1e-9);
}
