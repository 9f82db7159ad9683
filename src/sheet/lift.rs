//! What a magnet behind the coils is worth: for each kind of coil, and for each coil among the others.

use serde::Serialize;

use super::lift_advice::array_advice;
use crate::coil::fluid::liquid::LiquidError;
use crate::coil::fluid::spikes::Surface;
use crate::coil::iron::{Iron, Shield, shield};
use crate::coil::lift::advice::sentences;
use crate::coil::lift::array::Site;
use crate::coil::lift::tolerance::{Warm, cases};
use crate::coil::lift::{Bench, BiasError, PullLaw, Watched};
use crate::preset::pulls::{Lifting, Missing};
use crate::preset::{Display, coil_labels};
use crate::units::Celsius;
use thiserror::Error;

/// What is wanted of a magnet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wanted {
    /// Share of the lifting pull that the coil with the most bias is to get; none takes the distance
    /// that the display states.
    pub share: Option<f64>,
    /// Whether it is to get that when magnet and liquid are warm, and not at 20 C.
    pub warm: bool,
    /// How warm the magnet gets.
    pub magnet: Celsius,
    /// How warm fluid and liquid get.
    pub liquid: Celsius,
}

/// Why nothing can be said.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum LiftError {
    /// The display file does not say enough.
    #[error("the display does not say enough: add {}", .0.join("; "))]
    Missing(Missing),
    /// No distance is stated, and none was asked for.
    #[error(
        "the display does not say how far the magnet stands behind the coils: add `behind_mm` to \
         [magnet], or ask for a distance with --share"
    )]
    NoDistance,
    /// Warm magnets are weaker, so that cold ones would lift alone.
    #[error(
        "a bias of {share} when warm is {cold:.2} when cold: magnets would hold the fluid up by themselves \
         cold; ask for less than {:.2}, or for a magnet that stays cooler", share / cold
    )]
    Cold {
        /// Asked for, warm.
        share: f64,
        /// What that is at 20 C.
        cold: f64,
    },
    /// No distance gives it.
    #[error(transparent)]
    Bias(#[from] BiasError),
    /// The liquid is not known at that temperature.
    #[error(transparent)]
    Liquid(#[from] LiquidError),
}

/// The whole sheet.
#[derive(Debug, Clone, Serialize)]
pub struct LiftSheet {
    /// Name of the display.
    pub display: String,
    /// Distance of the magnets' faces behind the coils' front copper, mm.
    pub behind_mm: f64,
    /// What the display states, mm: duties at which coils lift were seen there.
    pub stated_mm: Option<f64>,
    /// True when it was found for a share, false when the display states it.
    pub found: bool,
    /// Fluid less liquid, kg/m3 at 20 C.
    pub density_difference_kg_per_m3: f64,
    /// Reduced weight, N/m3.
    pub weight_n_per_m3: f64,
    /// Kinds of coil, each on its own.
    pub kinds: Vec<KindLift>,
    /// Coils in display order.
    pub coils: Vec<CoilLift>,
    /// What is to be done about all coils together.
    pub advice: Vec<String>,
}

/// One kind of coil with its own magnet alone.
#[derive(Debug, Clone, Serialize)]
pub struct KindLift {
    /// Name of the coil type.
    pub name: String,
    /// Full current, A.
    pub full_a: f64,
    /// Coil's field at the fluid at full current, mT.
    pub coil_mt: f64,
    /// Magnet's there, mT.
    pub bias_mt: f64,
    /// Pull over weight, its law.
    pub law: Law,
    /// With the fluid's saturation: pull at full current.
    pub saturating_pull: f64,
    /// Pull over weight of the coil alone at full current.
    pub alone: f64,
    /// What full current adds, over what it adds without the magnet.
    pub gain: f64,
    /// Share of full current of least pull: never go beyond.
    pub least_pull_u: f64,
    /// With one thing off at a time.
    pub cases: Vec<CaseLine>,
    /// Sentences.
    pub advice: Vec<String>,
    /// Pull over weight against current for several distances: mm, then pull at `CURVE_US`.
    pub curves: Vec<(f64, Vec<f64>)>,
}

/// q = q0 + c1 u + c2 u^2, and where fluid lifts and drops.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Law {
    /// The magnet alone.
    pub q0: f64,
    /// Together.
    pub c1: f64,
    /// The coil alone.
    pub c2: f64,
    /// Share of full current at which fluid lifts, where any does.
    pub lift_u: Option<f64>,
    /// Share of full current at which it drops, where any does.
    pub drop_u: Option<f64>,
}

