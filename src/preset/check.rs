//! What only shows when a display is seen whole: wires used twice, coils in one place, limits that
//! leave nothing, names nobody refers to.

use std::collections::{BTreeMap, BTreeSet};

use super::display::{Block, CoilType, Display};
use super::finding::{At, Finding, Refusals, Weight};
use super::near::pairs_within;
use super::section::Pad;
use super::words::rounded;
use crate::budget::Start;
use crate::mapper::Place;

/// Refuses every name that an earlier one of the list has already.
pub(super) fn refuse_equal_names(pad: &Pad, what: &str, names: &[&At<String>]) {
    let mut seen: BTreeMap<&str, &At<String>> = BTreeMap::new();
    for name in names {
        if let Some(first) = seen.get(name.value.as_str()) {
            if pad.is_full(Weight::Refusal) {
                return;
            }
            let title = format!("two {what}s are called \"{}\"", name.value);
            let finding = pad.finding(Weight::Refusal, &name.span, title, "choose another name");
            pad.add(finding.related(pad.source.mark(&first.span, "this is the first")));
        } else {
            seen.insert(&name.value, name);
        }
    }
}

pub(super) fn display(pad: &Pad, display: &Display) {
    channels(pad, display);
    let places = places_of(display);
    same_place(pad, display, &places);
    neighbours(pad, display, &places);
    unused(pad, display);
    for (at, coil_type) in display.coil_types.iter().enumerate() {
        temperatures(pad, display, at, coil_type);
        pwm(pad, display, coil_type);
    }
    enclosure(pad, display);
    rails(pad, display);
}

/// Places of all coils in display order.
pub(super) fn places_of(display: &Display) -> Vec<Place> {
    display.blocks.iter().flat_map(|block| block.place.value.places()).collect()
}

/// Reports the first clash of each two blocks: the rest would only repeat it.
fn clash(
    pad: &Pad,
    told: &mut BTreeSet<(usize, usize)>,
    blocks: (usize, usize),
    title: String,
    place: impl Fn(usize) -> std::ops::Range<usize>,
    cure: &str,
) {
    if !pad.is_full(Weight::Refusal) && told.insert(blocks) {
        let finding = pad.finding(Weight::Refusal, &place(blocks.1), title, cure);
        let first = pad.source.mark(&place(blocks.0), "used here first");
        pad.add(if blocks.0 == blocks.1 { finding } else { finding.related(first) });
    }
}

fn channels(pad: &Pad, display: &Display) {
    let mut used: BTreeMap<(u16, u16), usize> = BTreeMap::new();
    let mut told = BTreeSet::new();
    let span = |at: usize| display.blocks.get(at).map_or(0..0, |b: &Block| b.channels.span.clone());
    for (here, block) in display.blocks.iter().enumerate() {
        for &channel in &block.channels.value {
            if let Some(first) = used.insert((block.board, channel), here) {
                let title = format!("channel {channel} of board {} drives two coils", block.board);
                let cure = "give every coil a channel of its own";
                clash(pad, &mut told, (first, here), title, span, cure);
            }
        }
    }
}

/// Coils are not smaller than that, so closer centres are a slip.
const SAME_PLACE_MM: f64 = 1.0;

fn same_place(pad: &Pad, display: &Display, places: &[Place]) {
    let block_of: Vec<usize> = (display.blocks.iter().enumerate())
        .flat_map(|(at, block)| std::iter::repeat_n(at, block.channels.value.len()))
        .collect();
    let span = |at: usize| display.blocks.get(at).map_or(0..0, |b: &Block| b.place.span.clone());
    let mut told = BTreeSet::new();
    for (a, b) in pairs_within(places, SAME_PLACE_MM, places.len()).list {
        let (Some(&first), Some(&second), Some(place)) =
            (block_of.get(a), block_of.get(b), places.get(b))
        else {
            continue;
        };
        let (x, y) = (rounded(place.x_mm.0), rounded(place.y_mm.0));
        let title = format!("two coils stand at [{x}, {y}] mm");
        let cure = "move one: the mapping needs to know where each coil is";
        clash(pad, &mut told, (first, second), title, span, cure);
    }
}

/// A square grid has 2 links a coil, with diagonals 4; what is far above that is no touching.
pub(super) const MOST_LINKS_A_COIL: usize = 8;

fn neighbours(pad: &Pad, display: &Display, places: &[Place]) {
    let Some(near) = &display.neighbours else { return };
    let span = &near.within_mm.span;
    let most = places.len() * MOST_LINKS_A_COIL;
    let pairs = pairs_within(places, near.within_mm.value, most);
    let written = format!("neighbours.within_mm: {} mm", near.within_mm.value);
    if pairs.cut {
        let title = format!("{written} makes more than {MOST_LINKS_A_COIL} links a coil");
        pad.refuse(span, title, "write a little more than the distance between two coils");
    } else if pairs.list.is_empty() {
        let title = format!("{written} is less than the distance of any two coils");
        pad.warn(span, title, "no heat passes between coils");
    }
}

