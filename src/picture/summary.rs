//! The song in a sentence or two.

use std::fmt;

use super::axes::{clock, short};
use super::column::MeanCell;
use super::timeline::{Ending, Timeline};
use crate::frame::{Gained, HeldBack, NodeMeter};

/// Shares smaller than this are not worth a word.
const WORTH_SAYING: f64 = 0.0005;
/// Meters carry single precision: this much past a bound is still on it.
const ROUNDING_K: f32 = 0.05;

/// What was asked and what became of it, and what came closest to its bound.
pub fn sentence(song: &Timeline) -> String {
    let asked = song.asked();
    let sum = |cell: &MeanCell| cell.sum.max(0.0);
    let (wished, granted) = (sum(&asked.wished), sum(&asked.granted));
    let Some(mean) = asked.wished.mean() else {
        return "The file holds no meter readings.".to_owned();
    };
    if wished <= 0.0 {
        return "Nothing was asked of any coil.".to_owned();
    }
    let heat = if song.gained.is_some() { "plan and heat took" } else { "heat took" };
    let cuts: Vec<String> =
        [(heat, &asked.heat), ("supply", &asked.rail), ("driver", &asked.driver)]
            .into_iter()
            .map(|(name, cell)| (name, sum(cell) / wished))
            .filter(|(_, share)| *share >= WORTH_SAYING)
            .map(|(name, share)| format!("{name} {}", percent(share)))
            .collect();
    let coils = if short(mean) == "1" { "coil" } else { "coils" };
    let mut words = format!("Asked {} {coils} on average, ", short(mean));
    if cuts.is_empty() {
        words += "all of it granted.";
    } else {
        let cuts = cuts.join(", ");
        let cuts = if cuts.starts_with(heat) { cuts } else { format!("cut by {cuts}") };
        words += &format!("{} granted; {cuts}.", percent(granted / wished));
    }
    words
        + &closest(song)
        + &song.gained.map_or(String::new(), |gained| planned(&gained))
        + &song.held_back.as_ref().map_or(String::new(), turned_down)
}

/// The coil that the plan turned down most, and why.
fn turned_down(held: &HeldBack) -> String {
    let HeldBack { coil, gain, rail, at_s } = held;
    let by = rail.as_ref().map_or("heat".into(), |rail| format!("supply {rail}"));
    let at = at_s.map_or(" in another song of the run".into(), |s| format!(" at {}", clock(s)));
    format!(" Turned down most: {coil}, to {}, by {by}{at}.", percent(*gain))
}

/// What a plan for the whole song gained.
fn planned(gained: &Gained) -> String {
    let [granted, clamped] = gained.energy_j;
    let [likeness, _] = gained.likeness;
    if clamped > 0.0 {
        let times = granted / clamped;
        format!(" Planned: {times:.1} times the energy of a fixed clamp, likeness {likeness:.2}.")
    } else {
        String::new()
    }
}

fn closest(song: &Timeline) -> String {
    nearest(song).map_or(String::new(), |nearest| format!(" Nearest its bound: {nearest}."))
}

/// The winding or backing that came closest to its bound.
struct Nearest {
    what: &'static str,
    node: NodeMeter,
    time_s: f64,
}

impl fmt::Display for Nearest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { what, node, time_s } = self;
        let NodeMeter { coil, now_c, bound_c, .. } = node;
        write!(
            f,
            "{what} of coil number {coil} (from 0), {now_c:.1} of {bound_c:.1} °C at {}",
            clock(*time_s)
        )
    }
}

fn nearest(song: &Timeline) -> Option<Nearest> {
    let left = |node: &NodeMeter| node.bound_c - node.now_c;
    let winding = song.closest_winding().map(|found| ("winding", found));
    let backing = song.closest_backing().map(|found| ("backing", found));
    let (what, (column, node)) = [winding, backing]
        .into_iter()
        .flatten()
        .min_by(|(_, (_, a)), (_, (_, b))| left(a).total_cmp(&left(b)))?;
    let frame = column as u64 * song.frames_per_column();
    Some(Nearest { what, node, time_s: song.about().rate.time_of(frame).0 })
}

/// What a reader must know before anything else.
pub fn warnings(song: &Timeline) -> Vec<String> {
    let mut warnings = Vec::new();
    if song.ending == Ending::CutShort {
        warnings.push(format!("File ends early at {}.", clock(song.length().0)));
    }
    if let Some(nearest) = nearest(song).filter(|n| n.node.now_c > n.node.bound_c + ROUNDING_K) {
        warnings.push(format!("Too warm: {} is past its bound.", nearest.what));
    }
    warnings
}

fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    if percent >= 9.95 { format!("{percent:.0} %") } else { format!("{percent:.1} %") }
}
