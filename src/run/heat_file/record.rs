//! What a heat file says, and how far it is believed. No file and no clock here.

use serde::{Deserialize, Serialize};
use thiserror::Error;
use xxhash_rust::xxh3::xxh3_128;

use super::Moment;
use crate::budget::{BudgetSettings, Start, rested};
use crate::units::{Celsius, Seconds};

/// For how long coils may have been driven after the last word of a run that was killed, s, the
/// driver's hold not counted.
pub const LEASE_S: f64 = 10.0;

/// The version of the format.
const FORMAT: u32 = 1;

/// Temperatures of a display at a moment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Record {
    format: u32,
    /// For people.
    name: String,
    display: String,
    written: Moment,
    /// False while the display is driven.
    closed: bool,
    /// How long the driver holds its last frame, ms.
    hold_ms: f64,
    node_c: Vec<f64>,
    check: String,
}

/// Why nothing is known of the heat of a display: a sentence for people.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum Unknown {
    /// There is no file.
    #[error("there is no heat file yet")]
    Missing,
    /// It was not to be used.
    #[error("no heat file is kept")]
    NotKept,
    /// There is one that cannot be read.
    #[error("the heat file cannot be read ({0})")]
    Unreadable(String),
    /// Cut short, edited or something else.
    #[error("the heat file is torn, was edited, or is something else")]
    Torn,
    /// Written by another version.
    #[error("the heat file was written by another version of the program")]
    OtherVersion,
    /// Of another display, or of this one before it was edited.
    #[error("the heat file is of another display, or of this one before its file was edited")]
    OtherDisplay,
    /// This machine, or the one that wrote it, does not know the time.
    #[error("there is no clock to tell how old the heat file is")]
    NoClock,
    /// The clock cannot be right now and then.
    #[error("the clock went backwards since the heat file was written")]
    ClockBackwards,
}

/// What a heat file says of now.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// Temperatures, none of them cooler than the coils: windings, backings, enclosure.
    pub node_c: Vec<Celsius>,
    /// How long ago it was written.
    pub age: Seconds,
    /// Whether the run that wrote it came to its end.
    pub closed: bool,
}

impl Record {
    /// Of a display that is driven. `digest` is the display's; `hold_ms` its driver's.
    pub fn new(digest: &str, name: &str, hold_ms: f64, written: Moment, node_c: &[f64]) -> Self {
        Self {
            format: FORMAT,
            name: name.to_owned(),
            display: digest.to_owned(),
            written,
            closed: false,
            hold_ms,
            node_c: node_c.to_vec(),
            check: String::new(),
        }
    }

    /// Of a display whose coils have been told to go off.
    #[must_use]
    pub fn closed(self) -> Self {
        Self { closed: true, ..self }
    }

    /// As a file holds it.
    pub fn to_text(&self) -> String {
        let whole = Self { check: self.sum(), ..self.clone() };
        // Plain numbers and texts always become JSON; an empty text would be refused as torn.
        serde_json::to_string_pretty(&whole).unwrap_or_default() + "\n"
    }

    /// XXH3-128 of everything but itself.
    fn sum(&self) -> String {
        let bare = Self { check: String::new(), ..self.clone() };
        format!("{:032x}", xxh3_128(&serde_json::to_vec(&bare).unwrap_or_default()))
    }

    fn from_text(text: &str) -> Result<Self, Unknown> {
        let format = serde_json::from_str::<serde_json::Value>(text).ok();
        let format = format.as_ref().and_then(|json| json.get("format")).and_then(|n| n.as_u64());
        match format {
            Some(number) if number == u64::from(FORMAT) => {}
            Some(_) => return Err(Unknown::OtherVersion),
            None => return Err(Unknown::Torn),
        }
        let record: Self = serde_json::from_str(text).map_err(|_| Unknown::Torn)?;
        if record.check == record.sum() { Ok(record) } else { Err(Unknown::Torn) }
    }
}

/// Reads a heat file's text for the display with this `digest` and these `settings`, at `now`. The
/// settings' own start is not looked at.
///
/// # Errors
/// [`Unknown`] when it is not to be believed.
pub fn read(
    text: &str,
    digest: &str,
    settings: &BudgetSettings,
    now: &Moment,
) -> Result<Known, Unknown> {
    let record = Record::from_text(text)?;
    if record.display != digest {
        return Err(Unknown::OtherDisplay);
    }
    let age = now.since(&record.written)?;
    let lease_s = if record.closed { 0.0 } else { LEASE_S };
    let driven = Seconds(lease_s + record.hold_ms / 1000.0);
    let nodes = record.node_c.iter().copied().map(Celsius).collect();
    let settings = BudgetSettings { start: Start::Nodes(nodes), ..settings.clone() };
    // A display that cannot be driven is refused elsewhere, in better words.
    let node_c = rested(&settings, driven, Seconds(age.0 - driven.0)).map_err(|_| Unknown::Torn)?;
    Ok(Known { node_c, age, closed: record.closed })
}
