//! Which looks are weighed together: those just past, or also some that came after.

use super::ear::{GROUPS, SIZE};
use super::{KINDS, LOOKS_PER_S};

/// Numbers that the first net gives: [`KINDS`] scores, how likely a beat is, the age of the newest
/// event.
pub(super) const FIRST_OUTPUTS: usize = KINDS + 2;
/// Those of the second: the scores of a kick, a snare, a hat.
pub(super) const SECOND_OUTPUTS: usize = KINDS - 1;

/// Which looks are weighed, and how.
#[derive(Debug, Clone, Copy)]
pub(super) struct Part {
    /// Looks back from the newest whose rises are weighed.
    rises: &'static [usize],
    /// Looks back whose levels are weighed.
    levels: &'static [usize],
    /// Whether the mean level is weighed, not only the mean rise: what rings on, as a ride does.
    mean_levels: bool,
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
        rises: &[0, 1, 2, 3, 5, 8],
        levels: &[0, 8],
        mean_levels: false,
        weights: include_str!("live.txt"),
    },
    second: Part {
        rises: &[0, 1, 2, 3, 4, 5, 6, 8],
        levels: &[0, 2, 4, 8, 16, 28],
        mean_levels: true,
        weights: include_str!("live_strokes.txt"),
    },
    thresholds: [0.25, 0.5, -0.25, -0.75],
    beat_late_s: 0.015,
    after_s: 0.0,
    age_ms: (2.0, 24.0),
};

/// With some 40 ms of what comes after.
pub(super) const AHEAD: View = View {
    first: Part {
        rises: &[0, 3, 6, 8, 9, 10, 11, 13, 16],
        levels: &[0, 7, 16],
        mean_levels: false,
        weights: include_str!("ahead.txt"),
    },
    second: Part {
        rises: &[0, 2, 3, 4, 6, 8, 9, 10, 11, 12, 13, 16],
        levels: &[0, 3, 7, 10, 13, 16, 26],
        mean_levels: true,
        weights: include_str!("ahead_strokes.txt"),
    },
    thresholds: [0.0, 0.5, -0.25, -0.5],
    beat_late_s: 0.041,
    after_s: 0.05,
    age_ms: (28.0, 56.0),
};

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
        let levels = self.levels.len() + usize::from(self.mean_levels);
        2 * GROUPS * (self.rises.len() + 1) + GROUPS * levels
    }
}

/// The last looks, and the mean of the last half second: how restless the sound is anyway.
pub(super) struct Memory {
    looks: Vec<[f32; SIZE]>,
    newest: usize,
    heard: usize,
    mean: [f32; SIZE],
    keep: f32,
    inputs: Vec<f32>,
}

impl Memory {
    pub(super) fn new(view: View) -> Self {
        let most = view.first.inputs().max(view.second.inputs());
        Self {
            looks: vec![[0.0; SIZE]; KEPT],
            newest: 0,
            heard: 0,
            mean: [0.0; SIZE],
            keep: libm::expf(-1.0 / (MEAN_S * f32::from(LOOKS_PER_S))),
            inputs: Vec::with_capacity(most),
        }
    }

    /// Takes a look in.
    pub(super) fn take(&mut self, look: &[f32; SIZE]) {
        self.newest = (self.newest + 1) % KEPT;
        if let Some(place) = self.looks.get_mut(self.newest) {
            *place = *look;
        }
        self.heard += 1;
        if self.heard > MEAN_LAG {
            let old = look_at(&self.looks, self.newest, MEAN_LAG);
            for (mean, now) in self.mean.iter_mut().zip(old) {
                *mean = now + (*mean - now) * self.keep;
            }
        }
    }

    /// What is to be weighed: rises of all wanted looks, their levels, the mean rise and level.
    pub(super) fn inputs(&mut self, part: &Part) -> &[f32] {
        self.inputs.clear();
        for &back in part.rises {
            self.inputs.extend(rises(look_at(&self.looks, self.newest, back)));
        }
        for &back in part.levels {
            self.inputs.extend(levels(look_at(&self.looks, self.newest, back)));
        }
        self.inputs.extend(rises(&self.mean));
        if part.mean_levels {
            self.inputs.extend(levels(&self.mean));
        }
        &self.inputs
    }
}

fn look_at(looks: &[[f32; SIZE]], newest: usize, back: usize) -> &[f32] {
    looks.get((newest + KEPT - back) % KEPT).map_or(&[], |look| look.as_slice())
}

/// Mean and highest rise of each group.
fn rises(look: &[f32]) -> impl Iterator<Item = f32> + '_ {
    look.chunks_exact(3).flat_map(|group| group.iter().take(2).copied())
}

/// Mean level of each group.
fn levels(look: &[f32]) -> impl Iterator<Item = f32> + '_ {
    look.iter().skip(2).step_by(3).copied()
}
