//! A block of coils: one group, type, rail and board, and an arrangement.

use serde::Serialize;

use super::finding::At;
use super::harness::{self, Harness};
use super::layout::{self, Layout};
use super::lifts::{self, Lifts};
use super::limits::{BOARD, CHANNELS, FIRST_CHANNEL, PRIORITY, TRIM};
use super::section::Section;
use super::words::{counted, listing, nearest};

/// Coils that were described together.
#[derive(Debug, Clone, Serialize)]
pub struct Block {
    /// Name of the group they belong to. Several blocks may share a group; numbers within it run
    /// on from block to block.
    pub group: At<String>,
    /// Index of the coil type.
    pub coil_type: usize,
    /// Index of the rail.
    pub rail: usize,
    /// Who is served first when the rail is short: 1 (default) before 2.
    pub priority: u8,
    /// Number of the board they are wired to, from 0; default 0.
    pub board: u16,
    /// Channel of each coil on that board.
    pub channels: At<Vec<u16>>,
    /// Wire, fuse and connector of each of them.
    pub harness: Harness,
    /// Where they stand.
    pub place: At<Layout>,
    /// Factor on the wishes of each coil, 0 to 1; default 1. Coils differ.
    pub trims: Vec<f64>,
    /// At which duties each of them was seen to lift and to drop the fluid, where anyone looked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lifts: Option<Lifts>,
}

/// Channels a board can have: one packet carries them all.
const BOARD_CHANNELS: usize = 512;

/// Names a block may refer to; `None` where a name itself was refused.
pub(super) struct Known {
    pub(super) coil_types: Vec<Option<At<String>>>,
    pub(super) rails: Vec<Option<At<String>>>,
}

pub(super) fn read(mut section: Section<'_>, known: &Known) -> Option<Block> {
    let group = section.text("group", 64, "add the name of the group these coils form");
    if let Some(group) = group.as_ref().filter(|group| group.value == "all") {
        let title = format!("{}: \"all\" is the whole display already", section.path("group"));
        section.pad.refuse(&group.span, title, "choose another name");
    }
    let coil_type = refer(&mut section, "type", "coil type", &known.coil_types);
    let rail = refer(&mut section, "rail", "rail", &known.rails);
    let priority = u8::try_from(section.whole_or(&PRIORITY, 1).value).ok()?;
    let board = u16::try_from(section.whole_or(&BOARD, 0).value).ok()?;
    let place = layout::read(&mut section);
    let channels = read_channels(&mut section, place.as_ref());
    let coils = place.as_ref().map(|place| place.value.places().len());
    let trims = section.number_or_list(&TRIM, coils.unwrap_or(1));
    let lifts = lifts::read(&mut section, coils.unwrap_or(1));
    let harness = harness::read(&mut section);
    section.finish();
    Some(Block {
        group: group?,
        coil_type: coil_type?,
        rail: rail?,
        priority,
        board,
        channels: channels?,
        trims: trims.map_or_else(|| vec![1.0; coils.unwrap_or(1)], |trims| trims.value),
        lifts,
        harness,
        place: place?,
    })
}

/// Index of a name within a list.
fn refer(
    section: &mut Section<'_>,
    key: &'static str,
    what: &str,
    known: &[Option<At<String>>],
) -> Option<usize> {
    let name = section.text(key, 64, &format!("add the name of a {what}"))?;
    let names: Vec<&str> = known.iter().flatten().map(|name| name.value.as_str()).collect();
    let index = known.iter().position(|k| k.as_ref().is_some_and(|k| k.value == name.value));
    // Where a name of the list was refused, this one may be right.
    if index.is_none() && !names.is_empty() && names.len() == known.len() {
        let title = format!("{}: no {what} is called \"{}\"", section.path(key), name.value);
        let label = match nearest(&name.value, names.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("known: {}", listing('"', &names)),
        };
        section.pad.refuse(&name.span, title, label);
    }
    index
}

/// The channel of every coil: a list, or counting up from the first.
fn read_channels(section: &mut Section<'_>, place: Option<&At<Layout>>) -> Option<At<Vec<u16>>> {
    let coils = place.map(|place| place.value.places().len());
    let listed = section.wholes_if(&CHANNELS, 1..=BOARD_CHANNELS);
    if section.peek(CHANNELS.key).is_none() {
        let first = section.whole(&FIRST_CHANNEL)?;
        let count = coils?;
        if first.value as usize + count > BOARD_CHANNELS {
            let path = section.path(FIRST_CHANNEL.key);
            let coils = counted(count, "coil");
            let title = format!("{path}: {coils} from channel {} do not fit a board", first.value);
            let label = "a board has channels 0 to 511: write one [[coils]] per board";
            section.pad.refuse(&first.span, title, label);
            return None;
        }
        let channels = (first.value..).take(count).map(u16::try_from);
        return Some(At { value: channels.collect::<Result<_, _>>().ok()?, span: first.span });
    }
    if let Some(first) = section.find(FIRST_CHANNEL.key) {
        let title = format!("{}: `channels` says it already", first.path);
        section.pad.refuse(&first.span, title, "keep one of the two");
    }
    let path = section.path(CHANNELS.key);
    let (listed, count) = (listed?, coils?);
    if listed.value.len() != count {
        let channels = counted(listed.value.len(), "channel");
        let title = format!("{path}: {channels} for {}", counted(count, "coil"));
        section.pad.refuse(&listed.span, title, format!("write {count}"));
        return None;
    }
    let channels = listed.value.into_iter().map(u16::try_from);
    Some(At { value: channels.collect::<Result<_, _>>().ok()?, span: listed.span })
}
