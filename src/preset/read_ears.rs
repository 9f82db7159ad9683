//! Reads what a route hears besides the levels of bands.

use super::finding::At;
use super::limits::{HIGH, LEAD, LOW, SURE};
use super::read_route::rising;
use super::route::Hears;
use super::section::Section;

/// Confidence from which on a beat moves something: on music with a clear beat it is reached within
/// some seconds, on music without one hardly ever.
const SURE_ENOUGH: f64 = 0.4;

/// Between these, most music is dark and bright.
const DARK_HZ: f64 = 300.0;
const BRIGHT_HZ: f64 = 4000.0;

/// The table behind one of the words for it.
pub(super) fn read(tag: &str, table: &mut Section<'_>) -> Option<Hears> {
    Some(match tag {
        "onset" => Hears::Onset { of: table.choice("of"), size: table.choice("size") },
        "onset_in_band" => {
            let edges = rising(table, [&LOW, &HIGH], 0.0);
            let size = table.choice("size");
            let [low_hz, high_hz] = edges?;
            Hears::OnsetInBand { low_hz, high_hz, size }
        }
        "beat" => {
            let (lead_ms, sure) = beat(table);
            Hears::Beat { lead_ms, sure }
        }
        "beat_phase" => {
            let (lead_ms, sure) = beat(table);
            Hears::BeatPhase { lead_ms, sure }
        }
        "brightness" => {
            let written = table.find(LOW.key).is_some() || table.find(HIGH.key).is_some();
            let ends = if written { rising(table, [&LOW, &HIGH], 1.0) } else { None };
            let [low_hz, high_hz] = match ends {
                None if written => return None,
                ends => ends.unwrap_or([DARK_HZ, BRIGHT_HZ]),
            };
            Hears::Brightness { low_hz, high_hz }
        }
        _ => Hears::Loudness { over: table.choice("over") },
    })
}

fn beat(table: &mut Section<'_>) -> (Option<f64>, f64) {
    (table.number_if(&LEAD).map(|lead| lead.value), table.number_or(&SURE, SURE_ENOUGH).value)
}

/// Keys that mean nothing for what a route hears: written all the same, they are told.
pub(super) fn warn_idle_keys(section: &Section<'_>, hears: &At<Hears>) {
    if hears.value.follows_levels() {
        return;
    }
    let measured = !hears.value.bands_hz().is_empty();
    let ranged = measured || matches!(hears.value, Hears::Loudness { .. });
    for (key, used) in [("range", ranged), ("channel", measured), ("weighting", measured)] {
        let Some(stray) = section.peek(key).filter(|_| !used) else { continue };
        let title = format!("{}: this route does not use it", stray.path);
        section.pad.warn(&stray.span, title, "it hears the whole sound, and no level of a band");
    }
}