/// A law with one thing off.
#[derive(Debug, Clone, Serialize)]
pub struct CaseLine {
    /// What.
    pub what: &'static str,
    /// Then.
    pub law: Law,
}

/// One coil among the others.
#[derive(Debug, Clone, Serialize)]
pub struct CoilLift {
    /// Number in display order, from 0.
    pub coil: usize,
    /// What it is called.
    pub name: String,
    /// Place, mm.
    pub place_mm: [f64; 2],
    /// Bias field of all magnets at its fluid, mT.
    pub bias_mt: f64,
    /// In the field of all magnets; brought in line with what was seen of the coil.
    pub law: Law,
    /// Bias of its own magnet alone.
    pub q0_alone: f64,
    /// Pull at which it drops over that at which it lifts.
    pub drop_share: f64,
    /// Whether the duties at which it lifts and drops were seen.
    pub seen: bool,
    /// The coil that disturbs most, its field here against the own one, percent.
    pub nearest: Option<(usize, f64)>,
    /// Pull of all others at full current against the own, percent.
    pub others_percent: f64,
}

/// Shares of full current at which curves are worked out: -1 to 1.
pub const CURVE_US: usize = 81;

/// The share of full current of a place in a curve.
pub fn curve_u(place: usize) -> f64 {
    place as f64 / (CURVE_US - 1) as f64 * 2.0 - 1.0
}

/// Nearest and furthest that a magnet is looked for, m.
const NEAREST_M: f64 = 0.5e-3;
const FURTHEST_M: f64 = 0.25;
/// Where what warmth takes is worked out, m: any place does.
const REFERENCE_M: f64 = 0.02;
/// First step away from where one coil alone gets its share, m.
const FIRST_STRIDE_M: f64 = 0.5e-3;
/// Distances of the curves, from the one that is set, mm.
const AROUND_MM: [f64; 5] = [-4.0, -2.0, 0.0, 2.0, 4.0];

/// Works everything out.
///
/// # Errors
/// When the display does not say enough, or no distance gives what is wanted.
pub fn lift_sheet(display: &Display, wanted: &Wanted) -> Result<LiftSheet, LiftError> {
    let lifting = Lifting::new(display).map_err(LiftError::Missing)?;
    let benches = lifting.benches();
    let watched = lifting.watched();
    let face_z_m = match wanted.share {
        Some(share) => {
            let share =
                if wanted.warm { cold_share(display, &benches, share, wanted)? } else { share };
            face_for(&lifting, &benches, &watched, share)?
        }
        None => lifting.face_z_m().ok_or(LiftError::NoDistance)?,
    };
    let fluid = display.fluid.as_ref();
    let drop_share = fluid.map_or(1.0, |fluid| fluid.drop_share);
    let mut kinds = Vec::new();
    for ((name, full_a), bench) in lifting.kinds().into_iter().zip(&benches) {
        let mut kind = kind_lift(display, bench, face_z_m, drop_share, wanted)?;
        (kind.name, kind.full_a) = (name.to_owned(), full_a);
        kinds.push(kind);
    }
    let sites = lifting.sites(face_z_m);
    let named = sites.iter().zip(&watched).zip(coil_labels(display)).enumerate();
    let coils: Vec<CoilLift> = named
        .map(|(coil, ((site, watched), name))| coil_lift(&lifting, coil, name, site, *watched))
        .collect();
    Ok(LiftSheet {
        display: display.name.clone(),
        behind_mm: -face_z_m * 1e3,
        stated_mm: lifting.face_z_m().map(|face| -face * 1e3),
        found: wanted.share.is_some(),
        density_difference_kg_per_m3: fluid.map_or(0.0, |fluid| fluid.density_difference()),
        weight_n_per_m3: benches.first().map_or(0.0, Bench::weight_n_per_m3),
        kinds,
        advice: array_advice(display, wanted, &coils),
        coils,
    })
}

