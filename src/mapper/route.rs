//! One route: the bands it hears, each shaped on its own, and the coils they reach.

use super::envelope::Envelope;
use super::error::{RouteFault, within};
use super::motion::Spread;
use super::range::Range;
use super::settings::{Curve, Place, RouteSettings};
use crate::analysis::{Heard, SILENCE_DBFS};
use crate::units::Rate;

/// Factors on what a route asks for.
const WEIGHT_LIMITS: (f64, f64) = (-1.0, 1.0);

/// A route as used.
#[derive(Debug)]
pub(super) struct Route {
    range: Range,
    curve: Curve,
    /// Per band of the route: its index in what is heard, and its envelope.
    bands: Box<[(usize, Envelope)]>,
    /// Per band of the route, 0 to 1.
    values: Box<[f64]>,
    /// Value of each band as read by the range, before curve and envelope.
    read: Box<[f64]>,
    spread: Spread,
    weight: f64,
}

impl Route {
    pub(super) fn new(
        settings: &RouteSettings,
        places: &[Place],
        rate: Rate,
    ) -> Result<Self, RouteFault> {
        let weight = within("weight", settings.weight, WEIGHT_LIMITS, "")?;
        let follow = |&band: &usize| Ok((band, Envelope::new(&settings.envelope, rate)?));
        Ok(Self {
            range: Range::new(settings.range)?,
            curve: settings.curve.check()?,
            values: vec![0.0; settings.bands.len()].into(),
            read: vec![0.0; settings.bands.len()].into(),
            spread: Spread::new(settings, places, rate)?,
            weight,
            bands: settings.bands.iter().map(follow).collect::<Result<_, _>>()?,
        })
    }

    /// Shapes what is heard in this frame and moves on by it.
    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        let values = self.values.iter_mut().zip(&mut self.read);
        for ((value, read), (band, envelope)) in values.zip(&mut self.bands) {
            let level_dbfs = heard.band_dbfs.get(*band).copied().unwrap_or(SILENCE_DBFS);
            let top_dbfs = heard.top_dbfs.get(*band).copied().unwrap_or(SILENCE_DBFS);
            *read = self.range.read(level_dbfs, top_dbfs);
            *value = envelope.follow(self.curve.bend(*read));
        }
        self.spread.follow(&self.values);
    }

    /// Puts what the route asks for together with what is there, coil by coil.
    pub(super) fn ask(&self, asked: &mut [f64], combine: impl Fn(f64, f64) -> f64) {
        self.spread.ask(&self.values, &mut |coil, share| {
            if let Some(asked) = asked.get_mut(coil) {
                *asked = combine(*asked, self.weight * share);
            }
        });
    }

    /// Values as the range read them, in the order of the route's bands.
    pub(super) fn read(&self) -> &[f64] {
        &self.read
    }

    /// Per band, 0 to 1.
    pub(super) fn values(&self) -> &[f64] {
        &self.values
    }
}
