//! What a display says of lifting: shape and iron of its coils, and its fluid. As written, checked.

use serde::Serialize;

use super::finding::At;
use super::limits::AWG;
use super::limits_lift::{
    AHEAD, BELOW, BLOB_LENGTH, BLOB_RADIUS, CHI, COPPER, DEMAGNETISING, DENSITY, DROP_SHARE,
    ENAMEL, EXPANSION, GAP, INNER, IRON_DIAMETER, IRON_GAP, IRON_THICKNESS, LAYER_PITCH, LAYERS,
    LIQUID_DENSITY, MU_R, NACL, OUTER, SALINITY, SATURATION, TENSION, TRACE, WIRE, WOUND_LENGTH,
};
use super::section::Section;
use super::values::{Menu, Picked};
use super::words::rounded;
use crate::coil::fluid::{Blob, Ferrofluid, Liquid, TYPICAL};
use crate::coil::geometry::{Shape, SpiralShape, WireSize, WoundShape};
use crate::coil::iron::Iron;
use crate::coil::winding::Winding;
use crate::units::Celsius;

/// At which densities hold.
const ROOM_TEMPERATURE: Celsius = Celsius(20.0);
/// Less than this, kg/m3, no balance tells apart, and nothing falls back.
const LEAST_DIFFERENCE: f64 = 1.0;

/// Shape of a coil, with the winding that it makes.
#[derive(Debug, Clone, Serialize)]
pub struct CoilShape {
    /// As written.
    pub shape: At<Made>,
    /// Iron behind it, where there is some.
    pub iron: Option<IronBehind>,
}

/// A shape that can be made.
#[derive(Debug, Clone)]
pub struct Made {
    /// As on a drawing.
    pub shape: Shape,
    /// Its turns.
    pub winding: Winding,
}

impl Serialize for Made {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        // Rust's own words for numbers are the shortest that read back the same.
        serializer.collect_str(&format_args!("{:?}", self.shape))
    }
}

/// Iron behind a coil.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct IronBehind {
    /// From the last copper to its face, mm.
    pub gap_mm: f64,
    /// Its thickness, mm.
    pub thickness_mm: f64,
    /// Of a disc behind one coil, mm; left out: a plate behind all.
    pub diameter_mm: Option<f64>,
    /// Relative permeability; default 1000.
    pub mu_r: f64,
}

impl CoilShape {
    /// The iron, seen from this coil's front copper.
    pub fn iron(&self) -> Option<Iron> {
        let depth_m = self.shape.value.winding.depth_m();
        self.iron.map(|iron| Iron::Plate {
            face_z_m: -depth_m - iron.gap_mm * 1e-3,
            thickness_m: iron.thickness_mm * 1e-3,
            radius_m: iron.diameter_mm.map_or(f64::INFINITY, |mm| mm * 5e-4),
            mu_r: iron.mu_r,
        })
    }
}

/// The fluid, the liquid around it, and where it lies. Figures hold for 20 C.
#[derive(Debug, Clone, Serialize)]
pub struct Fluid {
    /// Saturation magnetisation, kA/m; default 35.
    pub saturation_ka_per_m: f64,
    /// Initial susceptibility, SI; default 1.7.
    pub susceptibility: f64,
    /// Density, kg/m3; default 1210.
    pub density_kg_per_m3: At<f64>,
    /// The clear liquid around it.
    #[serde(serialize_with = "words_of")]
    pub liquid: Liquid,
    /// Tension between the two, mN/m; 0 for a blob that is already free; default 5.
    pub interface_mn_per_m: f64,
    /// From the coils' front copper to the fluid, mm.
    pub ahead_mm: f64,
    /// From the coil's axis down to the fluid, mm.
    pub below_mm: f64,
    /// Half the width of what lifts at once, mm; default 5.
    pub blob_radius_mm: f64,
    /// Its length along its way, mm; default twice the radius.
    pub blob_length_mm: f64,
    /// Demagnetising factor of its shape; default 1/3, a ball.
    pub demagnetising: f64,
    /// Pull at which lifted fluid drops over that at which it lifts; default 0.6 (an estimate).
    pub drop_share: f64,
}