/// The share at 20 C that is left as `share` when all is warm. Warmth takes the same part from every
/// bias, wherever the magnet stands, for pull goes with the square of its field.
fn cold_share(
    display: &Display,
    benches: &[Bench<'_>],
    share: f64,
    wanted: &Wanted,
) -> Result<f64, LiftError> {
    let (Some(bench), Some(fluid)) = (benches.first(), &display.fluid) else { return Ok(share) };
    let cases = cases(bench, -REFERENCE_M, &fluid.liquid, &warm(display, wanted))?;
    let bias = |what: &str| cases.iter().find(|case| case.what == what).map(|case| case.law.q0);
    let left = bias("all warm").zip(bias("as set")).map_or(1.0, |(warm, set)| warm / set);
    let cold = share / left;
    if cold >= 1.0 {
        return Err(LiftError::Cold { share, cold });
    }
    Ok(cold)
}

fn warm(display: &Display, wanted: &Wanted) -> Warm {
    let magnet_per_k = display.magnet.as_ref().map_or(0.0, |magnet| magnet.per_k);
    Warm { magnet: wanted.magnet, liquid: wanted.liquid, magnet_per_k }
}

/// The distance at which the coil with the most bias gets the share: alone first, then among the
/// others, whose magnets add to it or take from it, and as what was seen of each coil has it.
fn face_for(
    lifting: &Lifting<'_>,
    benches: &[Bench<'_>],
    watched: &[Option<Watched>],
    share: f64,
) -> Result<f64, BiasError> {
    let mut alone = f64::INFINITY;
    for bench in benches {
        // The furthest of what the kinds ask for, so that none lifts by itself.
        alone = alone.min(bench.face_for(share, -FURTHEST_M, -NEAREST_M)?);
    }
    let most = |face: f64| {
        let seen = |(q0, seen): (f64, &Option<Watched>)| q0 * seen.map_or(1.0, |it| it.factor);
        lifting.biases(face).into_iter().zip(watched).map(seen).fold(0.0, f64::max)
    };
    let at_alone = most(alone);
    let (mut below, mut above) = (alone, alone);
    let mut reached = at_alone;
    let mut stride = FIRST_STRIDE_M;
    while (reached < share) == (at_alone < share) {
        if at_alone < share {
            (below, above) = (above, (above + stride).min(-NEAREST_M));
            reached = most(above);
            if reached < share && above >= -NEAREST_M {
                return Err(BiasError::TooWeak { share, best: reached, face_z_m: above });
            }
        } else {
            (below, above) = ((below - stride).max(-FURTHEST_M), below);
            reached = most(below);
            if reached >= share && below <= -FURTHEST_M {
                return Err(BiasError::TooStrong { share, least: reached, face_z_m: below });
            }
        }
        stride *= 1.5;
    }
    for _ in 0..40 {
        let middle = f64::midpoint(below, above);
        if most(middle) < share { below = middle } else { above = middle }
    }
    Ok(f64::midpoint(below, above))
}

fn kind_lift(
    display: &Display,
    bench: &Bench<'_>,
    face_z_m: f64,
    drop_share: f64,
    wanted: &Wanted,
) -> Result<KindLift, LiftError> {
    let law = bench.law(face_z_m);
    let bias_t = bench.bias(face_z_m).field.length();
    let warm = warm(display, wanted);
    let mut lines = Vec::new();
    if let Some(fluid) = &display.fluid {
        for case in cases(bench, face_z_m, &fluid.liquid, &warm)? {
            lines.push(CaseLine { what: case.what, law: law_of(&case.law, drop_share) });
        }
    }
    let spikes = Surface {
        density_difference_kg_per_m3: bench.density_difference_kg_per_m3,
        // Nothing holds a surface without tension together, and nothing is said of its spikes.
        interface_n_per_m: bench.interface_n_per_m.max(1e-6),
        chi: bench.fluid.chi,
    }
    .spikes();
    let mut advice = sentences(&law, drop_share, bias_t, &spikes);
    advice.extend(warm_advice(&lines));
    advice.extend(shunt_advice(display, bench));
    let toward = if law.c1 < 0.0 { -1.0 } else { 1.0 };
    let curve = |off_mm: &f64| {
        let face = (face_z_m + off_mm * 1e-3).min(-NEAREST_M);
        let law = bench.law(face);
        (-face * 1e3, (0..CURVE_US).map(|place| law.pull(curve_u(place))).collect())
    };
    Ok(KindLift {
        name: String::new(),
        full_a: bench.full.0,
        coil_mt: bench.coil().field.length() * 1e3,
        bias_mt: bias_t * 1e3,
        law: law_of(&law, drop_share),
        saturating_pull: bench.saturating_pull(face_z_m, toward),
        alone: law.c2,
        gain: if law.c1 < 0.0 { (law.c2 - law.c1) / law.c2 } else { law.gain() },
        least_pull_u: law.least_pull_at(),
        cases: lines,
        advice,
        curves: AROUND_MM.iter().map(curve).collect(),
    })
}

/// Set warm, if warm is where it works.
fn warm_advice(cases: &[CaseLine]) -> Option<String> {
    let bias = |what: &str| cases.iter().find(|case| case.what == what).map(|case| case.law.q0);
    let (set, warm) = (bias("as set")?, bias("all warm")?);
    let grows = if warm > set { "grows" } else { "falls" };
    Some(format!(
        "Warm, the bias {grows} to {warm:.2} of the lifting pull: set the distance with magnet and liquid \
         as warm as they will be, or ask for a share with --warm."
    ))
}

/// Iron between magnet and coil, where nobody measured what it lets through.
fn shunt_advice(display: &Display, bench: &Bench<'_>) -> Option<String> {
    let magnet = display.magnet.as_ref()?;
    let Some(Iron::Plate { radius_m, .. }) = bench.iron else { return None };
    match shield(bench.magnet.radius_m(), *radius_m) {
        Shield::Measure { low, high } if magnet.shunt.is_none() => Some(format!(
            "The iron is wider than the magnet and leads its field around the fluid: {low} to {high} of it \
             may be left. Measure the field at the fluid with and without the iron and write the ratio \
             as `shunt` in [magnet]; here it is taken as 1. A disc no wider than the magnet, or one \
             with a hole, loses little."
        )),
        _ => None,
    }
}

fn law_of(law: &PullLaw, drop_share: f64) -> Law {
    let PullLaw { q0, c1, c2 } = *law;
    Law { q0, c1, c2, lift_u: law.lift(), drop_u: law.drop(drop_share) }
}

fn coil_lift(
    lifting: &Lifting<'_>,
    coil: usize,
    name: String,
    site: &Site,
    watched: Option<Watched>,
) -> CoilLift {
    let (law, drop_share) = lifting.calibrated(&site.law, watched);
    let place_mm = lifting.coils().get(coil).map_or([0.0; 2], |at| [at.x_m * 1e3, at.y_m * 1e3]);
    CoilLift {
        coil,
        name,
        place_mm,
        bias_mt: site.bias_t * 1e3,
        law: law_of(&law, drop_share),
        q0_alone: site.q0_alone * watched.map_or(1.0, |seen| seen.factor),
        drop_share,
        seen: watched.is_some(),
        nearest: site.nearest.map(|nearest| (nearest.coil, nearest.field_percent)),
        others_percent: site.all_percent,
    }
}
