//! All coils of a display with each other's magnets and fields.

use super::bench::Bench;
use super::law::PullLaw;
use crate::coil::space::{Local, Vec3};

/// One coil among its neighbours.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Pull over weight in the field of all magnets.
    pub law: PullLaw,
    /// The bias with the own magnet alone, for comparison.
    pub q0_alone: f64,
    /// The coil that disturbs most, and how: nothing for a display of one coil.
    pub nearest: Option<Crosstalk>,
    /// Pull of all others together at full current, against the own coil's, percent, in the bias of
    /// all magnets.
    pub all_percent: f64,
}

/// What another coil at full current does at this one's fluid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crosstalk {
    /// Its number.
    pub coil: usize,
    /// Its field along the axis against the own coil's, percent.
    pub field_percent: f64,
    /// What it adds to the pull against the own coil, percent, in the bias of all magnets.
    pub pull_percent: f64,
}

/// Equal coils at `places_m` (x, y), each with a magnet whose face lies at `face_z_m`; coils marked
/// false have none. Places and marks are paired; what is left over is not looked at.
pub fn sites(
    bench: &Bench<'_>,
    face_z_m: f64,
    places_m: &[(f64, f64)],
    with_magnet: &[bool],
) -> Vec<Site> {
    let coils: Vec<(Vec3, bool)> = places_m
        .iter()
        .zip(with_magnet)
        .map(|((x, y), magnet)| (Vec3::new(*x, *y, 0.0), *magnet))
        .collect();
    (0..coils.len()).filter_map(|number| site(bench, face_z_m, &coils, number)).collect()
}

fn site(bench: &Bench<'_>, face_z_m: f64, coils: &[(Vec3, bool)], number: usize) -> Option<Site> {
    let (own_place, own_magnet) = *coils.get(number)?;
    // Everything else, seen from the fluid of this coil.
    let from = |place: Vec3| Bench { at: bench.at + own_place - place, ..*bench };
    let magnets = coils.iter().filter(|(_, magnet)| *magnet);
    let bias = magnets.fold(Local::default(), |sum, (place, _)| sum + from(*place).bias(face_z_m));
    let law = bench.law_with(bias);
    let q0_alone = if own_magnet { bench.law(face_z_m).q0 } else { 0.0 };
    let own = bench.coil();
    let own_pull = cross(bias, own);
    let others = coils.iter().enumerate().filter(|(other, _)| *other != number);
    let mut site = Site { law, q0_alone, nearest: None, all_percent: 0.0 };
    for (coil, (place, _)) in others {
        let field = from(*place).coil();
        let pull_percent = 100.0 * cross(bias, field) / own_pull;
        let field_percent = 100.0 * field.field.z / own.field.z;
        let found = Crosstalk { coil, field_percent, pull_percent };
        site.all_percent += pull_percent;
        let worse = site.nearest.is_none_or(|worst| worst.pull_percent.abs() < pull_percent.abs());
        if worse {
            site.nearest = Some(found);
        }
    }
    Some(site)
}

/// Pull that a coil adds in a bias, but for a factor that all coils share. Without bias there is only
/// what the coil does by itself.
fn cross(bias: Local, coil: Local) -> f64 {
    bias.field.dot(coil.slope) + coil.field.dot(bias.slope) + coil.field.dot(coil.slope)
}