fn words_of<S: serde::Serializer>(liquid: &Liquid, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(&format_args!("{liquid:?}"))
}

impl Fluid {
    /// As the physics has it.
    pub fn ferrofluid(&self) -> Ferrofluid {
        Ferrofluid {
            saturation_a_per_m: self.saturation_ka_per_m * 1e3,
            chi: self.susceptibility,
            density_kg_per_m3: self.density_kg_per_m3.value,
        }
    }

    /// Density of the fluid less that of the liquid at 20 C, kg/m3; above 0.
    pub fn density_difference(&self) -> f64 {
        self.density_kg_per_m3.value - self.liquid.density(ROOM_TEMPERATURE).unwrap_or(f64::NAN)
    }

    /// Its shape.
    pub fn blob(&self) -> Blob {
        Blob {
            demagnetising: self.demagnetising,
            radius_m: self.blob_radius_mm * 1e-3,
            length_m: self.blob_length_mm * 1e-3,
        }
    }
}

/// Shape and iron of a kind of coil, if anything is said of them.
pub(super) fn read_shape(section: &mut Section<'_>) -> Option<CoilShape> {
    const MENU: Menu = Menu {
        words: &[],
        tables: &[
            (
                "spiral",
                "shape.spiral = { inner_mm = 5, outer_mm = 35, trace_mm = 0.3, space_mm = 0.2 }",
            ),
            ("wound", "shape.wound = { inner_mm = 8, outer_mm = 20, length_mm = 12, awg = 28 }"),
        ],
    };
    let picked = section.menu("shape", &MENU, false);
    let iron = read_iron(section);
    let picked = picked?;
    let Picked::Table(tag, mut table) = picked.value else { return None };
    let shape = if tag == "spiral" { read_spiral(&mut table) } else { read_wound(&mut table) };
    table.finish();
    let shape = shape?;
    match shape.wind() {
        Ok(winding) => {
            let shape = At { value: Made { shape, winding }, span: picked.span };
            Some(CoilShape { shape, iron })
        }
        Err(error) => {
            let title = format!("{}: {error}", section.path("shape"));
            section.pad.refuse(&picked.span, title, "this cannot be made");
            None
        }
    }
}

fn read_spiral(table: &mut Section<'_>) -> Option<Shape> {
    let [inner, outer, trace, space] = [&INNER, &OUTER, &TRACE, &GAP].map(|key| table.number(key));
    let layers = table.whole_or(&LAYERS, 1).value as usize;
    let copper = table.number_or_list(&COPPER, layers);
    let layer_pitch_mm = table.number_or(&LAYER_PITCH, 0.2).value;
    Some(Shape::Spiral(SpiralShape {
        inner_mm: inner?.value,
        outer_mm: outer?.value,
        trace_mm: trace?.value,
        space_mm: space?.value,
        copper_um: copper.map_or_else(|| vec![35.0; layers], |copper| copper.value),
        layer_pitch_mm,
    }))
}

fn read_wound(table: &mut Section<'_>) -> Option<Shape> {
    let [inner, outer, length] = [&INNER, &OUTER, &WOUND_LENGTH].map(|key| table.number(key));
    let (wire, awg) = (table.number_if(&WIRE), table.whole_if(&AWG));
    let said = (table.peek(WIRE.key).is_some(), table.peek(AWG.key).is_some());
    if said == (true, true) || said == (false, false) {
        let path = table.path(WIRE.key);
        let title = if said.0 {
            format!("{path}: the wire is said twice")
        } else {
            format!("{path}: the wire is missing")
        };
        table.pad.refuse(&table.span, title, "write either `wire_mm` or `awg`");
    }
    let enamel_um = table.number_or(&ENAMEL, 20.0).value;
    let gauge = awg.map(|awg| WireSize::Awg(awg.value));
    Some(Shape::Wound(WoundShape {
        inner_mm: inner?.value,
        outer_mm: outer?.value,
        length_mm: length?.value,
        wire: gauge.or(wire.map(|wire| WireSize::Metric(wire.value)))?,
        enamel_um,
    }))
}

