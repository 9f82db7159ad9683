//! A mapping on a display, for a sound: settings of all stages, without names and options.

use super::check::{self, places_of};
use super::display::Display;
use super::ears::Ears;
use super::finding::{At, Finding, Refusals, Source, Weight};
use super::mapping::{Curve, Mapping, Moves, Quiet, Range, Route};
use super::motions;
use super::names::{self, CoilName, Names};
use super::narrow::{Narrow, fitted};
use super::prepare_budget::{prepare_pulls, seconds};
use super::wishes;
use super::words::{listing, nearest, rounded};
use crate::analysis::{AnalysisSettings, Arith, BandRequest, Knowing};
use crate::audio::SoundFormat;
use crate::budget::{BudgetSettings, Start};
use crate::engine::Prepared;
use crate::mapper::{
    self, Combine, EnvelopeSettings, LONGEST_FRONT_S, Mapper, MapperError, MapperSettings, Place,
    RangeShape, RouteSettings,
};
use crate::units::{CoilId, Hertz, Rate, Seconds};

/// Fits a mapping to a display and to the sound to come.
///
/// Bands that several routes hear are measured once.
///
/// # Errors
/// When the start heat is of another display, or the mapping names a group that the display does
/// not have, a motion that its coils cannot make, or a band that cannot be told apart in such a
/// sound; the findings point into the mapping file.
pub fn prepare(
    mapping: &Mapping,
    display: &Display,
    sound: SoundFormat,
    rate: Rate,
    start: Start,
    arith: Arith,
) -> Result<(Prepared, Names), Refusals> {
    check::start(&start, display)?;
    let (groups, coils) = names::coils(display);
    let places = motions::seen(mapping, &places_of(display));
    let mut fit = Fit {
        mapping,
        groups: &groups,
        coils: &coils,
        places: &places,
        bands: vec![],
        ears: Ears::on(display),
        findings: vec![],
    };
    let numbered = (1..).zip(&mapping.routes);
    let routes = numbered.map(|(n, route)| fit.route(n, route, display, sound)).collect();
    let resting = mapping.idle.as_ref().map(|idle| fit.group("idle, group", &idle.group, display));
    let passages = fit.ears.passages(mapping);
    let Fit { bands, ears, findings, .. } = fit;
    let (refused, warnings): (Vec<_>, Vec<_>) =
        findings.into_iter().partition(|finding| finding.weight() == Weight::Refusal);
    if !refused.is_empty() {
        return Err(Refusals::new(refused));
    }
    let mut warnings = warnings;
    warnings.extend(slow_frames(display, rate));
    let budget = prepare_pulls(display, rate, start);
    warnings.extend(wishes::hanging(display, &budget));
    let names = Names {
        display: display.name.clone(),
        mapping: mapping.name.clone(),
        rails: display.rails.iter().map(|rail| rail.name.value.clone()).collect(),
        routes: mapping.routes.iter().map(|route| route.name.value.clone()).collect(),
        bands: bands.iter().map(names::band).collect(),
        warnings,
        coils,
        groups,
    };
    let quiet_dbfs = match mapping.quiet {
        Quiet::Follow => None,
        Quiet::Fixed { level_dbfs } => Some(level_dbfs),
    };
    let prepared = Prepared {
        analysis: AnalysisSettings {
            sound,
            frame_rate: rate,
            bands,
            ears: ears.requests,
            knowing: Knowing::Nothing,
            quiet_dbfs,
            arith,
        },
        mapper: MapperSettings {
            frame_rate: rate,
            places,
            routes,
            combine: mapping.combine,
            passages,
            rest_s: seconds(mapping.rest_ms),
            idle: motions::idle(mapping, resting.unwrap_or_default()),
            trims: motions::trims(display),
            master: mapping.master,
        },
        budget: BudgetSettings { ride: Seconds(display.driver.ride_s), ..budget },
    };
    try_motions(mapping, &prepared.mapper)?;
    Ok((prepared, names))
}

/// What only shows when the coils' places meet the motion, as coils in a row across its axis.
fn try_motions(mapping: &Mapping, settings: &MapperSettings) -> Result<(), Refusals> {
    let Err(error) = Mapper::new(settings) else { return Ok(()) };
    let route = match error {
        MapperError::Route { route, .. } => mapping.routes.get(route),
        _ => None,
    };
    let title = error.to_string();
    let finding = match route.map(|route| route.moves.group()) {
        Some(group) => {
            let mark = mapping.source.mark(&group.span, "these coils");
            Finding::new(Weight::Refusal, title, mark)
        }
        None => Finding::placeless(Weight::Refusal, title),
    };
    Err(finding.into())
}

/// A driver that lets go before the next frame is due.
fn slow_frames(display: &Display, rate: Rate) -> Option<Finding> {
    let period_ms = rate.period().0 * 1000.0;
    let hold_ms = display.driver.hold_ms;
    (period_ms > hold_ms).then(|| {
        let title = format!(
            "at {rate} frames/s a frame lasts {period_ms:.0} ms, but the driver of \"{}\" lets go \
             after {hold_ms} ms",
            display.name
        );
        Finding::placeless(Weight::Warning, title).help("render with a higher --rate")
    })
}

