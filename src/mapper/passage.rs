//! Soft passages stay soft: a factor on every wish, from how loud the music is against what is usual.

use super::error::{MapperError, RouteFault, within};
use super::settings::Passages;
use crate::analysis::{Heard, Sense};

/// dB of the wish for each LU: none is [`Passages::Even`], more than two a switch.
const KEEP_LIMITS: (f64, f64) = (0.0, 2.0);
const LEAST_LIMITS: (f64, f64) = (0.0, 1.0);

/// [`Passages`] with its numbers checked.
#[derive(Debug)]
pub(super) struct Passage {
    passages: Passages,
}

impl Passage {
    pub(super) fn new(passages: Passages) -> Result<Self, MapperError> {
        if let Passages::Kept { keep, least, .. } = passages {
            let check = || -> Result<(), RouteFault> {
                within("keep", keep, KEEP_LIMITS, "")?;
                within("least", least, LEAST_LIMITS, "").map(|_| ())
            };
            check().map_err(MapperError::Passages)?;
        }
        Ok(Self { passages })
    }

    /// 1 for a passage as loud as usual or louder; 1 while nothing is known.
    pub(super) fn factor(&self, heard: &Heard<'_>) -> f64 {
        let Passages::Kept { ear, keep, least } = self.passages else { return 1.0 };
        let Some(&Sense::Level { lufs, usual_lufs }) = heard.senses.get(ear) else { return 1.0 };
        let below_lu = (f64::from(lufs) - f64::from(usual_lufs)).min(0.0);
        libm::pow(10.0, keep * below_lu / 20.0).max(least)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    fn factor(keep: f64, least: f64, lufs: f32, usual_lufs: f32) -> f64 {
        let passage = Passage::new(Passages::Kept { ear: 0, keep, least }).unwrap();
        let senses = [Sense::Level { lufs, usual_lufs }];
        let heard = Heard {
            band_dbfs: &[],
            top_dbfs: &[],
            senses: &senses,
            overall_dbfs: -20.0,
            quiet: false,
        };
        passage.factor(&heard)
    }

    /// By hand: 12.041 dB is a factor of four in amplitude, half of it a factor of two.
    #[test]
    fn the_law_is_the_one_that_is_stated() {
        for (keep, below, by_hand) in [
            (0.5, 12.0412, 0.5),
            (1.0, 6.0206, 0.5),
            (1.0, 20.0, 0.1),
            (0.5, 0.0, 1.0),
            (0.5, -7.0, 1.0),
        ] {
            let got = factor(keep, 0.0, -23.0 - below, -23.0);
            assert!((got - by_hand).abs() < 1e-5, "{got} for {below} LU at keep {keep}");
        }
        assert!((factor(1.0, 0.3, -60.0, -23.0) - 0.3).abs() < 1e-12);
    }

    #[test]
    fn louder_never_moves_less() {
        let mut last = 0.0;
        for tenth in -700..100_i16 {
            let now = factor(0.7, 0.05, f32::from(tenth) / 10.0, -18.0);
            assert!(now >= last && (0.05..=1.0).contains(&now));
            last = now;
        }
    }

    #[test]
    fn numbers_that_are_no_law_are_refused() {
        for (keep, least) in [(-0.1, 0.0), (2.1, 0.0), (0.5, -0.1), (0.5, 1.1), (f64::NAN, 0.0)] {
            assert!(Passage::new(Passages::Kept { ear: 0, keep, least }).is_err());
        }
    }
}