fn read_iron(section: &mut Section<'_>) -> Option<IronBehind> {
    let mut iron = section.table("iron")?;
    let (gap, thickness) = (iron.number(&IRON_GAP), iron.number(&IRON_THICKNESS));
    let diameter_mm = iron.number_if(&IRON_DIAMETER).map(|diameter| diameter.value);
    let mu_r = iron.number_or(&MU_R, 1000.0).value;
    iron.finish();
    Some(IronBehind { gap_mm: gap?.value, thickness_mm: thickness?.value, diameter_mm, mu_r })
}

/// The fluid, if anything is said of it.
pub(super) fn read_fluid(root: &mut Section<'_>) -> Option<Fluid> {
    let mut section = root.table("fluid")?;
    let saturation = section.number_or(&SATURATION, TYPICAL.saturation_a_per_m / 1e3);
    let chi = section.number_or(&CHI, TYPICAL.chi);
    let density = section.number_or(&DENSITY, TYPICAL.density_kg_per_m3);
    let liquid = read_liquid(&mut section);
    let tension = section.number_or(&TENSION, 5.0);
    let (ahead, below) = (section.number(&AHEAD), section.number(&BELOW));
    let radius = section.number_or(&BLOB_RADIUS, 5.0).value;
    let length = section.number_or(&BLOB_LENGTH, 2.0 * radius).value;
    let demagnetising = section.number_or(&DEMAGNETISING, 1.0 / 3.0).value;
    let drop_share = section.number_or(&DROP_SHARE, 0.6).value;
    let heavier = liquid.and_then(|liquid| {
        let lighter = density.value - liquid.density(ROOM_TEMPERATURE).ok()?;
        (lighter < LEAST_DIFFERENCE).then_some(lighter)
    });
    if let Some(difference) = heavier {
        let title = format!(
            "{}: the fluid is {} kg/m3 {}: it does not sink",
            section.path(DENSITY.key),
            rounded(difference.abs()),
            if difference < 0.0 {
                "lighter than the liquid"
            } else {
                "heavier than the liquid, no more"
            }
        );
        let cure = "write what a litre of each weighs, in grams, at 20 C";
        section.pad.refuse(&density.span, title, cure);
    }
    section.finish();
    Some(Fluid {
        saturation_ka_per_m: saturation.value,
        susceptibility: chi.value,
        density_kg_per_m3: density,
        liquid: liquid?,
        interface_mn_per_m: tension.value,
        ahead_mm: ahead?.value,
        below_mm: below?.value,
        blob_radius_mm: radius,
        blob_length_mm: length,
        demagnetising,
        drop_share,
    })
}

fn read_liquid(section: &mut Section<'_>) -> Option<Liquid> {
    const MENU: Menu = Menu {
        words: &[],
        tables: &[
            ("salt_water", "liquid.salt_water = { nacl_percent = 10 }"),
            ("sea_water", "liquid.sea_water = { salinity = 35 }"),
            ("known", "liquid.known = { kg_per_m3 = 1040 }"),
        ],
    };
    let Picked::Table(tag, mut table) = section.menu("liquid", &MENU, true)?.value else {
        return None;
    };
    let liquid = match tag {
        "salt_water" => table.number(&NACL).map(|it| Liquid::SaltWater { nacl_percent: it.value }),
        "sea_water" => table.number(&SALINITY).map(|it| Liquid::SeaWater { salinity: it.value }),
        _ => {
            let density = table.number(&LIQUID_DENSITY);
            let expansion_per_k = table.number_or(&EXPANSION, 0.0003).value;
            density.map(|it| Liquid::Known { kg_per_m3: it.value, expansion_per_k })
        }
    };
    table.finish();
    liquid
}