fn unused(pad: &Pad, display: &Display) {
    for (at, coil_type) in display.coil_types.iter().enumerate() {
        if display.blocks.iter().all(|block| block.coil_type != at) {
            let title = format!("no coil is of type \"{}\"", coil_type.name.value);
            pad.warn(&coil_type.name.span, title, "nothing refers to it");
        }
    }
    for (at, rail) in display.rails.iter().enumerate() {
        if display.blocks.iter().all(|block| block.rail != at) {
            let title = format!("no coil hangs on rail \"{}\"", rail.name.value);
            pad.warn(&rail.name.span, title, "nothing refers to it");
        }
    }
}

/// FR-4 and its solder mask are mostly rated to 130 C (from memory).
const BOARD_C: f64 = 130.0;
/// Plain neodymium grades stand 80 C, the strongest ones only 60 C (magnet makers' tables).
const MAGNET_C: f64 = 80.0;

fn temperatures(pad: &Pad, display: &Display, at: usize, coil_type: &CoilType) {
    let limits = [
        (&coil_type.coil_limit_c, "coil_limit_c", BOARD_C, "circuit boards are rated to 130 C"),
        (
            &coil_type.backing_limit_c,
            "backing_limit_c",
            MAGNET_C,
            "magnets weaken for good from 80 C, the strongest from 60 C",
        ),
    ];
    for (limit, key, high, why) in limits {
        let path = format!("coil_type {}, {key}", at + 1);
        leaves_room(pad, display, limit, &path);
        let known = key == "backing_limit_c" && display.magnet.is_some();
        if limit.value > high && !known {
            let title = format!("{path}: {} C is hot", limit.value);
            pad.warn(&limit.span, title, format!("{why}: check what yours stand"));
        }
    }
}

fn enclosure(pad: &Pad, display: &Display) {
    if let Some(limit) = display.enclosure.as_ref().and_then(|space| space.limit_c.as_ref()) {
        leaves_room(pad, display, limit, "enclosure.limit_c");
    }
}

/// A rise below this is no rise to work with.
const LEAST_RISE_K: f64 = 1.0;

fn leaves_room(pad: &Pad, display: &Display, limit: &At<f64>, path: &str) {
    let room = &display.room_c;
    if limit.value < room.value + LEAST_RISE_K {
        let title =
            format!("{path}: {} C leaves nothing in a room of {} C", limit.value, room.value);
        let label = format!("write at least {} C", room.value + LEAST_RISE_K);
        let finding = pad.finding(Weight::Refusal, &limit.span, title, label);
        let left_out = room.span.is_empty();
        let why = "room_c is left out, and a room nobody measured counts as 35 C";
        pad.add(if left_out { finding.help(why) } else { finding });
    }
}

/// PWM this slow against a coil's L/R (period over time constant) costs more than 3 % of the pull
/// that the same heat could give.
const SLOW_PERIODS: f64 = 1.5;
/// Where a coil in a magnet's field is heard, Hz: common practice, no source.
const SINGING_HZ: (f64, f64) = (300.0, 18_000.0);

fn pwm(pad: &Pad, display: &Display, coil_type: &CoilType) {
    let Some(pwm) = &display.driver.pwm_hz else { return };
    let name = &coil_type.name.value;
    let periods = coil_type.period_over_tau(Some(pwm.value));
    if periods > SLOW_PERIODS && periods.is_finite() {
        let better = rounded(pwm.value * periods / SLOW_PERIODS);
        let title = format!("driver.pwm_hz: {} Hz is slow for coil type \"{name}\"", pwm.value);
        pad.warn(&pwm.span, title, format!("from {better} Hz on, the same heat gives more pull"));
    }
}

fn rails(pad: &Pad, display: &Display) {
    if let Some(pwm) = &display.driver.pwm_hz
        && pwm.value > SINGING_HZ.0
        && pwm.value < SINGING_HZ.1
    {
        let title = format!("driver.pwm_hz: coils near a magnet sing at {} Hz", pwm.value);
        pad.warn(&pwm.span, title, format!("above {} Hz hardly anyone hears it", SINGING_HZ.1));
    }
    for (at, rail) in display.rails.iter().enumerate() {
        let types = display.blocks.iter().filter(|b| b.rail == at).map(|b| b.coil_type);
        let amps = types
            .filter_map(|at| display.coil_types.get(at))
            .map(|coil_type| rail.volts / coil_type.resistance_ohm)
            .fold(0.0, f64::max);
        if amps > rail.limit_a.value {
            let (number, limit) = (at + 1, rail.limit_a.value);
            let title = format!("rail {number}, limit_a: {limit} A cannot feed one coil fully");
            pad.warn(&rail.limit_a.span, title, format!("one coil draws {} A", rounded(amps)));
        }
    }
}

/// Start temperatures: two nodes a coil, and the enclosure where there is one.
pub(super) fn start(start: &Start, display: &Display) -> Result<(), Refusals> {
    let Start::Nodes(nodes) = start else { return Ok(()) };
    let wanted = 2 * display.coil_count() + usize::from(display.enclosure.is_some());
    if nodes.len() == wanted && nodes.iter().all(|node| node.0.is_finite()) {
        return Ok(());
    }
    let title = format!(
        "start: {} temperatures do not describe the {wanted} of display \"{}\"",
        nodes.len(),
        display.name
    );
    let finding = Finding::placeless(Weight::Refusal, title);
    Err(finding.help("start cold, warm or unknown, or after a file of this display").into())
}
