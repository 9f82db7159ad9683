//! Are the stated errors honest? Of many repetitions of one test, 68 % of the fitted figures must lie
//! within one standard error of the truth and 95 % within two.

use super::bench::{Bench, figures};

/// Shares of 200 seeds within one and two standard errors, per figure, and the rms of error over
/// standard error.
fn coverage(bench: &Bench) -> [[f64; 3]; 4] {
    let mut count = [[0.0; 3]; 4];
    for seed in 0..200 {
        let fitted = bench.fitted(1000 + seed);
        for (figure, (value, error)) in figures(&fitted).into_iter().enumerate() {
            let off = (value / bench.coil[figure]).ln() / error;
            count[figure][0] += f64::from(u8::from(off.abs() <= 1.0)) / 200.0;
            count[figure][1] += f64::from(u8::from(off.abs() <= 2.0)) / 200.0;
            count[figure][2] += off * off / 200.0;
        }
    }
    count.map(|[one, two, square]| [one, two, square.sqrt()])
}

/// Shares of 200 scatter themselves: 68.3 % by 3.3 %, 95.4 % by 1.5 % (binomial); three times that
/// is allowed.
#[test]
fn over_200_seeds() {
    for (figure, [one, two, size]) in coverage(&Bench::worked()).into_iter().enumerate() {
        println!("figure {figure}: {one:.3} within one, {two:.3} within two, rms {size:.3}");
        assert!((0.58..=0.79).contains(&one), "figure {figure}: {one} within one");
        assert!((0.91..=0.995).contains(&two), "figure {figure}: {two} within two");
        assert!((0.85..=1.15).contains(&size), "figure {figure}: errors of rms {size}");
    }
}

/// Noise that hangs together (a meter that averages, a draft) says less than it seems to.
#[test]
fn with_noise_that_hangs_together() {
    let bench = Bench { alike: 0.6, every_s: [0.5, 2.0], ..Bench::worked() };
    for (figure, [one, two, size]) in coverage(&bench).into_iter().enumerate() {
        println!("figure {figure}: {one:.3} within one, {two:.3} within two, rms {size:.3}");
        assert!((0.55..=0.83).contains(&one), "figure {figure}: {one} within one");
        assert!(two >= 0.90, "figure {figure}: {two} within two");
    }
    assert!(bench.fitted(1).widened > 1.5);
}
