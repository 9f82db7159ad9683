//! Which looks are weighed together: those just past, or also some that came after.

use super::ear::{FIRST_GROUPS, GROUPS, SIZE};
use super::relief::PER_GROUP;
use super::{KINDS, LOOKS_PER_S};

/// Numbers that the first net gives: [`KINDS`] scores, how likely a beat is, the age of the newest
/// event.
pub(super) const FIRST_OUTPUTS: usize = KINDS + 2;
/// Those of the second: the scores of a kick, a snare, a hat.
pub(super) const SECOND_OUTPUTS: usize = KINDS - 1;

/// Which looks are weighed, and how. Offsets count back from the newest look.
#[derive(Debug, Clone, Copy)]
pub(super) struct Part {
    /// Groups of bands that are heard, the first so many.
    groups: usize,
    /// Looks whose rises are weighed.
    rises: &'static [usize],
    /// Looks whose levels are weighed.
    levels: &'static [usize],
    /// Looks whose depths below the top are weighed: how far a stroke falls before the next.
    depths: &'static [usize],
    /// Looks whose crests are weighed: whether one partial rings or all of a band hisses.
    crests: &'static [usize],
    /// Whether the means of all numbers are weighed, not only those of the rises.
    all_means: bool,
    /// See [`super::net::Net::new`].
    pub(super) weights: &'static str,
}

/// How much of the sound around an event is weighed.
#[derive(Debug, Clone, Copy)]
pub(super) struct View {
    /// For everything.
    pub(super) first: Part,
    /// For what kind of stroke it was, once more.
    pub(super) second: Part,
    /// Score from which each kind counts as an event: in the middle of the stretch over which the
    /// figures hardly change.
    pub(super) thresholds: [f32; KINDS],
    /// How much later than a beat its sign comes, s.
    pub(super) beat_late_s: f64,
    /// Sound needed after an event, s.
    pub(super) after_s: f64,
    /// An event is no younger and no older than this when it is found, in ms.
    pub(super) age_ms: (f32, f32),
}

/// What a live run can know.
pub(super) const LIVE: View = View {
    first: Part {
        groups: FIRST_GROUPS,
        rises: &[0, 1, 2, 3, 5, 8],
        levels: &[0, 8],
        weights: include_str!("live.txt"),
        ..RISES_ONLY
    },
    second: Part {
        rises: &[0, 1, 2, 3, 4, 5, 6, 8],
        levels: &[0, 2, 4, 8, 16, 28],
        depths: &[0, 2, 5, 8, 16, 28],
        crests: &[0, 3, 8, 28],
        weights: include_str!("live_strokes.txt"),
        ..ALL
    },
    thresholds: [0.25, 0.5, -0.25, -0.75],
    beat_late_s: 0.015,
    after_s: 0.0,
    age_ms: (2.0, 24.0),
};

/// With some 40 ms of what comes after.
pub(super) const AHEAD: View = View {
    first: Part {
        groups: FIRST_GROUPS,
        rises: &[0, 3, 6, 8, 9, 10, 11, 13, 16],
        levels: &[0, 7, 16],
        weights: include_str!("ahead.txt"),
        ..RISES_ONLY
    },
    second: Part {
        rises: &[0, 2, 3, 4, 6, 8, 9, 10, 11, 12, 13, 16],
        levels: &[0, 3, 7, 10, 13, 16, 26],
        depths: &[0, 4, 8, 11, 16, 26],
        crests: &[0, 4, 8, 11, 26],
        weights: include_str!("ahead_strokes.txt"),
        ..ALL
    },
    thresholds: [0.0, 0.5, -0.25, -0.5],
    beat_late_s: 0.041,
    after_s: 0.05,
    age_ms: (28.0, 56.0),
};

/// What parts begin with: no looks yet, means of rises only or of all numbers.
const RISES_ONLY: Part = Part {
    groups: GROUPS,
    rises: &[],
    levels: &[],
    depths: &[],
    crests: &[],
    all_means: false,
    weights: "",
};
const ALL: Part = Part { all_means: true, ..RISES_ONLY };

#[cfg(test)]
pub(super) const VIEWS: [View; 2] = [LIVE, AHEAD];

/// Time constant of the means, s.
const MEAN_S: f32 = 0.6;
/// Looks that do not count in them yet: an event is not to be held against itself.
const MEAN_LAG: usize = 6;
/// Looks kept, a power of two above all offsets.
const KEPT: usize = 32;

