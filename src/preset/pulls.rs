//! What a display says of lifting, put together: the pull of every coil on the fluid.

use super::display::{Block, CoilShape, CoilType, Display};
use super::wishes::seen;
use crate::coil::iron::Iron;
use crate::coil::lift::array::{Placed, Site, biases, sites};
use crate::coil::lift::{Bench, PullLaw, Watched};
use crate::coil::space::Vec3;
use crate::mapper::Place;
use crate::units::Amps;

/// Pull of one coil on its fluid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnownPull {
    /// Pull over weight against current, as a share of `full`. In the field of all magnets.
    pub law: PullLaw,
    /// The current that the law calls 1: the whole rail over the winding at room temperature.
    pub full: Amps,
    /// Pull at which lifted fluid drops, over that at which it lifts.
    pub drop_share: f64,
    /// Whether the duty at which it lifts was seen, and the law was brought in line with it.
    pub seen: bool,
}

/// Fluid this close to a coil's axis is pulled to the wall, other fluid along the wall to the axis.
const ON_AXIS_MM: f64 = 0.5;

/// What is missing before pulls are known: keys of the display file, in words.
pub type Missing = Vec<String>;

/// Everything that lifts, put on its bench: one for each pair of a coil type and a rail.
#[derive(Debug)]
pub struct Lifting<'a> {
    display: &'a Display,
    irons: Vec<Option<Iron>>,
    kinds: Vec<Kind>,
    coils: Vec<Placed>,
}

/// A coil type on a rail.
#[derive(Debug, Clone, Copy)]
struct Kind {
    coil_type: usize,
    rail: usize,
    full_a: f64,
}

impl<'a> Lifting<'a> {
    /// What a display says.
    ///
    /// # Errors
    /// With what it does not say.
    pub fn new(display: &'a Display) -> Result<Self, Missing> {
        let missing = missing(display);
        if !missing.is_empty() {
            return Err(missing);
        }
        let iron = |coil: &CoilType| coil.shape.as_ref().and_then(CoilShape::iron);
        let (mut kinds, mut coils) = (Vec::<Kind>::new(), Vec::new());
        for block in &display.blocks {
            let same = |kind: &Kind| (kind.coil_type, kind.rail) == (block.coil_type, block.rail);
            let kind = kinds.iter().position(same).unwrap_or_else(|| {
                let Block { coil_type, rail, .. } = *block;
                kinds.push(Kind { coil_type, rail, full_a: display.full_a(block) });
                kinds.len() - 1
            });
            let placed = |place: &Place| Placed {
                kind,
                x_m: place.x_mm.0 * 1e-3,
                y_m: place.y_mm.0 * 1e-3,
                magnet: true,
            };
            coils.extend(block.place.value.places().iter().map(placed));
        }
        let irons = display.coil_types.iter().map(iron).collect();
        Ok(Self { display, irons, kinds, coils })
    }

