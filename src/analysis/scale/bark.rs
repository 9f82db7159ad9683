//! Critical bands of hearing, numbered 1 to 24 on the Bark scale.
//!
//! Source: E. Zwicker, "Subdivision of the audible frequency range into critical bands", J. Acoust.
//! Soc. Am. 33 (1961), p. 248. The edges are the published table, not one of the formulas that
//! approximate it (those miss it by up to 0.2 Bark). The table of 1961 begins at 20 Hz; later
//! editions begin at 0, where there is nothing to hear.

use crate::units::Hertz;

/// How many bands there are.
pub const BANDS: usize = EDGES_HZ.len() - 1;

/// The edges: band n reaches from item n - 1 to item n.
pub const EDGES_HZ: [f64; 25] = [
    20.0, 100.0, 200.0, 300.0, 400.0, 510.0, 630.0, 770.0, 920.0, 1080.0, 1270.0, 1480.0, 1720.0,
    2000.0, 2320.0, 2700.0, 3150.0, 3700.0, 4400.0, 5300.0, 6400.0, 7700.0, 9500.0, 12_000.0,
    15_500.0,
];

/// Lower and upper edge of band `number`, 1 to 24; `None` when there is no such band.
pub fn band(number: usize) -> Option<(Hertz, Hertz)> {
    let low = EDGES_HZ.get(number.checked_sub(1)?)?;
    Some((Hertz(*low), Hertz(*EDGES_HZ.get(number)?)))
}
