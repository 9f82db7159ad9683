//! All looks together: from samples to what stands out, 250 times a second.

use super::LOOKS_PER_S;
use super::glance::{Design, Glance};
use super::relief::{PER_GROUP, Relief, Row};
use crate::analysis::Arith;
use crate::analysis::inlet::Layout;
use crate::analysis::ladder::{Ladder, Level, Rates};
use crate::analysis::spectrum::Planner;
use crate::audio::{SampleBlock, SoundFormat};

/// Looks, and how their bands are read: edges of the groups in Hz, lag in looks, neighbours.
type Plan = (Design, &'static [f64], usize, bool);

const PLANS: [Plan; 6] = [
    // Bass notes apart from each other.
    (
        Design {
            level: Level::Low,
            rise_s: 0.048,
            fall_s: 0.010,
            low_hz: 30.0,
            high_hz: 500.0,
            share: 0.12,
            least_hz: 22.0,
        },
        &[74.0, 118.0, 162.0, 206.0, 324.0],
        6,
        true,
    ),
    // The stroke of a kick.
    (
        Design {
            level: Level::Low,
            rise_s: 0.018,
            fall_s: 0.006,
            low_hz: 25.0,
            high_hz: 300.0,
            share: 0.5,
            least_hz: 50.0,
        },
        &[75.0, 125.0, 187.0],
        4,
        false,
    ),
    // Notes apart from each other.
    (
        Design {
            level: Level::Middle,
            rise_s: 0.024,
            fall_s: 0.008,
            low_hz: 400.0,
            high_hz: 2250.0,
            share: 0.06,
            least_hz: 43.0,
        },
        &[560.0, 780.0, 1100.0, 1550.0],
        4,
        true,
    ),
    // Body of a stroke.
    (
        Design {
            level: Level::Middle,
            rise_s: 0.009,
            fall_s: 0.0026,
            low_hz: 200.0,
            high_hz: 2250.0,
            share: 0.25,
            least_hz: 130.0,
        },
        &[330.0, 590.0, 920.0, 1440.0],
        2,
        false,
    ),
    // Its click and hiss.
    (
        Design {
            level: Level::Top,
            rise_s: 0.004,
            fall_s: 0.0018,
            low_hz: 2250.0,
            high_hz: 16_000.0,
            share: 0.18,
            least_hz: 300.0,
        },
        &[3100.0, 4300.0, 6000.0, 8400.0, 11_700.0],
        2,
        false,
    ),
    // What rings in it.
    (
        Design {
            level: Level::Top,
            rise_s: 0.016,
            fall_s: 0.007,
            low_hz: 2250.0,
            high_hz: 10_000.0,
            share: 0.045,
            least_hz: 110.0,
        },
        &[3100.0, 4300.0, 6500.0],
        4,
        true,
    ),
];

/// Groups of bands over all looks.
pub(super) const GROUPS: usize = FIRST_GROUPS + 4;

/// Groups of all rows but the last, which only tells what kind of stroke it was.
pub(super) const FIRST_GROUPS: usize = 6 + 4 + 5 + 5 + 6;

/// Numbers that one look gives.
pub(super) const SIZE: usize = PER_GROUP * GROUPS;

/// Time constant with which the top of the whole sound is forgotten, s.
const TOP_S: f32 = 8.0;

/// Samples in, what stands out at each look out.
pub(super) struct Ear {
    rate_hz: u64,
    heard: u64,
    looks: u64,
    ladders: Vec<Ladder>,
    glances: Vec<(Glance, Relief)>,
    powers: Vec<Vec<f32>>,
    top: f32,
    forget: f32,
    out: [f32; SIZE],
}

impl Ear {
    pub(super) fn new(sound: SoundFormat, arith: Arith) -> Self {
        let (rates, layout) = (Rates::new(sound.rate_hz), Layout::new(sound.channels));
        let mut planner = Planner::new(arith);
        let glances: Vec<_> = PLANS
            .iter()
            .map(|plan| {
                let glance = Glance::new(&plan.0, &mut planner, rates, layout);
                let relief = Relief::new(row(plan), glance.bands());
                (glance, relief)
            })
            .collect();
        let longest = |divisions| {
            let here = glances.iter().filter(|(glance, _)| glance.divisions() == divisions);
            here.map(|(glance, _)| glance.window_len()).max().unwrap_or(0)
        };
        let deepest = glances.iter().map(|(glance, _)| glance.divisions()).max().unwrap_or(0);
        let keeps: Vec<usize> = (0..=deepest).map(longest).collect();
        Self {
            rate_hz: u64::from(sound.rate_hz),
            heard: 0,
            looks: 0,
            ladders: (0..layout.pairs()).map(|p| Ladder::new(rates, layout, p, &keeps)).collect(),
            powers: glances.iter().map(|(glance, _)| vec![0.0; glance.bands()]).collect(),
            glances,
            top: 0.0,
            forget: libm::expf(-1.0 / (TOP_S * f32::from(LOOKS_PER_S))),
            out: [0.0; SIZE],
        }
    }

    /// Takes sound in up to the next look. The rest of the block, and what that look gave if it
    /// was reached.
    pub(super) fn hear<'a>(
        &mut self,
        block: SampleBlock<'a>,
    ) -> (SampleBlock<'a>, Option<&[f32; SIZE]>) {
        let edge = ((self.looks + 1) * self.rate_hz).div_ceil(u64::from(LOOKS_PER_S));
        let missing = usize::try_from(edge - self.heard).unwrap_or(usize::MAX);
        let (head, tail) = block.split_at(missing);
        for ladder in &mut self.ladders {
            ladder.push(head);
        }
        self.heard += head.instants() as u64;
        if head.instants() < missing {
            return (tail, None);
        }
        self.looks += 1;
        self.look();
        (tail, Some(&self.out))
    }

    /// Length of the sound so far.
    pub(super) fn heard_s(&self) -> f64 {
        self.heard as f64 / self.rate_hz as f64
    }

    /// Number of instants in some seconds of this sound.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a positive number far below 2^32"
    )]
    pub(super) fn instants_in(&self, seconds: f64) -> usize {
        (seconds * self.rate_hz as f64).ceil() as usize
    }

    fn look(&mut self) {
        let mut whole = 0.0_f32;
        for ((glance, _), powers) in self.glances.iter_mut().zip(&mut self.powers) {
            glance.look(&self.ladders, powers);
            whole = whole.max(powers.iter().sum());
        }
        self.top = whole.max(self.top * self.forget);
        let mut out = self.out.as_mut_slice();
        for ((_, relief), powers) in self.glances.iter_mut().zip(&self.powers) {
            relief.take(powers, self.top);
            let (here, rest) = out.split_at_mut(relief.size().min(out.len()));
            relief.read(here);
            out = rest;
        }
    }
}