    /// The bench of each kind.
    pub fn benches(&self) -> Vec<Bench<'_>> {
        self.kinds.iter().filter_map(|kind| self.bench(kind)).collect()
    }

    /// Name of the coil type of each kind, and its full current, A.
    pub fn kinds(&self) -> Vec<(&str, f64)> {
        let named = |kind: &Kind| {
            let coil_type = self.display.coil_types.get(kind.coil_type);
            (coil_type.map_or("", |it| it.name.value.as_str()), kind.full_a)
        };
        self.kinds.iter().map(named).collect()
    }

    /// Coils in display order.
    pub fn coils(&self) -> &[Placed] {
        &self.coils
    }

    /// Where the display says that the magnets' faces stand, m; negative is behind the front copper.
    pub fn face_z_m(&self) -> Option<f64> {
        let behind = self.display.magnet.as_ref()?.behind_mm.as_ref()?;
        Some(-behind.value * 1e-3)
    }

    /// Every coil among its neighbours.
    pub fn sites(&self, face_z_m: f64) -> Vec<Site> {
        sites(&self.benches(), face_z_m, &self.coils).into_iter().flatten().collect()
    }

    /// Pull over weight of all magnets alone, coil by coil.
    pub fn biases(&self, face_z_m: f64) -> Vec<f64> {
        biases(&self.benches(), face_z_m, &self.coils)
    }

    /// What was seen of every coil, in display order. Duties hold for the distance at which they were
    /// seen, which is the one that the display states: without it they say nothing.
    pub fn watched(&self) -> Vec<Option<Watched>> {
        let any = self.display.blocks.iter().any(|block| block.lifts.is_some());
        let (Some(face_z_m), true) = (self.face_z_m(), any) else {
            return vec![None; self.coils.len()];
        };
        let all = sites(&self.benches(), face_z_m, &self.coils).into_iter().enumerate();
        all.map(|(coil, site)| self.watch(coil, &site?.law)).collect()
    }

    /// `law` is the coil's at the distance that the display states.
    fn watch(&self, coil: usize, law: &PullLaw) -> Option<Watched> {
        let (block, place) = self.block_of(coil)?;
        let full_a = self.kinds.get(self.coils.get(coil)?.kind)?.full_a;
        let (lift_u, drop_u) = seen(self.display, block, place, full_a)?;
        law.watched(lift_u, drop_u)
    }

    /// A law at any distance brought in line with what was seen of its coil, and the share at which
    /// it then drops.
    pub fn calibrated(&self, law: &PullLaw, watched: Option<Watched>) -> (PullLaw, f64) {
        let drop_share = self.display.fluid.as_ref().map_or(1.0, |fluid| fluid.drop_share);
        watched.map_or((*law, drop_share), |seen| seen.corrects(law, drop_share))
    }

    /// The block of a coil, and its place there.
    fn block_of(&self, coil: usize) -> Option<(&Block, usize)> {
        let mut first = 0;
        for block in &self.display.blocks {
            let count = block.channels.value.len();
            if coil < first + count {
                return Some((block, coil - first));
            }
            first += count;
        }
        None
    }

    fn bench(&self, kind: &Kind) -> Option<Bench<'_>> {
        let coil_type = self.display.coil_types.get(kind.coil_type)?;
        let (fluid, magnet) = (self.display.fluid.as_ref()?, self.display.magnet.as_ref()?);
        let on_axis = fluid.below_mm < ON_AXIS_MM;
        Some(Bench {
            winding: &coil_type.shape.as_ref()?.shape.value.winding,
            iron: self.irons.get(kind.coil_type)?.as_ref(),
            full: Amps(kind.full_a),
            magnet: magnet.physics()?,
            shunt: magnet.shunt.unwrap_or(1.0),
            at: Vec3::new(0.0, -fluid.below_mm * 1e-3, fluid.ahead_mm * 1e-3),
            along: if on_axis { Vec3::new(0.0, 0.0, -1.0) } else { Vec3::UP },
            fluid: fluid.ferrofluid(),
            blob: fluid.blob(),
            density_difference_kg_per_m3: fluid.density_difference(),
            interface_n_per_m: fluid.interface_mn_per_m * 1e-3,
        })
    }
}

impl Display {
    /// Pull of every coil, in display order, in the field of all magnets; none where the file does
    /// not say enough. What was seen of a coil counts more than what was reckoned.
    pub fn pulls(&self) -> Vec<Option<KnownPull>> {
        let nothing = || vec![None; self.coil_count()];
        let Ok(lifting) = Lifting::new(self) else { return nothing() };
        let Some(face_z_m) = lifting.face_z_m() else { return nothing() };
        let all = sites(&lifting.benches(), face_z_m, lifting.coils());
        let coils = all.into_iter().zip(lifting.coils()).enumerate();
        coils
            .map(|(coil, (site, placed))| {
                let full = Amps(lifting.kinds.get(placed.kind)?.full_a);
                let law = site?.law;
                let watched = lifting.watch(coil, &law);
                let (law, drop_share) = lifting.calibrated(&law, watched);
                Some(KnownPull { law, full, drop_share, seen: watched.is_some() })
            })
            .collect()
    }
}

/// What has to be said besides, before any pull is known.
fn missing(display: &Display) -> Missing {
    let mut missing = Vec::new();
    for coil_type in display.coil_types.iter().filter(|coil_type| coil_type.shape.is_none()) {
        let name = &coil_type.name.value;
        missing.push(format!("[[coil_type]] \"{name}\": `shape.spiral` or `shape.wound`"));
    }
    let magnet = display.magnet.as_ref();
    if magnet.is_none_or(|magnet| magnet.body.is_none()) {
        let sizes = "`diameter_mm` (or `width_mm` and `height_mm`) and `thickness_mm`";
        missing.push(format!("[magnet]: {sizes}"));
    }
    if magnet.is_none_or(|magnet| magnet.remanence_t.is_none()) {
        missing.push("[magnet]: `remanence_t`, or the whole `grade`, as \"N42\"".into());
    }
    if display.fluid.is_none() {
        missing.push("[fluid]: `liquid`, `ahead_mm` and `below_mm`".into());
    }
    missing
}
