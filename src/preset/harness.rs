//! What lies between driver, coil and supply: wires, fuses, connectors, the link.

use serde::Serialize;

use super::finding::At;
use super::limits::{AREA, AWG, BAUD, CONNECTOR, FUSE, LENGTH};
use super::section::Section;
use super::words::rounded;
use crate::coil::harness::{WIRE_A_PER_MM2, awg_area_mm2, wire_carries};

/// Wires, fuse and connector of each coil of a block, as far as they are known.
#[derive(Debug, Clone, Serialize)]
pub struct Harness {
    /// From driver to coil and back.
    pub wire: Option<At<Wire>>,
    /// What each contact of the connector stands, A.
    pub connector_a: Option<At<f64>>,
    /// Fuse in each coil's lead, A.
    pub fuse_a: Option<At<f64>>,
}

/// Something about a harness that should be mended before power comes on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// The key it is about: `wire`, `connector_a` or `fuse_a`.
    pub key: &'static str,
    /// What is wrong.
    pub problem: String,
    /// What would do.
    pub cure: String,
}

impl Harness {
    /// What is too weak for a coil that takes `full_a` at full duty, or protects nothing.
    pub fn faults(&self, full_a: f64) -> Vec<Fault> {
        let mut faults = Vec::new();
        let mut add = |wrong: bool, key, problem: String, cure: String| {
            if wrong {
                faults.push(Fault { key, problem, cure });
            }
        };
        let takes = rounded(full_a);
        if let Some(wire) = self.wire.as_ref().map(|wire| wire.value) {
            let (size, carries) = (wire.size(), rounded(wire.carries_a()));
            let problem = format!("{size} carries {carries} A, and a coil takes {takes} A in full");
            let cure = format!("from {} mm2 on it does", rounded_up(full_a / WIRE_A_PER_MM2));
            add(wire.carries_a() < full_a, "wire", problem, cure);
        }
        if let Some(connector) = self.connector_a.as_ref().map(|connector| connector.value) {
            let problem = format!("{connector} A is too little, as a coil takes {takes} A in full");
            add(connector < full_a, "connector_a", problem, "choose stronger contacts".to_owned());
        }
        let Some(fuse) = self.fuse_a.as_ref().map(|fuse| fuse.value) else { return faults };
        let opens = format!("{fuse} A opens at full duty, as a coil takes {takes} A");
        let cure = format!("from {} A on it holds", rounded_up(full_a));
        add(fuse < full_a, "fuse_a", opens, cure);
        let wire_a = self.wire.as_ref().map(|wire| wire.value.carries_a());
        let contact_a = self.connector_a.as_ref().map(|connector| connector.value);
        let weakest = [("wire", wire_a), ("connector", contact_a)].into_iter();
        for (part, stands) in weakest.filter_map(|(part, stands)| stands.map(|a| (part, a))) {
            let carries = rounded(stands);
            let problem = format!("{fuse} A does not protect a {part} that carries {carries} A");
            // A part that is too weak already has to be mended first.
            let wrong = fuse > stands && stands >= full_a;
            add(wrong, "fuse_a", problem, format!("{carries} A or less does"));
        }
        faults
    }

    /// Where the value of a key stands.
    pub(super) fn span_of(&self, key: &str) -> std::ops::Range<usize> {
        let number = match key {
            "connector_a" => &self.connector_a,
            _ => &self.fuse_a,
        };
        let wire = self.wire.as_ref().filter(|_| key == "wire").map(|wire| wire.span.clone());
        wire.or(number.as_ref().map(|number| number.span.clone())).unwrap_or_default()
    }
}

/// Two digits after the point, never less than the value.
fn rounded_up(value: f64) -> f64 {
    (value * 100.0 - 1e-9).ceil() / 100.0
}

/// A pair of copper wires.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Wire {
    /// Copper of one of the two, mm2.
    pub area_mm2: f64,
    /// Its gauge, where that is what was written.
    pub awg: Option<u32>,
    /// From driver to coil, one way, m.
    pub length_m: f64,
}

impl Wire {
    /// `AWG 24` or `0.5 mm2`.
    pub fn size(&self) -> String {
        self.awg.map_or_else(|| format!("{} mm2", self.area_mm2), |awg| format!("AWG {awg}"))
    }

    /// What it carries for ever, A, by the rule of [`crate::coil::harness::WIRE_A_PER_MM2`].
    pub fn carries_a(&self) -> f64 {
        wire_carries(self.area_mm2).0
    }
}

/// The line to the boards; each board has one of its own.
#[derive(Debug, Clone, Serialize)]
pub struct Link {
    /// Bits per second on the line, start and stop bits counted.
    pub baud: At<f64>,
}

pub(super) fn read(section: &mut Section<'_>) -> Harness {
    Harness {
        wire: read_wire(section),
        connector_a: section.number_if(&CONNECTOR),
        fuse_a: section.number_if(&FUSE),
    }
}

fn read_wire(section: &mut Section<'_>) -> Option<At<Wire>> {
    const EXAMPLE: &str = "write for example `wire = { area_mm2 = 0.5, length_m = 1.2 }`";
    let found = section.find("wire")?;
    let toml::de::DeValue::Table(table) = found.value else {
        let title = format!("{} is not a table", found.path);
        section.pad.refuse(&found.span, title, EXAMPLE);
        return None;
    };
    let mut wire = section.child("wire", table, found.span.clone());
    let (area, awg) = (wire.number_if(&AREA), wire.whole_if(&AWG));
    let length = wire.number(&LENGTH);
    let said = (wire.peek(AREA.key).is_some(), wire.peek(AWG.key).is_some());
    if said == (true, true) || said == (false, false) {
        let title = match said.0 {
            true => format!("{}: the size is said twice", found.path),
            false => format!("{}: the size is missing", found.path),
        };
        section.pad.refuse(&found.span, title, "write either `area_mm2` or `awg`");
    }
    wire.finish();
    let awg = awg.map(|awg| awg.value);
    let area_mm2 = area.map(|area| area.value).or(awg.map(awg_area_mm2))?;
    Some(At { value: Wire { area_mm2, awg, length_m: length?.value }, span: found.span })
}

pub(super) fn read_link(root: &mut Section<'_>) -> Option<Link> {
    let mut section = root.table("link")?;
    let baud = section.number(&BAUD);
    section.finish();
    Some(Link { baud: baud? })
}
