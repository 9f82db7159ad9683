//! Which looks are weighed together: those just past, or also some that came after.

use super::ear::{GROUPS, SIZE};
use super::{KINDS, LOOKS_PER_S};

/// How much of the sound around an event is weighed, and with which weights.
#[derive(Debug, Clone, Copy)]
pub(super) struct View {
    /// Looks back from the newest whose rises are weighed.
    rises: &'static [usize],
    /// Looks back whose levels are weighed.
    levels: &'static [usize],
    /// See [`super::net::Net::new`].
    pub(super) weights: &'static str,
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
    rises: &[0, 1, 2, 3, 5, 8],
    levels: &[0, 8],
    weights: include_str!("live.txt"),
    thresholds: [0.25, 0.75, -0.25, -0.25],
    beat_late_s: 0.015,
    after_s: 0.0,
    age_ms: (2.0, 24.0),
};

/// With some 40 ms of what comes after.
pub(super) const AHEAD: View = View {
    rises: &[0, 3, 6, 8, 9, 10, 11, 13, 16],
    levels: &[0, 7, 16],
    weights: include_str!("ahead.txt"),
    thresholds: [0.0, 0.25, -0.25, -0.25],
    beat_late_s: 0.041,
    after_s: 0.05,
    age_ms: (28.0, 56.0),
};

#[cfg(test)]
pub(super) const VIEWS: [View; 2] = [LIVE, AHEAD];

/// Time constant of the mean rise, s.
const MEAN_S: f32 = 0.6;
/// Looks that do not count in it yet: an event is not to be held against itself.
const MEAN_LAG: usize = 6;
/// Looks kept, a power of two above all offsets.
const KEPT: usize = 32;

impl View {
    pub(super) fn inputs(&self) -> usize {
        2 * GROUPS * (self.rises.len() + 1) + GROUPS * self.levels.len()
    }
}

/// The last looks, and the mean rise of the last half second: how restless the sound is anyway.
pub(super) struct Memory {
    view: View,
    looks: Vec<[f32; SIZE]>,
    newest: usize,
    heard: usize,
    mean: [f32; 2 * GROUPS],
    keep: f32,
    inputs: Vec<f32>,
}

impl Memory {
    pub(super) fn new(view: View) -> Self {
        Self {
            view,
            looks: vec![[0.0; SIZE]; KEPT],
            newest: 0,
            heard: 0,
            mean: [0.0; 2 * GROUPS],
            keep: libm::expf(-1.0 / (MEAN_S * f32::from(LOOKS_PER_S))),
            inputs: Vec::with_capacity(view.inputs()),
        }
    }

    /// Takes a look in and says what is to be weighed: rises of all wanted looks, their levels,
    /// the mean rise.
    pub(super) fn take(&mut self, look: &[f32; SIZE]) -> &[f32] {
        self.newest = (self.newest + 1) % KEPT;
        if let Some(place) = self.looks.get_mut(self.newest) {
            *place = *look;
        }
        self.heard += 1;
        if self.heard > MEAN_LAG {
            let old = look_at(&self.looks, self.newest, MEAN_LAG);
            for (mean, rise) in self.mean.iter_mut().zip(rises(old)) {
                *mean = rise + (*mean - rise) * self.keep;
            }
        }
        self.inputs.clear();
        for &back in self.view.rises {
            self.inputs.extend(rises(look_at(&self.looks, self.newest, back)));
        }
        for &back in self.view.levels {
            let look = look_at(&self.looks, self.newest, back);
            self.inputs.extend(look.iter().skip(2).step_by(3));
        }
        self.inputs.extend_from_slice(&self.mean);
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
