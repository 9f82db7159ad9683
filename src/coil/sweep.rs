//! The same coil with one size varied, so that an optimum shows before anything is ordered.

use core::str::FromStr;

use thiserror::Error;

use super::figures::{Figures, Use, figures};
use super::geometry::{GeometryError, Shape, SpiralShape, WireSize, WoundShape};
use super::winding::Winding;

/// A size that can be varied.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parameter {
    /// Number of copper layers; inner ones keep the inner thickness.
    Layers,
    /// Thickness of every copper layer, um.
    Copper,
    /// Trace width, mm.
    Trace,
    /// Space between traces, mm.
    Space,
    /// Inner diameter, mm.
    Inner,
    /// Outer diameter, mm.
    Outer,
    /// Layer pitch, mm.
    Pitch,
    /// Wire diameter, mm.
    Wire,
    /// Wire gauge.
    Awg,
    /// Winding length, mm.
    Length,
}

/// Words as written, in the order of [`Parameter`].
const WORDS: [(&str, Parameter); 10] = [
    ("layers", Parameter::Layers),
    ("copper", Parameter::Copper),
    ("trace", Parameter::Trace),
    ("space", Parameter::Space),
    ("inner", Parameter::Inner),
    ("outer", Parameter::Outer),
    ("pitch", Parameter::Pitch),
    ("wire", Parameter::Wire),
    ("awg", Parameter::Awg),
    ("length", Parameter::Length),
];

/// Most values of a sweep.
pub const MOST_VALUES: u32 = 200;

/// Values of a size that has no whole steps of its own, when no step is written.
const VALUES: u32 = 15;

/// One size over a range, written `layers=2..16` or, with a step, `trace=0.2..1.0:0.1`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sweep {
    /// What is varied.
    pub parameter: Parameter,
    /// First value.
    pub from: f64,
    /// Last value, where the steps meet it.
    pub to: f64,
    /// Between values.
    pub step: f64,
}

/// What is wrong with a sweep.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum SweepError {
    /// Not of the form.
    #[error(
        "'{text}' is not a sweep: write NAME=FROM..TO or NAME=FROM..TO:STEP, such as layers=2..16"
    )]
    Form {
        /// As written.
        text: String,
    },
    /// No such size.
    #[error(
        "'{word}' cannot be varied: layers, copper, trace, space, inner, outer, pitch, wire, awg or length"
    )]
    Word {
        /// As written.
        word: String,
    },
    /// Backwards, nothing, or too much.
    #[error("{from} to {to} in steps of {step}: 2 to 200 values, upwards")]
    Steps {
        /// As written.
        from: f64,
        /// As written.
        to: f64,
        /// As written or chosen.
        step: f64,
    },
    /// The coil has no such size.
    #[error("a {kind} has no {word} to vary")]
    Kind {
        /// Spiral or wound coil.
        kind: &'static str,
        /// What was to be varied.
        word: &'static str,
    },
    /// Layers and gauges come whole.
    #[error("{word} goes in whole steps, not {step}")]
    Whole {
        /// What.
        word: &'static str,
        /// As written.
        step: f64,
    },
}

impl Parameter {
    /// As written.
    pub fn word(self) -> &'static str {
        WORDS.iter().find(|(_, parameter)| *parameter == self).map_or("", |(word, _)| word)
    }

    /// Unit of its values.
    pub fn unit(self) -> &'static str {
        match self {
            Self::Layers | Self::Awg => "",
            Self::Copper => "um",
            _ => "mm",
        }
    }

    fn whole(self) -> bool {
        matches!(self, Self::Layers | Self::Awg)
    }
}

impl FromStr for Sweep {
    type Err = SweepError;

    fn from_str(text: &str) -> Result<Self, SweepError> {
        let form = || SweepError::Form { text: text.to_owned() };
        let number = |text: &str| text.trim().parse::<f64>().map_err(|_| form());
        let (word, range) = text.split_once('=').ok_or_else(form)?;
        let (range, step) = match range.split_once(':') {
            Some((range, step)) => (range, Some(number(step)?)),
            None => (range, None),
        };
        let (from, to) = range.split_once("..").ok_or_else(form)?;
        let (from, to) = (number(from)?, number(to)?);
        let word = word.trim();
        let known = WORDS.iter().find(|(known, _)| *known == word);
        let (name, parameter) = *known.ok_or_else(|| SweepError::Word { word: word.to_owned() })?;
        let own = if parameter.whole() { 1.0 } else { (to - from) / f64::from(VALUES - 1) };
        let step = step.unwrap_or(own);
        let count = (to - from) / step + 1.0 + 1e-9;
        let sound = from.is_finite() && to > from && step > 0.0;
        if !(sound && count >= 2.0 && count < f64::from(MOST_VALUES) + 1.0) {
            return Err(SweepError::Steps { from, to, step });
        }
        let whole = |value: f64| (value - value.round()).abs() < 1e-9;
        if parameter.whole() && !(whole(from) && whole(step)) {
            return Err(SweepError::Whole {
                word: name,
                step: if whole(from) { step } else { from },
            });
        }
        Ok(Self { parameter, from, to, step })
    }
}

