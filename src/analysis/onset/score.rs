//! What two nets think of the last looks.

use super::net::Net;
use super::pick::NEVER;
use super::view::{FIRST_OUTPUTS, Mean, Memory, Part, SECOND_OUTPUTS, View};
use super::{KINDS, Look};

/// One look's scores.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scores {
    /// One for each of [`super::KIND_ORDER`].
    pub(super) kinds: [f32; KINDS],
    pub(super) beat: f32,
    /// How old the newest event is, in hundredths of a second.
    pub(super) age: f32,
}

/// Score of any kind above which the second net is asked too, and for how many looks more. Where the
/// first is so sure that nothing begins, the mean of both does not reach a threshold: on fifty pieces
/// of drums and notes no event was lost, and the second net slept for three quarters of the looks.
const STIRS: f32 = -3.0;
const STAYS_AWAKE_LOOKS: u8 = 3;

/// A net and what it hears.
struct Listener<const OUTPUTS: usize> {
    part: Part,
    net: Net<OUTPUTS>,
    inputs: Vec<f32>,
}

impl<const OUTPUTS: usize> Listener<OUTPUTS> {
    fn new(part: Part) -> Self {
        let net = Net::new(part.weights, part.inputs());
        Self { inputs: Vec::with_capacity(part.inputs()), part, net }
    }

    fn weigh(&mut self, memory: &Memory, mean: &Mean) -> [f32; OUTPUTS] {
        self.part.gather(memory, mean, &mut self.inputs);
        self.net.weigh(&self.inputs)
    }
}

/// Looks remembered and weighed.
pub(super) struct Scorer {
    memory: Memory,
    mean: Mean,
    first: Listener<FIRST_OUTPUTS>,
    second: Listener<SECOND_OUTPUTS>,
    /// Looks for which the second net will still be asked.
    awake: u8,
}

impl Scorer {
    pub(super) fn new(view: View) -> Self {
        Self {
            memory: Memory::new(),
            mean: Mean::new(),
            first: Listener::new(view.first),
            second: Listener::new(view.second),
            awake: 0,
        }
    }

    /// What strokes are is the mean of two opinions.
    pub(super) fn weigh(&mut self, look: &Look) -> Scores {
        self.memory.take(look);
        self.mean.take(&self.memory);
        let [onset, strokes @ .., beat, age] = self.first.weigh(&self.memory, &self.mean);
        let highest = strokes.into_iter().fold(onset, f32::max);
        let stirs = highest > STIRS;
        self.awake = if stirs { STAYS_AWAKE_LOOKS + 1 } else { self.awake.saturating_sub(1) };
        let mut kinds = [NEVER; KINDS];
        kinds[0] = onset;
        if self.awake > 0 {
            let others = self.second.weigh(&self.memory, &self.mean);
            for ((score, one), other) in kinds.iter_mut().skip(1).zip(strokes).zip(others) {
                *score = 0.5 * (one + other);
            }
        }
        Scores { kinds, beat, age }
    }
}

#[cfg(test)]
#[allow(
    clippy::float_cmp,
    clippy::indexing_slicing,
    reason = "the same sums in the same order; tests stop at the first surprise"
)]
mod tests {
    use super::super::ear::SIZE;
    use super::super::view::VIEWS;
    use super::*;

    /// Each net has its own say of every stroke; onsets, beats and ages are the first one's.
    #[test]
    fn strokes_are_what_both_nets_think_in_the_mean() {
        for view in VIEWS {
            let (mut scorer, mut memory, mut mean) =
                (Scorer::new(view), Memory::new(), Mean::new());
            let mut first = Listener::<FIRST_OUTPUTS>::new(view.first);
            let mut second = Listener::<SECOND_OUTPUTS>::new(view.second);
            let mut asked = 0;
            for n in 0..200_u16 {
                let look: Look =
                    std::array::from_fn(|k| libm::sinf(f32::from(n) * (1.0 + k as f32)).max(0.0));
                let scores = scorer.weigh(&look);
                memory.take(&look);
                mean.take(&memory);
                let one = first.weigh(&memory, &mean);
                let other = second.weigh(&memory, &mean);
                assert_eq!([scores.kinds[0], scores.beat, scores.age], [one[0], one[4], one[5]]);
                for kind in 1..KINDS {
                    if scores.kinds[kind] != NEVER {
                        assert_eq!(scores.kinds[kind], 0.5 * (one[kind] + other[kind - 1]));
                        assert_ne!(one[kind], other[kind - 1], "the nets are not the same");
                        asked += 1;
                    }
                }
            }
            assert!(asked > 30, "the second net was hardly asked: {asked}");
        }
    }

    #[test]
    fn the_second_net_sleeps_in_silence() {
        for view in VIEWS {
            let mut scorer = Scorer::new(view);
            let mut last = scorer.weigh(&[0.0; SIZE]);
            for _ in 0..200 {
                last = scorer.weigh(&[0.0; SIZE]);
            }
            assert_eq!(last.kinds[1..], [NEVER; KINDS - 1]);
        }
    }
}
