//! How far coils that should be alike are apart.

/// Coils that should be alike and lie further than this share from the median are named.
pub const FAR: f64 = 0.2;

/// The middle of what is known, or the mean of the two middle ones; `None` of nothing.
pub fn median(values: &[Option<f64>]) -> Option<f64> {
    let mut known: Vec<f64> = values.iter().copied().flatten().collect();
    known.sort_by(f64::total_cmp);
    let upper = *known.get(known.len() / 2)?;
    if known.len() % 2 == 1 {
        return Some(upper);
    }
    known.get(known.len() / 2 - 1).map(|lower| f64::midpoint(*lower, upper))
}

/// Which of them lie more than `share` of the median away from it: index, and by how much, as a
/// share with its sign.
pub fn off_median(values: &[Option<f64>], share: f64) -> Vec<(usize, f64)> {
    let Some(middle) = median(values) else { return Vec::new() };
    let off = |(index, value): (usize, &Option<f64>)| Some((index, (*value)? / middle - 1.0));
    values.iter().enumerate().filter_map(off).filter(|(_, off)| off.abs() > share).collect()
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "halves are exact")]
mod tests {
    use super::*;

    #[test]
    fn the_median_is_in_the_middle_of_what_is_known() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[None, None]), None);
        assert_eq!(median(&[Some(3.0), None, Some(1.0), Some(2.5)]), Some(2.5));
        assert_eq!(median(&[Some(3.0), Some(1.0), None]), Some(2.0));
    }

    #[test]
    fn who_is_off_by_more_than_a_fifth_is_named() {
        let values = [1.0, 1.0, 1.25, 0.75, 1.1, 1.0].map(Some);
        assert_eq!(off_median(&values, 0.2), [(2, 0.25), (3, -0.25)]);
        assert_eq!(off_median(&[Some(5.0), None], 0.2), []);
    }
}