/// One coil of a sweep.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepRow {
    /// The size.
    pub value: f64,
    /// What it comes to, or why it cannot be built.
    pub figures: Result<Figures, GeometryError>,
}

impl Sweep {
    /// The values.
    pub fn values(&self) -> impl Iterator<Item = f64> + '_ {
        (0..MOST_VALUES)
            .map(|n| self.from + f64::from(n) * self.step)
            .take_while(|value| *value <= self.to + 1e-9 * self.step)
    }

    /// Reckons them all. Sizes that cannot be built keep their row, with the reason. `at` says how each
    /// winding is used: iron lies behind its last copper, and larger ones shed more heat.
    ///
    /// # Errors
    /// When the coil has no such size.
    pub fn run(
        &self,
        shape: &Shape,
        at: impl Fn(&Winding) -> Use,
    ) -> Result<Vec<SweepRow>, SweepError> {
        self.values()
            .map(|value| {
                let varied = self.apply(shape, value)?;
                let figures = varied.wind().and_then(|winding| figures(&varied, &at(&winding)));
                Ok(SweepRow { value, figures })
            })
            .collect()
    }

    /// The coil with this value.
    ///
    /// # Errors
    /// When the coil has no such size.
    pub fn apply(&self, shape: &Shape, value: f64) -> Result<Shape, SweepError> {
        let word = self.parameter.word();
        match shape {
            Shape::Spiral(spiral) => vary_spiral(spiral, self.parameter, value)
                .map(Shape::Spiral)
                .ok_or(SweepError::Kind { kind: "spiral", word }),
            Shape::Wound(wound) => vary_wound(wound, self.parameter, value)
                .map(Shape::Wound)
                .ok_or(SweepError::Kind { kind: "wound coil", word }),
        }
    }
}

fn vary_spiral(shape: &SpiralShape, parameter: Parameter, value: f64) -> Option<SpiralShape> {
    let mut varied = shape.clone();
    match parameter {
        Parameter::Layers => varied.copper_um = layers(&shape.copper_um, whole(value)?),
        Parameter::Copper => varied.copper_um.iter_mut().for_each(|copper| *copper = value),
        Parameter::Trace => varied.trace_mm = value,
        Parameter::Space => varied.space_mm = value,
        Parameter::Inner => varied.inner_mm = value,
        Parameter::Outer => varied.outer_mm = value,
        Parameter::Pitch => varied.layer_pitch_mm = value,
        Parameter::Wire | Parameter::Awg | Parameter::Length => return None,
    }
    Some(varied)
}

fn vary_wound(shape: &WoundShape, parameter: Parameter, value: f64) -> Option<WoundShape> {
    let mut varied = *shape;
    match parameter {
        Parameter::Inner => varied.inner_mm = value,
        Parameter::Outer => varied.outer_mm = value,
        Parameter::Length => varied.length_mm = value,
        Parameter::Wire => varied.wire = WireSize::Metric(value),
        Parameter::Awg => varied.wire = WireSize::Awg(whole(value)?),
        _ => return None,
    }
    Some(varied)
}

/// Outer layers as the first, inner ones as the second, where there is one.
fn layers(copper_um: &[f64], count: u32) -> Vec<f64> {
    let outer = copper_um.first().copied().unwrap_or(f64::NAN);
    let inner = copper_um.get(1).copied().filter(|_| copper_um.len() > 2).unwrap_or(outer);
    let place = |layer| if layer == 0 || layer + 1 == count { outer } else { inner };
    (0..count).map(place).collect()
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked to be whole")]
fn whole(value: f64) -> Option<u32> {
    ((0.0..=1e6).contains(&value)).then_some(value.round() as u32)
}
