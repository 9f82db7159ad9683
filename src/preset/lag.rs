//! How late the fluid follows its coil, as a display file says it.

use serde::Serialize;

use super::finding::At;
use super::limits::{DAMPING, DEAD, NATURAL, T10, T90};
use super::section::Section;
use super::values::{Menu, Picked};
use crate::coil::fluid::{Lag, Way};
use crate::units::Seconds;

/// One way of the fluid, up or down, as written.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FluidWay {
    /// A dead time and a second-order lag.
    Model {
        /// Time in which nothing moves, ms.
        dead_ms: f64,
        /// Frequency at which it would swing without damping, Hz.
        natural_hz: f64,
        /// Share of critical damping.
        damping: f64,
    },
    /// Seen on a video of one coil that is switched.
    Video {
        /// From the switching until the fluid has gone 10 % of its way, ms.
        t10_ms: f64,
        /// Until 90 %, ms.
        t90_ms: f64,
    },
}

impl FluidWay {
    /// The model behind it; `None` for times on a video that no such model has.
    fn way(&self) -> Option<Way> {
        let seconds = |ms: f64| Seconds(ms / 1000.0);
        match *self {
            Self::Model { dead_ms, natural_hz, damping } => {
                Some(Way::new(seconds(dead_ms), natural_hz, damping))
            }
            Self::Video { t10_ms, t90_ms } => Way::from_video(seconds(t10_ms), seconds(t90_ms)),
        }
    }
}

/// Table `[lag]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FluidLag {
    /// When the pull grows.
    pub rise: FluidWay,
    /// When it shrinks; left out: as the rise.
    pub fall: FluidWay,
}

impl FluidLag {
    /// The models behind it.
    pub(super) fn used(&self) -> Option<Lag> {
        Some(Lag { rise: self.rise.way()?, fall: self.fall.way()? })
    }
}

const MODEL: &str = "rise.model = { dead_ms = 40, natural_hz = 3, damping = 0.5 }";
const VIDEO: &str = "rise.video = { t10_ms = 60, t90_ms = 160 }";
const MENU: Menu = Menu { words: &[], tables: &[("model", MODEL), ("video", VIDEO)] };

/// Longest lag that is accepted, ms: beyond it nobody sees that the motion belongs to the sound.
const LONGEST_MS: f64 = 1000.0;

pub(super) fn read(root: &mut Section<'_>) -> Option<FluidLag> {
    let mut section = root.table("lag")?;
    let rise = read_way(&mut section, "rise", true);
    let has_fall = section.peek("fall").is_some();
    let fall = read_way(&mut section, "fall", false);
    section.finish();
    let rise = rise?;
    let fall = if has_fall { fall? } else { rise };
    Some(FluidLag { rise, fall })
}

fn read_way(section: &mut Section<'_>, key: &'static str, required: bool) -> Option<FluidWay> {
    let At { value: picked, span } = section.menu(key, &MENU, required)?;
    let Picked::Table(tag, mut table) = picked else { return None };
    let way = match tag {
        "video" => {
            let (t10, t90) = (table.number(&T10), table.number(&T90));
            table.finish();
            FluidWay::Video { t10_ms: t10?.value, t90_ms: t90?.value }
        }
        _ => {
            let (dead, natural) = (table.number(&DEAD), table.number(&NATURAL));
            let damping = table.number(&DAMPING);
            table.finish();
            FluidWay::Model {
                dead_ms: dead?.value,
                natural_hz: natural?.value,
                damping: damping?.value,
            }
        }
    };
    let path = section.path(key);
    match way.way().map(|used| 1000.0 * used.lag().0) {
        Some(lag_ms) if lag_ms <= LONGEST_MS => Some(way),
        Some(lag_ms) => {
            let title = format!("{path}: the fluid would follow {lag_ms:.0} ms late");
            let label = format!("at most {LONGEST_MS} ms make sense, half of the way counted");
            section.pad.refuse(&span, title, label);
            None
        }
        None => {
            let title = format!("{path}: no fluid moves so");
            let label = "t90_ms must lie behind t10_ms, and no more than 7.3 times as late: count \
                         both from the picture in which the coil is switched on";
            section.pad.refuse(&span, title, label);
            None
        }
    }
}
