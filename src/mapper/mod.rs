//! Levels to wishes: which coil is asked for what, from what is heard.
//!
//! A [route](RouteSettings) takes the levels of its bands, shapes each to 0..1, and a motion
//! spreads the result over the coils of its group by their place on the display:
//!
//! ```text
//! range     curve    envelope   motion       weight    combine     rest, trim
//! dBFS   -> 0..1  -> 0..1    -> per coil  -> -1..1  -> one a coil -> Share
//! ```
//!
//! Each step is a file of its own, in that order; motions have a folder. Routes that reach the same
//! coil are combined; where soft passages are to stay soft, they are then made smaller. While nothing plays every wish fades to exactly 0, and an `idle` motion, if
//! there is one, begins from there. Last of all come the factors: each coil's trim and the master.

mod curve;
mod envelope;
mod error;
mod idle;
mod motion;
#[cfg(test)]
mod over_tests;
mod passage;
mod range;
mod rest;
mod route;
mod settings;
#[cfg(test)]
mod tests;

pub use error::{MapperError, RouteFault};
pub use settings::{
    Combine, Curve, EnvelopeSettings, Hears, IdleSettings, LONGEST_FRONT_S, MapperSettings,
    MotionSettings, Passages, Path, Place, RangeShape, RouteSettings,
};

use crate::analysis::Heard;
use crate::units::Share;

use idle::Idle;
use passage::Passage;
use rest::Rest;
use route::Route;

/// The stage. All memory is taken in [`Mapper::new`]; [`Mapper::wish`] takes none.
#[derive(Debug)]
pub struct Mapper {
    routes: Box<[Route]>,
    /// Indices of the routes in the order in which they are combined.
    order: Box<[usize]>,
    combine: Combine,
    passage: Passage,
    rest: Rest,
    idle: Idle,
    /// Per coil, trim times master.
    factors: Box<[f64]>,
    /// Per coil, what the routes of this frame ask for so far.
    asked: Box<[f64]>,
    wishes: Box<[Share]>,
}

impl Mapper {
    /// Starts with every route at 0 and nothing faded.
    ///
    /// # Errors
    /// When a number is outside its range or a route does not fit the display: the sentence says
    /// which route, what is wrong and what would do. How many bands there are is known only to
    /// whoever measures them: see [`MapperSettings::check_bands`].
    pub fn new(settings: &MapperSettings) -> Result<Self, MapperError> {
        settings.check_display()?;
        let routes = settings
            .routes
            .iter()
            .enumerate()
            .map(|(route, it)| {
                Route::new(it, &settings.places, settings.frame_rate)
                    .map_err(|fault| MapperError::Route { route, fault })
            })
            .collect::<Result<_, _>>()?;
        Ok(Self {
            routes,
            order: order(settings),
            combine: settings.combine,
            passage: Passage::new(settings.passages)?,
            rest: Rest::new(settings.rest_s, settings.frame_rate.period()),
            idle: Idle::new(&settings.idle, &settings.places, settings.frame_rate)
                .map_err(MapperError::Idle)?,
            factors: settings.trims.iter().map(|trim| trim * settings.master).collect(),
            asked: vec![0.0; settings.places.len()].into(),
            wishes: vec![Share::NONE; settings.places.len()].into(),
        })
    }

    /// Takes in one frame's measurement and returns one wish per coil, in display order.
    ///
    /// To be called once per frame: envelopes and the fade to rest count calls. A band that
    /// `heard` does not have reads as silence, an ear it does not have hears nothing.
    pub fn wish(&mut self, heard: &Heard<'_>) -> &[Share] {
        self.asked.fill(0.0);
        for &route in &self.order {
            let Some(route) = self.routes.get_mut(route) else { continue };
            route.hear(heard);
            match self.combine {
                Combine::Max => route.ask(&mut self.asked, larger),
                Combine::Add => route.ask(&mut self.asked, |sum, wish| sum + wish),
                Combine::Over => route.ask(&mut self.asked, over),
            }
        }
        let soft = self.passage.factor(heard);
        let gain = self.rest.follow(heard.quiet);
        let idle = self.idle.follow(gain <= 0.0);
        if gain > 0.0 {
            let wishes = self.wishes.iter_mut().zip(&self.asked).zip(&self.factors);
            for ((wish, asked), factor) in wishes {
                *wish = Share::saturating(asked.clamp(-1.0, 1.0) * soft * gain * factor);
            }
        } else {
            self.wishes.fill(Share::NONE);
        }
        if idle {
            self.idle.ask(|coil, share| {
                if let (Some(wish), Some(factor)) =
                    (self.wishes.get_mut(coil), self.factors.get(coil))
                {
                    *wish = Share::saturating(share * factor);
                }
            });
        }
        &self.wishes
    }

    /// The wishes of the last frame, one for each coil.
    pub fn wishes(&self) -> &[Share] {
        &self.wishes
    }

    /// What each route heard at the last frame, 0 to 1, as its range reads it, before curve and
    /// envelope: one value for each of its bands, low to high.
    pub fn inputs(&self) -> impl ExactSizeIterator<Item = &[f64]> + '_ {
        self.routes.iter().map(Route::read)
    }

    /// For meters: per route, in the order of the settings, the value of each of its bands after
    /// the envelope, 0 to 1, before motion, weight and rest.
    pub fn routes(&self) -> impl ExactSizeIterator<Item = &[f64]> + '_ {
        self.routes.iter().map(Route::values)
    }

    /// For meters: the factor on every wish, 1 while something plays, 0 at rest.
    pub fn rest_gain(&self) -> f64 {
        self.rest.gain()
    }
}

/// Of two wishes the one of larger size; of equals the one that was there.
fn larger(there: f64, wish: f64) -> f64 {
    if wish.abs() > there.abs() { wish } else { there }
}

/// What is left of what was there below a wish, and the wish.
fn over(there: f64, wish: f64) -> f64 {
    there * (1.0 - wish.abs()) + wish
}

/// As written, except where routes lie over each other: there from the lowest priority up.
fn order(settings: &MapperSettings) -> Box<[usize]> {
    let mut order: Box<[usize]> = (0..settings.routes.len()).collect();
    if settings.combine == Combine::Over {
        // Stable: equals stay as written.
        order.sort_by_key(|&route| settings.routes.get(route).map(|it| it.priority));
    }
    order
}
