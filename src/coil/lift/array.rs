//! All coils of a display with each other's magnets and fields.
//!
//! What one coil does at another one's fluid hangs only on its kind and on where it stands from
//! there, so that regular displays need few fields: each is worked out once.

use std::collections::HashMap;

use super::bench::Bench;
use super::law::PullLaw;
use crate::coil::space::{Local, Vec3};

/// A coil in its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Its bench: index into those given.
    pub kind: usize,
    /// To the right, m.
    pub x_m: f64,
    /// Up, m.
    pub y_m: f64,
    /// Whether a magnet stands behind it.
    pub magnet: bool,
}

/// One coil among its neighbours.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Pull over weight in the field of all magnets.
    pub law: PullLaw,
    /// The bias with the own magnet alone, for comparison.
    pub q0_alone: f64,
    /// Field of all magnets at the fluid, T.
    pub bias_t: f64,
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

/// Coils each on its bench, the faces of their magnets at `face_z_m`. Of all benches, the first
/// coil's says where fluid lies before a coil; the others are to say the same. A coil whose kind is
/// not there does nothing and gets no site.
pub fn sites(benches: &[Bench<'_>], face_z_m: f64, coils: &[Placed]) -> Vec<Option<Site>> {
    let mut known = Known::new(benches, face_z_m);
    (0..coils.len()).map(|number| known.site(coils, number)).collect()
}

/// Pull over weight of all magnets alone, coil by coil: what [`sites`] has as `q0`, and much cheaper.
pub fn biases(benches: &[Bench<'_>], face_z_m: f64, coils: &[Placed]) -> Vec<f64> {
    let mut known = Known::new(benches, face_z_m);
    let pull = |own: &Placed| {
        let bias = known.bias(coils, own);
        benches.get(own.kind).map_or(0.0, |bench| bench.law_of(bias, Local::default()).q0)
    };
    coils.iter().map(pull).collect()
}

/// Kind, and how far away in nanometres.
type From = (usize, i64, i64);

/// Magnets' and coils' fields, each worked out once.
struct Known<'a> {
    benches: &'a [Bench<'a>],
    face_z_m: f64,
    magnets: HashMap<From, Local>,
    coils: HashMap<From, Local>,
}

impl<'a> Known<'a> {
    fn new(benches: &'a [Bench<'a>], face_z_m: f64) -> Self {
        Self { benches, face_z_m, magnets: HashMap::new(), coils: HashMap::new() }
    }

    /// The bench of a coil, its fluid moved to where another one's lies.
    fn seen(&self, from: &Placed, to: &Placed) -> Option<(From, Bench<'a>)> {
        let bench = self.benches.get(from.kind)?;
        let (x, y) = (to.x_m - from.x_m, to.y_m - from.y_m);
        let at = bench.at + Vec3::new(x, y, 0.0);
        Some(((from.kind, nanometres(x), nanometres(y)), Bench { at, ..*bench }))
    }

    fn magnet(&mut self, from: &Placed, to: &Placed) -> Local {
        let Some((key, bench)) = self.seen(from, to) else { return Local::default() };
        *self.magnets.entry(key).or_insert_with(|| bench.bias(self.face_z_m))
    }

    fn coil(&mut self, from: &Placed, to: &Placed) -> Local {
        let Some((key, bench)) = self.seen(from, to) else { return Local::default() };
        *self.coils.entry(key).or_insert_with(|| bench.coil())
    }

    /// Field of all magnets at a coil's fluid.
    fn bias(&mut self, coils: &[Placed], own: &Placed) -> Local {
        let magnets = coils.iter().filter(|coil| coil.magnet);
        magnets.fold(Local::default(), |sum, coil| sum + self.magnet(coil, own))
    }

    fn site(&mut self, coils: &[Placed], number: usize) -> Option<Site> {
        let own = *coils.get(number)?;
        let bench = *self.benches.get(own.kind)?;
        let own_coil = self.coil(&own, &own);
        let bias = self.bias(coils, &own);
        let alone = if own.magnet { self.magnet(&own, &own) } else { Local::default() };
        let own_pull = cross(bias, own_coil);
        let mut site = Site {
            law: bench.law_of(bias, own_coil),
            q0_alone: bench.law_of(alone, own_coil).q0,
            bias_t: bias.field.length(),
            nearest: None,
            all_percent: 0.0,
        };
        for (coil, other) in coils.iter().enumerate().filter(|(coil, _)| *coil != number) {
            let field = self.coil(other, &own);
            let pull_percent = 100.0 * cross(bias, field) / own_pull;
            let field_percent = 100.0 * field.field.z / own_coil.field.z;
            let found = Crosstalk { coil, field_percent, pull_percent };
            site.all_percent += pull_percent;
            let least = site.nearest.map_or(-1.0, |worst| worst.pull_percent.abs());
            if least < pull_percent.abs() {
                site.nearest = Some(found);
            }
        }
        Some(site)
    }
}

#[expect(clippy::cast_possible_truncation, reason = "displays are some metres wide")]
fn nanometres(metres: f64) -> i64 {
    libm::round(metres * 1e9) as i64
}

/// Pull that a coil adds in a bias, but for a factor that all coils share. Without bias there is only
/// what the coil does by itself.
fn cross(bias: Local, coil: Local) -> f64 {
    bias.field.dot(coil.slope) + coil.field.dot(bias.slope) + coil.field.dot(coil.slope)
}