impl Part {
    pub(super) fn inputs(&self) -> usize {
        let whole = self.levels.len() + self.depths.len() + self.crests.len();
        let means = if self.all_means { PER_GROUP } else { 2 };
        self.groups * (2 * self.rises.len() + whole + means)
    }

    /// What is to be weighed: rises, levels, depths and crests of the wanted looks, then the means.
    pub(super) fn gather(&self, memory: &Memory, mean: &Mean, out: &mut Vec<f32>) {
        out.clear();
        for &back in self.rises {
            out.extend(self.rises_of(memory.look(back)));
        }
        for (number, backs) in [(2, self.levels), (3, self.depths), (4, self.crests)] {
            for &back in backs {
                out.extend(self.number_of(number, memory.look(back)));
            }
        }
        out.extend(self.rises_of(&mean.mean));
        for number in 2..if self.all_means { PER_GROUP } else { 2 } {
            out.extend(self.number_of(number, &mean.mean));
        }
    }

    /// Mean and highest rise of each group.
    fn rises_of<'a>(&self, look: &'a [f32]) -> impl Iterator<Item = f32> + use<'a> {
        let groups = look.chunks_exact(PER_GROUP).take(self.groups);
        groups.flat_map(|group| group.iter().take(2).copied())
    }

    /// One number of each group.
    fn number_of<'a>(&self, number: usize, look: &'a [f32]) -> impl Iterator<Item = f32> + use<'a> {
        look.iter().skip(number).step_by(PER_GROUP).take(self.groups).copied()
    }
}

/// The last looks.
pub(super) struct Memory {
    looks: Vec<[f32; SIZE]>,
    newest: usize,
}

impl Memory {
    pub(super) fn new() -> Self {
        Self { looks: vec![[0.0; SIZE]; KEPT], newest: 0 }
    }

    /// Takes a look in.
    pub(super) fn take(&mut self, look: &[f32; SIZE]) {
        self.newest = (self.newest + 1) % KEPT;
        if let Some(place) = self.looks.get_mut(self.newest) {
            *place = *look;
        }
    }

    fn look(&self, back: usize) -> &[f32] {
        let look = self.looks.get((self.newest + KEPT - back) % KEPT);
        look.map_or(&[], |look| look.as_slice())
    }
}

/// The mean of the last half second: how restless the sound is anyway.
pub(super) struct Mean {
    mean: [f32; SIZE],
    keep: f32,
}

impl Mean {
    pub(super) fn new() -> Self {
        let keep = libm::expf(-1.0 / (MEAN_S * f32::from(LOOKS_PER_S)));
        Self { mean: [0.0; SIZE], keep }
    }

    /// To be told after every look that the memory took; before the first there was silence.
    pub(super) fn take(&mut self, memory: &Memory) {
        for (mean, now) in self.mean.iter_mut().zip(memory.look(MEAN_LAG)) {
            *mean = now + (*mean - now) * self.keep;
        }
    }
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "numbers are copied, not reckoned")]
mod tests {
    use super::*;

    /// Every number tells its look, its group and which of the group's it is.
    #[test]
    fn inputs_stand_in_the_order_that_weights_were_fitted_in() {
        let part =
            Part { groups: 2, rises: &[0, 1], levels: &[1], depths: &[0], crests: &[2], ..ALL };
        let mut memory = Memory::new();
        for look in [300.0_f32, 200.0, 100.0] {
            memory
                .take(&std::array::from_fn(|n| look + (n / PER_GROUP * 10 + n % PER_GROUP) as f32));
        }
        let mean = Mean { mean: std::array::from_fn(|n| n as f32), keep: 0.0 };
        let mut inputs = Vec::new();
        part.gather(&memory, &mean, &mut inputs);
        let expected = [
            [100.0, 101.0, 110.0, 111.0].as_slice(),
            &[200.0, 201.0, 210.0, 211.0],
            &[202.0, 212.0],
            &[103.0, 113.0],
            &[304.0, 314.0],
            &[0.0, 1.0, 5.0, 6.0],
            &[2.0, 7.0, 3.0, 8.0, 4.0, 9.0],
        ]
        .concat();
        assert_eq!(inputs, expected);
        assert_eq!(inputs.len(), part.inputs());
    }
}
