//! A display file: coils, their places, their wiring, their driver, their heat. As written,
//! checked.

use serde::Serialize;

pub use super::coils::Block;
use super::digest::digest_hex;
pub use super::driver::{AtReset, Driver, DriverKind, Stagger};
use super::finding::{At, Finding, Refusals, SharedSource};
pub use super::hardware::{CoilType, Enclosure, Neighbours, Rail, Trust};
pub use super::harness::{Fault, Harness, Link, Wire};
pub use super::lag::{FluidLag, FluidWay};
pub use super::lift::{CoilShape, Fluid};
pub use super::lifts::Lifts;
use super::limits::ROOM;
pub use super::magnet::Magnet;
use super::section::{Kind, Pad, Section};
pub use super::wishes::{Law, Pulling, Wishes};
use super::{check, check_wiring, coils, driver, hardware, harness, lag, lift, magnet, wishes};
use crate::coil::copper::resistance_at;
use crate::coil::fluid::Lag;
use crate::frame::{CoilRun, RailHead};
use crate::units::{Celsius, Ohms};

/// A display as its file says, defaults filled in.
#[derive(Debug, Clone, Serialize)]
pub struct Display {
    /// Short name.
    pub name: String,
    /// Room temperature, C; default 35: a room nobody measured counts as warm.
    pub room_c: At<f64>,
    /// What switches the coils; one kind for the whole display.
    pub driver: Driver,
    /// The line to the boards, where it is known.
    pub link: Option<Link>,
    /// The magnet behind the coils, where it is known.
    pub magnet: Option<Magnet>,
    /// What it is to lift, where it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fluid: Option<Fluid>,
    /// How late the fluid follows, where it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lag: Option<FluidLag>,
    /// Case or tank around the coils, where there is one.
    pub enclosure: Option<Enclosure>,
    /// Heat between coils side by side.
    pub neighbours: Option<Neighbours>,
    /// How lifted fluid behaves and what wishes ask for, where it is said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pull: Option<At<Pulling>>,
    /// Supplies in the order of the file.
    pub rails: Vec<Rail>,
    /// Kinds of coil.
    pub coil_types: Vec<CoilType>,
    /// Coils in the order of the file, which is display order.
    pub blocks: Vec<Block>,
    /// What the maker should know although the file is usable.
    #[serde(skip)]
    pub warnings: Vec<Finding>,
    #[serde(skip)]
    pub(super) source: SharedSource,
}

impl Display {
    /// XXH3-128 of what the file means, in hexadecimal. Comments, layout, the order of keys and
    /// the file's path do not change it; any value does, and so does the order of tables in a
    /// list.
    pub fn digest_hex(&self) -> String {
        digest_hex(self)
    }

    /// The text that it was read from.
    pub fn text(&self) -> &str {
        &self.source.text
    }

    /// Number of coils.
    pub fn coil_count(&self) -> usize {
        self.blocks.iter().map(|block| block.channels.value.len()).sum()
    }

    /// What a kind of backing stands, C: what was stated for it, and no more than the magnet.
    pub fn backing_limit_c(&self, coil_type: &CoilType) -> f64 {
        let magnet_c = self.magnet.as_ref().map_or(f64::INFINITY, |magnet| magnet.limit_c.value);
        coil_type.backing_limit_c.value.min(magnet_c)
    }

    /// How late the fluid follows, as models of both ways.
    pub fn fluid_lag(&self) -> Option<Lag> {
        self.lag.as_ref().and_then(FluidLag::used)
    }

    /// Current of each coil of a block at full duty, A: the whole rail over the winding at room
    /// temperature. No real coil takes more.
    pub fn full_a(&self, block: &Block) -> f64 {
        let rail = self.rails.get(block.rail);
        let coil_type = self.coil_types.get(block.coil_type);
        rail.zip(coil_type).map_or(0.0, |(rail, coil)| {
            let (ohms, at) = (Ohms(coil.resistance_ohm), Celsius(coil.reference_c));
            rail.volts / resistance_at(ohms, at, Celsius(self.room_c.value)).0
        })
    }

    /// Boards in use, each with the channels that its packets carry: up to the last one wired.
    pub fn boards(&self) -> Vec<(u16, u32)> {
        let mut boards = std::collections::BTreeMap::new();
        for block in &self.blocks {
            let last = block.channels.value.iter().copied().max().unwrap_or(0);
            let channels: &mut u32 = boards.entry(block.board).or_default();
            *channels = (*channels).max(u32::from(last) + 1);
        }
        boards.into_iter().collect()
    }

    /// Coils by driver, for the head of a duty file: one run, as there is one kind of driver.
    pub fn coil_runs(&self) -> Vec<CoilRun> {
        let count = u32::try_from(self.coil_count()).unwrap_or(u32::MAX);
        vec![CoilRun { count, steps: self.driver.steps, two_way: self.driver.two_way() }]
    }

    /// Rails for the head of a duty file.
    pub fn rail_heads(&self) -> Vec<RailHead> {
        let head = |rail: &Rail| RailHead {
            name: rail.name.value.clone(),
            volts: rail.volts,
            limit_a: rail.limit_a.value,
        };
        self.rails.iter().map(head).collect()
    }
}

/// Reads and checks a display; `path` only appears in messages.
///
/// # Errors
/// With everything that is wrong with the text, in file order.
pub fn read(path: &str, text: &str) -> Result<Display, Refusals> {
    let (mut display, source, warnings) =
        Pad::new(path, text).conclude(Kind::Display, read_root)?;
    display.source = source;
    display.warnings = warnings;
    Ok(display)
}

fn read_root(pad: &Pad, mut root: Section<'_>) -> Option<Display> {
    let name = root.text("name", 64, "add a short name: `name = \"...\"`");
    let room_c = root.number_or(&ROOM, 35.0);
    let driver = driver::read(&mut root);
    let link = harness::read_link(&mut root);
    let magnet = magnet::read(&mut root);
    let fluid = lift::read_fluid(&mut root);
    let lag = lag::read(&mut root);
    let enclosure = hardware::read_enclosure(&mut root);
    let neighbours = hardware::read_neighbours(&mut root);
    let pull = wishes::read(&mut root);
    let rails: Vec<_> = root.some_tables("rail").into_iter().map(hardware::read_rail).collect();
    let coil_types: Vec<_> =
        root.some_tables("coil_type").into_iter().map(hardware::read_coil_type).collect();
    let known = coils::Known {
        coil_types: coil_types.iter().map(|(name, _)| name.clone()).collect(),
        rails: rails.iter().map(|(name, _)| name.clone()).collect(),
    };
    let blocks: Vec<_> =
        root.some_tables("coils").into_iter().map(|section| coils::read(section, &known)).collect();
    root.finish();
    check::refuse_equal_names(pad, "rail", &known.rails.iter().flatten().collect::<Vec<_>>());
    let types: Vec<_> = known.coil_types.iter().flatten().collect();
    check::refuse_equal_names(pad, "coil type", &types);
    let display = Display {
        name: name?.value,
        room_c,
        driver: driver?,
        link,
        magnet,
        fluid,
        lag,
        enclosure,
        neighbours,
        pull,
        rails: rails.into_iter().map(|(_, rail)| rail).collect::<Option<_>>()?,
        coil_types: coil_types.into_iter().map(|(_, coil)| coil).collect::<Option<_>>()?,
        blocks: blocks.into_iter().collect::<Option<_>>()?,
        warnings: Vec::new(),
        source: pad.source.clone(),
    };
    check::display(pad, &display);
    check_wiring::display(pad, &display);
    wishes::check(pad, &display);
    Some(display)
}
