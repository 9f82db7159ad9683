//! Numbers of a display file about coil geometry, magnet and fluid.

use super::limits::{Quantity, limits};

const COIL_SIZE: &str = "coils for displays lie within that";
const HANDLED: &str = "magnets one can handle lie within that";
const NEAR: &str = "beyond 300 mm no coil moves any fluid";

pub(super) const INNER: Quantity = limits("inner_mm", "mm", (0.1, 500.0), COIL_SIZE);
pub(super) const OUTER: Quantity = limits("outer_mm", "mm", (1.0, 500.0), COIL_SIZE);
pub(super) const TRACE: Quantity =
    limits("trace_mm", "mm", (0.05, 50.0), "boards are made within that");
pub(super) const GAP: Quantity =
    limits("space_mm", "mm", (0.05, 50.0), "boards are made within that");
pub(super) const LAYERS: Quantity = limits("layers", "", (1.0, 64.0), "boards have 1 to 64 layers");
pub(super) const COPPER: Quantity =
    limits("copper_um", "um", (5.0, 500.0), "1 oz of copper is about 35 um");
pub(super) const LAYER_PITCH: Quantity =
    limits("layer_pitch_mm", "mm", (0.02, 10.0), "from one copper layer to the next");
pub(super) const WOUND_LENGTH: Quantity =
    limits("length_mm", "mm", (0.1, 500.0), "between the flanges of a bobbin");
pub(super) const WIRE: Quantity =
    limits("wire_mm", "mm", (0.02, 10.0), "it is the bare wire's diameter");
pub(super) const ENAMEL: Quantity =
    limits("enamel_um", "um", (0.0, 200.0), "it is the thickness on one side");
pub(super) const IRON_GAP: Quantity =
    limits("gap_mm", "mm", (0.01, 50.0), "from the last copper to the iron's face");
pub(super) const IRON_THICKNESS: Quantity =
    limits("thickness_mm", "mm", (0.1, 100.0), "plates and discs behind coils lie within that");
pub(super) const IRON_DIAMETER: Quantity = limits(
    "diameter_mm",
    "mm",
    (2.0, 1000.0),
    "of a disc behind one coil; left out: a plate behind all",
);
pub(super) const MU_R: Quantity =
    limits("mu_r", "", (1.0, 1e6), "relative permeability: 1 is air, mild steel 1000 and more");

pub(super) const WIDTH: Quantity = limits("width_mm", "mm", (1.0, 300.0), HANDLED);
pub(super) const HEIGHT: Quantity = limits("height_mm", "mm", (1.0, 300.0), HANDLED);
pub(super) const REMANENCE: Quantity =
    limits("remanence_t", "T", (0.1, 1.6), "ferrite has 0.2 to 0.45 T, neodymium 1 to 1.5 T");
pub(super) const BEHIND: Quantity = limits(
    "behind_mm",
    "mm",
    (0.5, 500.0),
    "from the coil's front copper back to the magnet's face",
);
pub(super) const SHUNT: Quantity = limits(
    "shunt",
    "",
    (0.001, 1.5),
    "it is the magnet's field at the fluid with iron in place over that without",
);

pub(super) const SATURATION: Quantity = limits(
    "saturation_ka_per_m",
    "kA/m",
    (1.0, 120.0),
    "ferrofluids saturate at 5 to 100 kA/m (4 pi mT are 10 kA/m)",
);
pub(super) const CHI: Quantity =
    limits("susceptibility", "", (0.05, 20.0), "SI units: display fluids have 0.5 to 5");
pub(super) const DENSITY: Quantity =
    limits("density_kg_per_m3", "kg/m3", (700.0, 3000.0), "ferrofluids weigh 0.9 to 2 kg a litre");
pub(super) const TENSION: Quantity = limits(
    "interface_mn_per_m",
    "mN/m",
    (0.0, 100.0),
    "oil against water with some soap has 2 to 10, against air 25 to 30",
);
pub(super) const AHEAD: Quantity = limits("ahead_mm", "mm", (0.1, 300.0), NEAR);
pub(super) const BELOW: Quantity = limits("below_mm", "mm", (0.0, 300.0), NEAR);
pub(super) const BLOB_RADIUS: Quantity =
    limits("blob_radius_mm", "mm", (0.2, 100.0), "half the width of what lifts at once");
pub(super) const BLOB_LENGTH: Quantity =
    limits("blob_length_mm", "mm", (0.2, 300.0), "how long it is along its way");
pub(super) const DEMAGNETISING: Quantity = limits(
    "demagnetising",
    "",
    (0.0, 1.0),
    "1/3 is a ball, less is long along the field, more is flat across it",
);
pub(super) const DROP_SHARE: Quantity = limits(
    "drop_share",
    "",
    (0.05, 1.0),
    "pull at which lifted fluid drops over that at which it lifts, 0.5 to 0.8 unless measured",
);
pub(super) const NACL: Quantity =
    limits("nacl_percent", "%", (0.0, 26.0), "of the solution's mass; no more dissolves");
pub(super) const SALINITY: Quantity =
    limits("salinity", "", (0.0, 42.0), "the equation of sea water holds to 42; oceans have 35");
pub(super) const LIQUID_DENSITY: Quantity =
    limits("kg_per_m3", "kg/m3", (0.5, 4000.0), "what a litre weighs in grams; air 1.2, water 998");
pub(super) const EXPANSION: Quantity =
    limits("expansion_per_k", "1/K", (0.0, 0.005), "water has 0.0003, oils 0.0007 to 0.001");
