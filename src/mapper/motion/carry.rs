//! `carry`: one spot, handed on from coil to coil along a way.
//!
//! Two things move: where the spot stands, and how strong it is. Of one band, its value says both:
//! nothing stands at the beginning of the way, full at its end (around a ring: one whole turn). Of
//! several, their balance says where, each band pulling towards its own place on the way with the
//! square of its value (else all spots would stay about the middle), and the strongest says how
//! strong. The spot goes to where it should stand no faster than the fluid can
//! follow, around a ring the shorter way; silence leaves it where it was heard last.
//!
//! A coil's share falls as a raised cosine of its distance to the spot, half at half the spot's
//! width. Coils stand for the stretch of the way that is nearest to them, and shares are scaled so
//! that the stretches, weighed with their shares, cover the same length wherever the spot is: as
//! one coil lets go, the next has taken over. No spot is narrower than the widest gap (it would be
//! lost in there) nor wider than an open way, or half a ring. Beyond an open end it is cut off.

use super::NO_EXTENT_MM;
use super::group::Way;
use crate::mapper::error::{RouteFault, within};
use crate::units::{Millimetres, Rate};

/// Width of a spot at half its height, mm.
const SPOT_LIMITS_MM: (f64, f64) = (0.0, 100_000.0);

/// How fast a spot may go, mm/s.
const FASTEST_LIMITS_MM_PER_S: (f64, f64) = (1.0, 1e6);

/// Points of the way at which the scale is worked out: between two stations, and in all.
const LOOKS_A_GAP: usize = 32;
const MOST_LOOKS: usize = 8192;

#[derive(Debug)]
pub(in crate::mapper) struct Carry {
    way: Stations,
    /// Coil and the station it belongs to.
    coils: Box<[(usize, usize)]>,
    /// Share of each station in this frame.
    shares: Box<[f64]>,
    /// Farthest that the spot goes in a frame, mm.
    step_mm: f64,
    at_mm: f64,
}

/// Where coils stand on the way; coils at one position form one station.
#[derive(Debug)]
struct Stations {
    /// Rising from 0 to the length.
    list: Box<[Station]>,
    length_mm: f64,
    closed: bool,
    spot_mm: f64,
    /// The least that the spot ever covers, mm: what all its places are scaled down to.
    covers_mm: f64,
}

#[derive(Debug, Clone, Copy)]
struct Station {
    at_mm: f64,
    /// Length of the way that is nearest to it. At an open end, as if the way went on.
    stretch_mm: f64,
}

impl Carry {
    pub(super) fn new(
        way: &Way,
        spot_mm: Millimetres,
        fastest_mm_per_s: f64,
        rate: Rate,
    ) -> Result<Self, RouteFault> {
        within("spot_mm", spot_mm.0, SPOT_LIMITS_MM, " mm")?;
        within("fastest_mm_per_s", fastest_mm_per_s, FASTEST_LIMITS_MM_PER_S, " mm/s")?;
        let mut order = way.coils.clone();
        order.sort_by(|a, b| a.1.total_cmp(&b.1));
        let mut at_mm: Vec<f64> = Vec::new();
        let mut coils = Vec::with_capacity(order.len());
        for (coil, mm) in order {
            if at_mm.last().is_none_or(|last| mm - last > NO_EXTENT_MM) {
                at_mm.push(mm);
            }
            coils.push((coil, at_mm.len() - 1));
        }
        let way = Stations::new(&at_mm, way, spot_mm.0);
        // Between two coils a narrow spot's middle goes faster than what drives it.
        let step_mm = fastest_mm_per_s * rate.period().0 / way.steepest();
        let shares = vec![0.0; at_mm.len()].into();
        Ok(Self { way, coils: coils.into(), shares, step_mm, at_mm: 0.0 })
    }

    pub(super) fn follow(&mut self, values: &[f64]) {
        let strength = values.iter().copied().fold(0.0, f64::max);
        if let Some(place) = self.way.place(values) {
            self.at_mm = self.way.towards(self.at_mm, place, self.step_mm);
        }
        if strength > 0.0 {
            let scale = strength * self.way.scale(self.at_mm);
            for (share, station) in self.shares.iter_mut().zip(&self.way.list) {
                let near = self.way.nearness(self.way.apart(self.at_mm, station.at_mm));
                *share = (scale * near).min(strength);
            }
        } else {
            self.shares.fill(0.0);
        }
    }

    pub(super) fn ask(&self, put: &mut impl FnMut(usize, f64)) {
        for &(coil, station) in &self.coils {
            put(coil, self.shares.get(station).copied().unwrap_or(0.0));
        }
    }
}

impl Stations {
    fn new(at_mm: &[f64], way: &Way, wanted_mm: f64) -> Self {
        let (length_mm, closed) = (way.length_mm, way.closed);
        let (first, last) =
            (at_mm.first().copied().unwrap_or(0.0), at_mm.last().copied().unwrap_or(0.0));
        let round_mm = first + length_mm - last;
        let inner: Vec<f64> = at_mm.iter().zip(at_mm.iter().skip(1)).map(|(a, b)| b - a).collect();
        // The gap before each station, and the one after it.
        let ends = match (closed, inner.first(), inner.last()) {
            (true, ..) => (round_mm, round_mm),
            (false, Some(&first), Some(&last)) => (first, last),
            (false, ..) => (1.0, 1.0),
        };
        let before = std::iter::once(ends.0).chain(inner.iter().copied());
        let after = inner.iter().copied().chain(std::iter::once(ends.1));
        let list: Box<[Station]> = (at_mm.iter().zip(before).zip(after))
            .map(|((&at_mm, before), after)| Station { at_mm, stretch_mm: (before + after) / 2.0 })
            .collect();
        let widest_gap = inner.iter().copied().chain([ends.0]).fold(0.0, f64::max);
        let widest_spot = if closed { length_mm / 2.0 } else { length_mm };
        let spot_mm = wanted_mm.min(widest_spot).max(widest_gap).max(NO_EXTENT_MM);
        let mut way = Self { list, length_mm, closed, spot_mm, covers_mm: 0.0 };
        way.covers_mm = way.looks().map(|at| way.covered(at)).fold(f64::INFINITY, f64::min);
        way
    }

