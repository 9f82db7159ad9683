//! Which samples a frame has heard: whole-number arithmetic, so that frames never drift.

use super::SoundFormat;
use crate::units::Rate;

/// Maps frame numbers to sample instants and back.
///
/// Frame `k` is due at `k / rate` seconds and has heard exactly the instants before that moment:
/// `n < ceil(k * sampling rate / frame rate)`. Frame 0 has heard nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FrameEdges {
    /// Instants per frame, as numerator and denominator.
    step: (u128, u128),
    /// Instants that every frame has heard beyond its time.
    ahead: u64,
}

impl FrameEdges {
    /// For a sound and a frame rate. A sampling rate of 0, which no [`super::Source`] has, counts
    /// as 1.
    pub fn new(sound: SoundFormat, frames: Rate) -> Self {
        let (num, den) = frames.ratio();
        let rate_hz = u128::from(sound.rate_hz.max(1));
        Self { step: (rate_hz * u128::from(den), u128::from(num)), ahead: 0 }
    }

    /// The same with every frame hearing so many instants more: what happens then is told that much
    /// before it sounds. Frames end as much earlier.
    pub fn ahead(self, instants: u64) -> Self {
        Self { ahead: instants, ..self }
    }

    /// Number of instants that frame `frame` has heard. Saturates where it would not fit.
    pub fn edge(self, frame: u64) -> u64 {
        // No overflow: a 64-bit number times two 32-bit ones.
        let edge = (u128::from(frame) * self.step.0).div_ceil(self.step.1);
        u64::try_from(edge).unwrap_or(u64::MAX).saturating_add(self.ahead)
    }

