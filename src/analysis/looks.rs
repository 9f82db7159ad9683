//! When spectra are taken: at every frame edge, and in between when frames are far apart.
//!
//! At 30 frames a second a window of 5 ms would miss most of the sound. Each frame is then divided
//! evenly, so that looks are no more than 5 ms apart, and the frame's level is the highest of them:
//! a drum beat reads the same at every frame rate. (Steady noise in a narrow band then reads up to
//! a few dB more at 30 frames a second than at 200; tones do not.) The looks' edges follow the same whole-number law as the frames': look j hears exactly
//! the samples n < ceil(j fs den / num), with the looks' own rate num/den.

use crate::units::Rate;

/// Least looks per second.
const LEAST_PER_S: f64 = 200.0;

/// Counts samples and says when to look between frame edges.
#[derive(Debug, Clone)]
pub(super) struct Looks {
    /// Looks per frame.
    per_frame: u64,
    /// Samples per look as a ratio.
    samples: (u128, u128),
    /// Number of the next look; every `per_frame`-th is the frame's own.
    next: u64,
    heard: u128,
}

impl Looks {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a whole number from 1 to 200"
    )]
    pub(super) fn new(sound_hz: u32, frame_rate: Rate) -> Self {
        let per_frame = (LEAST_PER_S / frame_rate.per_second()).ceil().max(1.0) as u64;
        let (num, den) = frame_rate.ratio();
        let samples =
            (u128::from(sound_hz) * u128::from(den), u128::from(num) * u128::from(per_frame));
        Self { per_frame, samples, next: 1, heard: 0 }
    }

    /// How many of `coming` samples to take in before the next look; `None` when none is due
    /// among them.
    pub(super) fn next_within(&mut self, coming: usize) -> Option<usize> {
        loop {
            let edge = (u128::from(self.next) * self.samples.0).div_ceil(self.samples.1);
            let missing = usize::try_from(edge.saturating_sub(self.heard)).ok()?;
            if missing > coming {
                self.heard += coming as u128;
                return None;
            }
            let own = self.next.is_multiple_of(self.per_frame);
            if own && missing == coming {
                // The frame's own look, by whoever measures it.
                self.heard += coming as u128;
                self.next += 1;
                return None;
            }
            self.next += 1;
            if !own {
                self.heard += missing as u128;
                return Some(missing);
            }
        }
    }
}

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop at the first surprise"
)]
mod tests {
    use super::*;

    /// Positions of the looks in a second at `rate`, fed in chunks cut at frame edges.
    fn looks(rate: &str, chunk: usize) -> Vec<usize> {
        let rate: Rate = rate.parse().unwrap();
        let (num, den) = rate.ratio();
        let mut looks = Looks::new(44_100, rate);
        let (mut at, mut heard) = (Vec::new(), 0);
        for frame in 1..=rate.per_second() as u64 {
            let edge = (frame * 44_100 * u64::from(den)).div_ceil(u64::from(num)) as usize;
            while heard < edge {
                let mut coming = chunk.min(edge - heard);
                while let Some(first) = looks.next_within(coming) {
                    heard += first;
                    coming -= first;
                    at.push(heard);
                }
                heard += coming;
            }
        }
        at
    }

    #[test]
    fn looks_divide_frames_evenly_and_exactly() {
        assert!(looks("200", 4096).is_empty());
        assert!(looks("1000", 4096).is_empty());
        // 50 frames/s: four looks to a frame of 882 samples, the last is the frame's own.
        assert_eq!(looks("50", 4096)[..6], [221, 441, 662, 1103, 1323, 1544]);
        for rate in ["30", "59.94", "199"] {
            let whole = looks(rate, 4096);
            assert!(whole.len() >= 199 - rate.parse::<Rate>().unwrap().per_second() as usize);
            for chunk in [1, 7, 441] {
                assert_eq!(whole, looks(rate, chunk), "{rate} in chunks of {chunk}");
            }
        }
    }
}