    /// Raised cosine: 1 at the spot, a half at half its width, 0 from its width on.
    fn nearness(&self, apart_mm: f64) -> f64 {
        if apart_mm >= self.spot_mm {
            return 0.0;
        }
        (1.0 + libm::cos(std::f64::consts::PI * apart_mm / self.spot_mm)) / 2.0
    }

    fn apart(&self, a_mm: f64, b_mm: f64) -> f64 {
        let apart = (a_mm - b_mm).abs();
        if self.closed { apart.min(self.length_mm - apart) } else { apart }
    }

    /// Length of the way that is covered by a spot at `at_mm`, unscaled. Past an open end the way
    /// is reckoned on as its mirror image, so that the spot is not made stronger there.
    fn covered(&self, at_mm: f64) -> f64 {
        let mirrored = |station: &Station| {
            let (before, after) = (station.at_mm, self.length_mm - station.at_mm);
            let (left, right) = (at_mm + before, self.length_mm - at_mm + after);
            let part = |own: f64, apart| if own > 0.0 { self.nearness(apart) } else { 0.0 };
            part(before, left) + part(after, right)
        };
        let cover = |station: &Station| {
            let near = self.nearness(self.apart(at_mm, station.at_mm));
            let beyond = if self.closed { 0.0 } else { mirrored(station) };
            station.stretch_mm * (near + beyond)
        };
        self.list.iter().map(cover).sum()
    }

    /// The factor on shares for a spot at `at_mm`, at most 1.
    fn scale(&self, at_mm: f64) -> f64 {
        (self.covers_mm / self.covered(at_mm)).min(1.0)
    }

    /// Where the values of the bands want the spot; nowhere in silence.
    fn place(&self, values: &[f64]) -> Option<f64> {
        let total: f64 = values.iter().map(|value| value * value).sum();
        if total <= 0.0 {
            return None;
        }
        if let [value] = values {
            return Some(self.within_way(value * self.length_mm));
        }
        let pull = |(band, value): (u32, &f64)| f64::from(band) * value * value;
        let pull: f64 = (0..).zip(values).map(pull).sum();
        // On an open way the bands stand from end to end; around a ring the last leaves room
        // before the first.
        let steps = if self.closed { values.len() } else { values.len() - 1 };
        Some(self.within_way(pull / total / steps as f64 * self.length_mm))
    }

    /// A step of at most `step_mm` from `at_mm` to `to_mm`, around a ring the shorter way.
    fn towards(&self, at_mm: f64, to_mm: f64, step_mm: f64) -> f64 {
        let mut way = to_mm - at_mm;
        if self.closed && way.abs() > self.length_mm / 2.0 {
            way -= self.length_mm.copysign(way);
        }
        if way.abs() <= step_mm { to_mm } else { self.within_way(at_mm + step_mm.copysign(way)) }
    }

    fn within_way(&self, mm: f64) -> f64 {
        match self.closed {
            true if mm >= self.length_mm => mm - self.length_mm,
            true if mm < 0.0 => mm + self.length_mm,
            true => mm,
            false => mm.clamp(0.0, self.length_mm),
        }
    }

    /// Points all along the way, closest where stations stand close.
    fn looks(&self) -> impl Iterator<Item = f64> + '_ {
        let a_gap = (MOST_LOOKS / self.list.len().max(1)).clamp(2, LOOKS_A_GAP);
        let beginning = self.list.first().map_or(0.0, |station| station.at_mm);
        let end = if self.closed { beginning + self.length_mm } else { self.length_mm };
        let next = self.list.iter().skip(1).map(|station| station.at_mm).chain([end]);
        let gap = move |(station, next): (&Station, f64)| {
            let (at, gap) = (station.at_mm, next - station.at_mm);
            (0..a_gap).map(move |look| self.within_way(at + gap * look as f64 / a_gap as f64))
        };
        self.list.iter().zip(next).flat_map(gap)
    }

    /// The middle of what coils do, less `at_mm`: weighed with their shares and stretches.
    fn off_middle(&self, at_mm: f64) -> f64 {
        let (mut pull, mut weight) = (0.0, 0.0);
        for station in &self.list {
            let mut off = station.at_mm - at_mm;
            if self.closed && off.abs() > self.length_mm / 2.0 {
                off -= self.length_mm.copysign(off);
            }
            let part = station.stretch_mm * self.nearness(off.abs());
            pull += part * off;
            weight += part;
        }
        if weight > 0.0 { pull / weight } else { 0.0 }
    }

    /// How many times faster than the spot's place its middle can go, at least 1.
    fn steepest(&self) -> f64 {
        let nudge = self.spot_mm * 1e-4;
        let speed = |at: f64| 1.0 + (self.off_middle(at + nudge) - self.off_middle(at)) / nudge;
        self.looks().map(speed).fold(1.0, f64::max)
    }
}

#[cfg(test)]
#[path = "carry_tests.rs"]
mod tests;
