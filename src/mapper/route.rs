//! One route: what it hears, each value shaped on its own, and the coils they reach.
//!
//! An event is a moment, not a level: it stays open for 30 ms, in which the band that says how much
//! it counts may rise, and its envelope holds until the rise is done. So it reaches the same height
//! whatever its rise, and keeps the order of strong and weak.

use super::envelope::{Envelope, whole_frames};
use super::error::{RouteFault, within};
use super::motion::Spread;
use super::range::Range;
use super::settings::{Curve, EnvelopeSettings, Hears, Place, RouteSettings};
use crate::analysis::{Heard, SILENCE_DBFS, Sense};
use crate::units::{Rate, Seconds};

/// Factors on what a route asks for.
const WEIGHT_LIMITS: (f64, f64) = (-1.0, 1.0);

/// How long after an event its band's level still says how much it counts, s: longer than it takes
/// the lowest bands to rise.
const OPEN_S: f64 = 0.03;

/// Rising time constants after which a first-order lag has done 95 % of its way.
const RISEN: f64 = 3.0;

/// A route as used.
#[derive(Debug)]
pub(super) struct Route {
    hears: Hears,
    range: Range,
    curve: Curve,
    bands: Box<[usize]>,
    /// Frames for which an event stays open, and those that are left of the newest.
    open: (u32, u32),
    envelopes: Box<[Envelope]>,
    /// Per envelope, 0 to 1.
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
        let shape = follows(settings);
        let envelopes = (0..settings.values()).map(|_| Envelope::new(&shape, rate));
        Ok(Self {
            hears: check(settings.hears)?,
            range: Range::new(settings.range)?,
            curve: settings.curve.check()?,
            bands: settings.bands.clone().into(),
            open: (whole_frames(OPEN_S, rate), 0),
            values: vec![0.0; settings.values()].into(),
            read: vec![0.0; settings.values()].into(),
            spread: Spread::new(settings, places, rate)?,
            weight,
            envelopes: envelopes.collect::<Result<_, _>>()?,
        })
    }

    /// Shapes what is heard in this frame and moves on by it.
    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        if self.hears == Hears::Levels {
            let values = self.values.iter_mut().zip(&mut self.read);
            let bands = self.bands.iter().zip(&mut self.envelopes);
            for ((value, read), (band, envelope)) in values.zip(bands) {
                *read = level(self.range, heard, *band);
                *value = envelope.follow(self.curve.bend(*read));
            }
        } else {
            let now = self.ear(heard);
            let values = self.values.first_mut().zip(self.read.first_mut());
            if let (Some((value, read)), Some(envelope)) = (values, self.envelopes.first_mut()) {
                *read = now;
                *value = envelope.follow(self.curve.bend(now));
            }
        }
        self.spread.follow(&self.values);
    }

    /// What the ear says, 0 to 1.
    fn ear(&mut self, heard: &Heard<'_>) -> f64 {
        let sense = |ear: usize| heard.senses.get(ear).copied();
        match self.hears {
            Hears::Levels => 0.0,
            Hears::Strikes { ear } => {
                let struck = matches!(sense(ear), Some(Sense::Struck(strength)) if strength > 0.0);
                self.open.1 = if struck { self.open.0 } else { self.open.1.saturating_sub(1) };
                match self.bands.first() {
                    Some(band) if self.open.1 > 0 => level(self.range, heard, *band),
                    None if struck => 1.0,
                    _ => 0.0,
                }
            }
            Hears::Between { ear, low, high } => match sense(ear) {
                Some(Sense::Phase(phase)) => part(f64::from(phase), low, high),
                Some(Sense::Centroid(hz)) if hz > 0.0 => {
                    part(libm::log2(hz.into()), libm::log2(low), libm::log2(high))
                }
                _ => 0.0,
            },
            Hears::Loudness { ear } => match sense(ear) {
                Some(Sense::Level { lufs, usual_lufs }) => self.range.read(lufs, usual_lufs),
                _ => 0.0,
            },
        }
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

/// What the range makes of a band's level, 0 to 1.
fn level(range: Range, heard: &Heard<'_>, band: usize) -> f64 {
    let level_dbfs = heard.band_dbfs.get(band).copied().unwrap_or(SILENCE_DBFS);
    let top_dbfs = heard.top_dbfs.get(band).copied().unwrap_or(SILENCE_DBFS);
    range.read(level_dbfs, top_dbfs)
}

fn part(value: f64, low: f64, high: f64) -> f64 {
    ((value - low) / (high - low)).clamp(0.0, 1.0)
}

/// Two ends that lie apart, the lower one above 0 for a frequency.
fn check(hears: Hears) -> Result<Hears, RouteFault> {
    match hears {
        Hears::Between { low, high, .. } if !(low >= 0.0 && high > low && high.is_finite()) => {
            Err(RouteFault::Ends { low, high })
        }
        _ => Ok(hears),
    }
}

/// Events last no time: their envelope holds until its own rise is done, and then as long as asked.
fn follows(settings: &RouteSettings) -> EnvelopeSettings {
    let shape = settings.envelope;
    match settings.hears {
        Hears::Strikes { .. } => {
            let hold_s = Seconds(shape.hold_s.0 + RISEN * shape.attack_s.0);
            EnvelopeSettings { hold_s, ..shape }
        }
        Hears::Levels | Hears::Between { .. } | Hears::Loudness { .. } => shape,
    }
}
