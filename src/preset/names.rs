//! Names for people: what the numbers of the stages are called.

use super::display::Display;
use super::finding::Finding;
use super::words::rounded;
use crate::analysis::{BandRequest, Weighting};

/// Names of everything the stages number.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Names {
    /// The display.
    pub display: String,
    /// The mapping.
    pub mapping: String,
    /// Coils in display order.
    pub coils: Vec<CoilName>,
    /// Groups in the order of their first coil.
    pub groups: Vec<String>,
    /// Rails as the budget numbers them.
    pub rails: Vec<String>,
    /// Routes as the mapper numbers them.
    pub routes: Vec<String>,
    /// Bands as the analysis numbers them: `40..120 Hz all`.
    pub bands: Vec<String>,
    /// What the maker should know about this pair of files, although it can be used.
    pub warnings: Vec<Finding>,
}

/// What a coil is called and where its wire ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CoilName {
    /// Index into [`Names::groups`].
    pub group: usize,
    /// `ring 1`: group and number within it, from 1.
    pub label: String,
    /// Board, from 0.
    pub board: u16,
    /// Channel on the board, from 0.
    pub channel: u16,
}

/// What each coil is called, in display order: its group and its number in it.
pub fn coil_labels(display: &Display) -> Vec<String> {
    coils(display).1.into_iter().map(|coil| coil.label).collect()
}

/// Groups in order of appearance, and every coil's name.
pub(super) fn coils(display: &Display) -> (Vec<String>, Vec<CoilName>) {
    let mut groups: Vec<(String, usize)> = Vec::new();
    let mut coils = Vec::with_capacity(display.coil_count());
    for block in &display.blocks {
        let name = &block.group.value;
        let group = groups.iter().position(|(known, _)| known == name).unwrap_or_else(|| {
            groups.push((name.clone(), 0));
            groups.len() - 1
        });
        let Some((_, count)) = groups.get_mut(group) else { continue };
        for &channel in &block.channels.value {
            *count += 1;
            let label = format!("{name} {count}");
            coils.push(CoilName { group, label, board: block.board, channel });
        }
    }
    (groups.into_iter().map(|(name, _)| name).collect(), coils)
}

/// `40..120 Hz all`, or `40..120 Hz all, A-weighted`.
pub(super) fn band(band: &BandRequest) -> String {
    let (low, high) = (rounded(band.low_hz.0), rounded(band.high_hz.0));
    let weighting = match band.weighting {
        Weighting::None => "",
        Weighting::A => ", A-weighted",
        Weighting::Frequency => ", weighted by frequency",
    };
    format!("{low}..{high} Hz {}{weighting}", band.channel)
}
