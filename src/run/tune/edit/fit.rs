//! Texts to a mapping that listens, judged exactly as `check` and every other command judge them.

use std::collections::BTreeSet;

use serde::Serialize;

use super::history::State;
use crate::analysis::Arith;
use crate::audio::SoundFormat;
use crate::budget::Start;
use crate::engine::{Listener, Prepared};
use crate::mapper::RouteSettings;
use crate::preset::{Display, Refusals, display, mapping, prepare};
use crate::units::Rate;

/// What the texts are fitted to; does not change while tuning.
#[derive(Debug, Clone)]
pub struct Ground {
    /// Name of the mapping file, for sentences.
    pub mapping_name: String,
    /// Name of the display file.
    pub display_name: String,
    /// The sound to come.
    pub sound: SoundFormat,
    /// Frames.
    pub rate: Rate,
    /// Of the spectra.
    pub arith: Arith,
}

/// Routes that are silent for now, by name; never saved.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Quieted {
    /// These are not heard.
    pub muted: BTreeSet<String>,
    /// If there are any, only these are heard.
    pub solo: BTreeSet<String>,
}

impl Quieted {
    /// Whether a route moves anything.
    pub fn lets(&self, route: &str) -> bool {
        !self.muted.contains(route) && (self.solo.is_empty() || self.solo.contains(route))
    }
}

/// A state that can be played.
pub(super) struct Fitted {
    pub(super) listener: Box<Listener>,
    pub(super) view: View,
}

/// What a page has to know of the mapping at work, besides its text.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct View {
    /// Routes in order: the bands that each hears, Hz.
    pub routes: Vec<RouteView>,
    /// What the maker should know.
    pub warnings: Vec<String>,
    /// Trim of every coil.
    pub trims: Vec<f64>,
}

/// One route as the engine has it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RouteView {
    /// Its name.
    pub name: String,
    /// How many values it gives its motion, and with them pairs of numbers a look holds for it.
    pub values: usize,
    /// Lower and upper edge of each band, Hz; none for routes that hear other things.
    pub bands_hz: Vec<(f64, f64)>,
    /// How long after the sound the slowest of them shows, s.
    pub delay_s: f64,
    /// Coils it reaches.
    pub coils: Vec<u32>,
}

/// Reads, checks and builds.
///
/// # Errors
/// With the text of `check`.
pub(super) fn fit(ground: &Ground, state: &State, quieted: &Quieted) -> Result<Fitted, String> {
    let said = |refusals: Refusals| refusals.to_string();
    let display = display::read(&ground.display_name, &state.display).map_err(said)?;
    let mapping = mapping::read(&ground.mapping_name, &state.mapping).map_err(said)?;
    // The start is of the budget alone, and that is not touched.
    let fitted = prepare(&mapping, &display, ground.sound, ground.rate, Start::Cold, ground.arith);
    let (mut prepared, names) = fitted.map_err(said)?;
    let warnings = mapping.warnings.iter().chain(&names.warnings);
    let warnings = warnings.map(|finding| finding.title().to_owned()).collect();
    for (route, name) in prepared.mapper.routes.iter_mut().zip(&names.routes) {
        if !quieted.lets(name) {
            route.weight = 0.0;
        }
    }
    let listener = Listener::new(&prepared).map_err(|error| error.to_string())?;
    let view = view(&prepared, &listener, &names.routes, &display, warnings);
    Ok(Fitted { listener: Box::new(listener), view })
}

fn view(
    prepared: &Prepared,
    listener: &Listener,
    names: &[String],
    display: &Display,
    warnings: Vec<String>,
) -> View {
    let bands = listener.analysis().bands();
    let route = |(route, name): (&RouteSettings, &String)| {
        let heard = || route.bands.iter().filter_map(|&band| bands.get(band));
        RouteView {
            name: name.clone(),
            values: route.values(),
            bands_hz: heard().map(|it| (it.request.low_hz.0, it.request.high_hz.0)).collect(),
            delay_s: heard().map(|it| it.delay_s.0).fold(0.0, f64::max),
            coils: route.coils.iter().map(|coil| coil.0).collect(),
        }
    };
    View {
        routes: prepared.mapper.routes.iter().zip(names).map(route).collect(),
        warnings,
        trims: display.blocks.iter().flat_map(|block| block.trims.iter().copied()).collect(),
    }
}