/// Of each of the first groups: the number of its row of looks, and its edges in Hz.
pub(in crate::analysis) fn group_bands_hz() -> Vec<(usize, f64, f64)> {
    let mut bands = Vec::with_capacity(FIRST_GROUPS);
    for (row, (design, borders_hz, ..)) in PLANS.iter().take(PLANS.len() - 1).enumerate() {
        let mut low_hz = design.low_hz;
        for &high_hz in borders_hz.iter().chain([&design.high_hz]) {
            bands.push((row, low_hz, high_hz));
            low_hz = high_hz;
        }
    }
    bands
}

fn row(plan: &Plan) -> Row {
    let (design, borders_hz, lag, neighbours) = plan;
    let edges = design.edges_hz();
    let bands = edges.len() - 1;
    let mut groups = vec![0];
    for border in *borders_hz {
        groups.push(edges.iter().position(|edge| edge >= border).unwrap_or(bands));
    }
    groups.push(bands);
    Row { groups, lag: *lag, neighbours: *neighbours }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A group without a band would say nothing but NaN.
    #[test]
    fn every_group_holds_a_band_and_all_are_counted() {
        let rows: Vec<Row> = PLANS.iter().map(row).collect();
        for Row { groups, .. } in &rows {
            assert!(groups.is_sorted_by(|first, end| first < end), "{groups:?}");
        }
        let groups: Vec<usize> = rows.iter().map(|row| row.groups.len() - 1).collect();
        assert_eq!(groups.iter().sum::<usize>(), GROUPS);
        assert_eq!(groups.iter().take(PLANS.len() - 1).sum::<usize>(), FIRST_GROUPS);
        assert_eq!(group_bands_hz().len(), FIRST_GROUPS);
    }
}