    /// Number of the last frame of a sound of so many instants, whose frames are `0..=last_frame`:
    /// the first that is due when the sound is over, neither before nor within its last instant.
    pub fn last_frame(self, instants: u64) -> u64 {
        let within = instants.saturating_sub(self.ahead);
        let frame = (u128::from(within) * self.step.1).div_ceil(self.step.0);
        u64::try_from(frame).unwrap_or(u64::MAX)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const RATES_HZ: [u32; 12] = [
        8_000, 11_025, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000, 88_200, 96_000, 176_400,
        192_000,
    ];
    const FRAMES: [(u32, u32); 15] = [
        (24, 1),
        (25, 1),
        (30, 1),
        (30_000, 1001),
        (50, 1),
        (60_000, 1001),
        (2997, 50),
        (60, 1),
        (75, 1),
        (100, 1),
        (120, 1),
        (200, 1),
        (240, 1),
        (400, 1),
        (1000, 1),
    ];

    fn all() -> impl Iterator<Item = (u32, u32, u32, FrameEdges)> {
        RATES_HZ.into_iter().flat_map(|rate_hz| {
            FRAMES.into_iter().map(move |(num, den)| {
                let frames = Rate::new(num, den).unwrap();
                let edges = FrameEdges::new(SoundFormat { rate_hz, channels: 2 }, frames);
                (rate_hz, num, den, edges)
            })
        })
    }

    /// The definition, checked without dividing: the edge is the smallest n with
    /// n / sampling rate >= k / frame rate.
    fn is_edge(n: u64, k: u64, rate_hz: u32, num: u32, den: u32) -> bool {
        let due = i128::from(k) * i128::from(rate_hz) * i128::from(den);
        let heard = |n: i128| n * i128::from(num);
        heard(i128::from(n)) >= due && heard(i128::from(n) - 1) < due
    }

    #[test]
    fn whole_seconds_are_exact_after_an_hour_a_day_and_a_month() {
        for (rate_hz, num, den, edges) in all() {
            // After `den` seconds a whole number of frames and of samples has gone by.
            for seconds in [3_600, 86_400, 2_592_000] {
                let laps = u64::from(seconds / den + 1);
                let frame = laps * u64::from(num);
                let instants = laps * u64::from(den) * u64::from(rate_hz);
                assert_eq!(edges.edge(frame), instants, "{rate_hz} Hz, {num}/{den}");
                assert_eq!(edges.last_frame(instants), frame, "{rate_hz} Hz, {num}/{den}");
            }
        }
    }

    #[test]
    fn every_edge_of_two_laps_follows_the_definition_and_rises() {
        for (rate_hz, num, den, edges) in all() {
            let frames = u64::from(2 * num).min(4_000);
            let mut before = None;
            for k in 0..=frames {
                let n = edges.edge(k);
                assert!(is_edge(n, k, rate_hz, num, den), "{rate_hz} Hz, {num}/{den}, frame {k}");
                assert!(Some(n) > before, "{rate_hz} Hz, {num}/{den}, frame {k}");
                before = Some(n);
            }
        }
    }

    #[test]
    fn a_sound_ends_with_the_first_frame_due_when_it_is_over() {
        for (rate_hz, num, den, edges) in all() {
            assert_eq!(edges.edge(0), 0);
            assert_eq!(edges.last_frame(0), 0);
            for instants in [1, 2, 219, 220, 221, 44_099, 44_100, 44_101, 15_876_001] {
                let last = edges.last_frame(instants);
                // In units of 1 / (sampling rate * num) of a second.
                let due = |k: u64| i128::from(k) * i128::from(rate_hz) * i128::from(den);
                let over = i128::from(instants) * i128::from(num);
                assert!(due(last) >= over && due(last - 1) < over, "{rate_hz} Hz, {num}/{den}");
                assert!(edges.edge(last) >= instants);
            }
        }
    }

    /// Worked by hand: 44100 / 200 = 220.5; 48000 * 1001 / 60000 = 800.8.
    #[test]
    fn edges_worked_by_hand() {
        let edges = |rate_hz, num, den| {
            FrameEdges::new(SoundFormat { rate_hz, channels: 1 }, Rate::new(num, den).unwrap())
        };
        let first = |e: FrameEdges| [0, 1, 2, 3, 4, 5].map(|k| e.edge(k));
        assert_eq!(first(edges(44_100, 200, 1)), [0, 221, 441, 662, 882, 1103]);
        assert_eq!(first(edges(48_000, 60_000, 1001)), [0, 801, 1602, 2403, 3204, 4004]);
    }

    /// 44100 / 200 = 220.5, and 4190 instants (95 ms) more.
    #[test]
    fn frames_that_lead_hear_as_much_more_and_end_as_much_sooner() {
        let plain = FrameEdges::new(
            SoundFormat { rate_hz: 44_100, channels: 1 },
            Rate::new(200, 1).unwrap(),
        );
        let leading = plain.ahead(4_190);
        assert_eq!([0, 1, 2].map(|k| leading.edge(k)), [4_190, 4_411, 4_631]);
        assert_eq!(leading.last_frame(44_100), 181, "ceil(39910 / 220.5)");
        assert_eq!([0, 4_190, 4_191].map(|n| leading.last_frame(n)), [0, 0, 1]);
        assert_eq!(plain.ahead(0), plain);
        assert_eq!(leading.edge(u64::MAX), u64::MAX);
    }

    #[test]
    fn numbers_beyond_any_song_saturate() {
        let edges = FrameEdges::new(
            SoundFormat { rate_hz: u32::MAX, channels: 1 },
            Rate::new(1, 1).unwrap(),
        );
        assert_eq!(edges.edge(u64::MAX), u64::MAX);
    }

    proptest! {
        #[test]
        fn any_frame_of_a_year_follows_the_definition(
            k in 0_u64..31_536_000_000, rate in 0..RATES_HZ.len(), frame in 0..FRAMES.len()
        ) {
            let (rate_hz, num, den, edges) = all().nth(rate * FRAMES.len() + frame).unwrap();
            prop_assert!(is_edge(edges.edge(k), k, rate_hz, num, den));
        }
    }
}
