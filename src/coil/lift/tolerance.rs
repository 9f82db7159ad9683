//! What a bias is worth when distance, strength, density and temperature are not as thought.

use super::bench::Bench;
use super::law::PullLaw;
use crate::coil::fluid::liquid::LiquidError;
use crate::coil::fluid::{Ferrofluid, Liquid};
use crate::units::Celsius;

/// One thing off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Case {
    /// What.
    pub what: &'static str,
    /// Pull over weight then.
    pub law: PullLaw,
}

/// How warm things get.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warm {
    /// The magnet.
    pub magnet: Celsius,
    /// Fluid and liquid.
    pub liquid: Celsius,
    /// Change of the magnet's remanence per kelvin, as a share.
    pub magnet_per_k: f64,
}

/// The law as thought, then with one thing off at a time: distance 1 mm, remanence 5 %, density
/// difference 10 %, magnet warm, liquid warm, both warm.
///
/// `fluid` and `liquid` are as bought; the bench's density difference is the one at 20 C.
///
/// # Errors
/// When the liquid's density at the warm temperature is not known.
pub fn cases(
    bench: &Bench<'_>,
    face_z_m: f64,
    liquid: &Liquid,
    warm: &Warm,
) -> Result<Vec<Case>, LiquidError> {
    let strength = |factor: f64| Bench {
        magnet: bench.magnet.with_remanence(bench.magnet.remanence_t() * factor),
        ..*bench
    };
    let density = |factor: f64| Bench {
        density_difference_kg_per_m3: bench.density_difference_kg_per_m3 * factor,
        ..*bench
    };
    let magnet = 1.0 + warm.magnet_per_k * (warm.magnet.0 - 20.0);
    let (fluid, lighter) = warmed(&bench.fluid, liquid, warm.liquid)?;
    let change = lighter - (bench.fluid.density_kg_per_m3 - liquid.density(Celsius(20.0))?);
    let warm_liquid = |from: Bench<'_>| {
        let difference = from.density_difference_kg_per_m3 + change;
        Bench { fluid, density_difference_kg_per_m3: difference, ..from }.law(face_z_m)
    };
    let case = |what, law| Case { what, law };
    Ok(vec![
        case("as set", bench.law(face_z_m)),
        case("magnet 1 mm nearer", bench.law(face_z_m + 1e-3)),
        case("magnet 1 mm further", bench.law(face_z_m - 1e-3)),
        case("magnet 5 % stronger", strength(1.05).law(face_z_m)),
        case("magnet 5 % weaker", strength(0.95).law(face_z_m)),
        case("fluid 10 % lighter in the liquid", density(0.9).law(face_z_m)),
        case("fluid 10 % heavier in the liquid", density(1.1).law(face_z_m)),
        case("magnet warm", strength(magnet).law(face_z_m)),
        case("fluid and liquid warm", warm_liquid(*bench)),
        case("all warm", warm_liquid(strength(magnet))),
    ])
}

/// The fluid at a temperature, and its density less the liquid's there.
///
/// # Errors
/// When the liquid's density there is not known.
pub fn warmed(
    fluid: &Ferrofluid,
    liquid: &Liquid,
    at: Celsius,
) -> Result<(Ferrofluid, f64), LiquidError> {
    let fluid = fluid.at(at);
    Ok((fluid, fluid.density_kg_per_m3 - liquid.density(at)?))
}