/// The mapping half of the work, and what it found.
struct Fit<'a> {
    mapping: &'a Mapping,
    groups: &'a [String],
    coils: &'a [CoilName],
    /// As the mapping sees them.
    places: &'a [Place],
    bands: Vec<BandRequest>,
    ears: Ears,
    findings: Vec<Finding>,
}

impl Fit<'_> {
    fn route(
        &mut self,
        number: usize,
        route: &Route,
        display: &Display,
        sound: SoundFormat,
    ) -> RouteSettings {
        let weight = &route.weight;
        // Where wishes add up or lie over each other, a negative one holds others back.
        if weight.value < 0.0 && !display.driver.two_way() && self.mapping.combine == Combine::Max {
            let name = &display.name;
            let title = format!("route {number}, weight: display \"{name}\" has a one-way driver");
            let label = "it cannot push back: coils where this route is strongest are off";
            self.find(Weight::Warning, weight, title, label);
        }
        let coils = self.group(&format!("route {number}, moves"), route.moves.group(), display);
        let motion = motions::motion(&route.moves, &coils, self.places);
        self.check_delay(number, &route.moves, motions::longest_s(&motion, &coils, self.places));
        RouteSettings {
            hears: self.ears.hears(&route.hears.value),
            bands: self.bands(number, route, sound),
            range: range(route.range),
            curve: curve(route.curve),
            envelope: EnvelopeSettings {
                attack_s: seconds(route.attack_ms),
                release_s: seconds(route.release_ms),
                hold_s: seconds(route.hold_ms),
            },
            motion,
            coils,
            weight: weight.value,
            priority: route.priority.value,
        }
    }

    /// A front must reach its farthest coil while what it shows is still remembered.
    fn check_delay(&mut self, number: usize, moves: &Moves, longest_s: f64) {
        let Moves::Outward { mm_per_s: speed, .. } = moves else { return };
        if longest_s > LONGEST_FRONT_S {
            let title = format!(
                "route {number}, moves.outward.mm_per_s: at {} mm/s a front needs {} s to its farthest coil",
                speed.value,
                rounded(longest_s)
            );
            let enough = libm::ceil(speed.value * longest_s / LONGEST_FRONT_S);
            let label = format!("{LONGEST_FRONT_S} s are accepted: write at least {enough} mm/s");
            self.find(Weight::Refusal, speed, title, label);
        }
    }

    /// Indices of the route's bands, new ones added at the end.
    fn bands(&mut self, number: usize, route: &Route, sound: SoundFormat) -> Vec<usize> {
        let (channel, weighting) = (route.channel, route.weighting);
        let may_widen = route.hears.value.may_widen();
        let mut indices = Vec::new();
        let mut problems = Vec::new();
        let mut narrow = Narrow::default();
        for (low, high) in route.hears.value.bands_hz() {
            let asked =
                BandRequest { low_hz: Hertz(low), high_hz: Hertz(high), channel, weighting };
            let (band, problem) = fitted(sound, asked, may_widen, &mut narrow);
            problems.extend(problem);
            indices.push(self.bands.iter().position(|known| *known == band).unwrap_or_else(|| {
                self.bands.push(band);
                self.bands.len() - 1
            }));
        }
        for problem in problems {
            let title = format!("route {number}, hears: {problem}");
            self.find(Weight::Refusal, &route.hears, title, "write a wider band");
        }
        for (title, label) in narrow.told(indices.len()) {
            let title = format!("route {number}, hears: {title}");
            self.find(Weight::Warning, &route.hears, title, label);
        }
        indices
    }

    fn group(&mut self, path: &str, group: &At<String>, display: &Display) -> Vec<CoilId> {
        let all = group.value == "all";
        let index = self.groups.iter().position(|known| *known == group.value);
        if index.is_none() && !all {
            let (name, wanted) = (&display.name, &group.value);
            let title = format!("{path}: display \"{name}\" has no group \"{wanted}\"");
            let known = self.groups.iter().map(String::as_str).chain(["all"]);
            let label = match nearest(&group.value, known.clone()) {
                Some(near) => format!("did you mean \"{near}\"?"),
                None => format!("it has {}", listing('"', &known.collect::<Vec<_>>())),
            };
            self.find(Weight::Refusal, group, title, label);
        }
        let members = (0_u32..).zip(self.coils);
        members
            .filter(|(_, coil)| all || Some(coil.group) == index)
            .map(|(number, _)| CoilId(number))
            .collect()
    }

    fn find<T>(&mut self, weight: Weight, at: &At<T>, title: String, label: impl Into<String>) {
        let source: &Source = &self.mapping.source;
        self.findings.push(Finding::new(weight, title, source.mark(&at.span, label)));
    }
}

fn range(range: Range) -> RangeShape {
    match range {
        Range::Follow { floor_db, full_db } => RangeShape::Follow { floor_db, full_db },
        Range::Fixed { floor_dbfs, full_dbfs } => RangeShape::Fixed { floor_dbfs, full_dbfs },
    }
}

fn curve(curve: Curve) -> mapper::Curve {
    match curve {
        Curve::Straight => mapper::Curve::Straight,
        Curve::Soft => mapper::Curve::Soft,
        Curve::Power { exponent } => mapper::Curve::Power(exponent),
    }
}
