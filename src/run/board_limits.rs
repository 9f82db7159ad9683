//! What a driver board may be told to let through at most, from the display's own budget.
//!
//! A board that keeps limits stops a program that has lost its mind, this one included. They must
//! never stand in the way of what the budget permits, so they are what it permits at its most: full
//! wish from cold, each coil alone and all together, without regard to the supply, and a tenth more.
//! The window of the mean is as long as the slowest iron takes to warm, so that the mean follows
//! the heat that counts.

use crate::budget::{Budget, BudgetError, BudgetSettings, CoilBudget, Start};
use crate::frame::wire::limits::{Limit, Limits};
use crate::preset::{Display, prepare_display};
use crate::sink::board::Wiring;
use crate::units::{Amps, Rate, Seconds, Share};

/// How much more than the budget ever grants.
const MARGIN: f64 = 1.1;

/// Shortest and longest window, s.
const WINDOWS_S: (f64, f64) = (60.0, 3600.0);

/// Frames per time constant of the fastest winding, and how many a second at least and at most.
const PER_WINDING: f64 = 20.0;
const RATES_HZ: (f64, f64) = (2.0, 50.0);

/// Windows that a run lasts: the mean has passed its highest point by then.
const WINDOWS: f64 = 2.0;

/// The limits of each coil of a display.
#[derive(Debug, Clone, PartialEq)]
pub struct Reckoned {
    /// Window of the mean, s.
    pub window_s: u16,
    /// Per coil, in display order.
    pub coils: Vec<Limit>,
    /// Per coil: the mean that the budget reaches at most, as duty.
    pub mean_duty: Vec<f64>,
}

impl Reckoned {
    /// For the channels of one board; channels without a coil stay off. `channels` is how many the
    /// board has.
    pub fn for_board(&self, board: &Wiring, channels: usize) -> Limits {
        let of = |coil: &Option<u32>| {
            let coil = coil.and_then(|coil| usize::try_from(coil).ok());
            coil.and_then(|coil| self.coils.get(coil)).copied().unwrap_or(Limit::OFF)
        };
        let mut limits: Vec<Limit> = board.coils.iter().map(of).collect();
        limits.resize(channels, Limit::OFF);
        Limits { window_s: self.window_s, limits }
    }
}

/// Highest code and highest mean of one coil, in steps.
#[derive(Debug, Clone, Copy, Default)]
struct Peak {
    code: f64,
    mean: f64,
}

/// Reckons the limits of a display. Takes seconds for hundreds of coils.
///
/// # Errors
///
/// A display whose budget cannot be reckoned.
pub fn reckon(display: &Display) -> Result<Reckoned, BudgetError> {
    let rate = rate_for(display).ok_or(BudgetError::NoCoils)?;
    let (mut settings, _) = prepare_display(display, rate, Start::Cold);
    for rail in &mut settings.rails {
        rail.limit = Amps(f64::INFINITY);
        (rail.ramp, rail.slew_a_per_s) = (Seconds(0.0), f64::INFINITY);
    }
    let slowest_s = settings.coils.iter().map(slowest_s).fold(0.0, f64::max);
    let window_s = slowest_s.clamp(WINDOWS_S.0, WINDOWS_S.1).ceil();
    let all = vec![Share::ALL; settings.coils.len()];
    let mut peaks = full_wish(&settings, &all, window_s)?;
    let kinds = kinds(&settings);
    for (first, kind) in kinds.iter().enumerate().filter(|(coil, kind)| coil == *kind) {
        let mut alone = vec![Share::NONE; all.len()];
        alone.iter_mut().skip(first).take(1).for_each(|wish| *wish = Share::ALL);
        let peak = full_wish(&settings, &alone, window_s)?.get(first).copied().unwrap_or_default();
        let same = peaks.iter_mut().zip(&kinds).filter(|(_, other)| *other == kind);
        for (known, _) in same {
            known.code = known.code.max(peak.code);
            known.mean = known.mean.max(peak.mean);
        }
    }
    let both = peaks.iter().zip(&settings.coils);
    let limit = |(peak, coil): (&Peak, &CoilBudget)| Limit {
        most: steps_for(peak.code, coil.steps),
        mean_most: steps_for(peak.mean, coil.steps),
    };
    Ok(Reckoned {
        window_s: steps_for(window_s / MARGIN, u16::MAX),
        coils: both.clone().map(limit).collect(),
        mean_duty: both.map(|(peak, coil)| peak.mean / f64::from(coil.steps)).collect(),
    })
}

/// A tenth more, up to full duty.
#[expect(clippy::cast_possible_truncation, reason = "no more than full duty")]
#[expect(clippy::cast_sign_loss, reason = "sizes are not negative")]
fn steps_for(peak: f64, steps: u16) -> u16 {
    (peak * MARGIN - 1e-9).ceil().clamp(0.0, f64::from(steps)) as u16
}

/// `None` never: 2 to 50 frames a second are a rate.
fn rate_for(display: &Display) -> Option<Rate> {
    let winding =
        |coil: &crate::preset::display::CoilType| coil.coil_j_per_k * coil.coil_to_backing_k_per_w;
    let fastest_s = display.coil_types.iter().map(winding).fold(f64::INFINITY, f64::min);
    let per_s = (PER_WINDING / fastest_s).clamp(RATES_HZ.0, RATES_HZ.1).ceil();
    #[expect(clippy::cast_possible_truncation, reason = "2 to 50")]
    #[expect(clippy::cast_sign_loss, reason = "2 to 50")]
    let per_s = per_s as u32;
    Rate::new(per_s, 1)
}

/// How long the iron behind a coil takes to warm, s.
fn slowest_s(coil: &CoilBudget) -> f64 {
    let away = coil.heat.backing_to_around.0;
    if away.is_finite() { coil.heat.backing.0 * away } else { WINDOWS_S.1 }
}

/// Per coil: the first coil that is like it, in itself and in how many it touches.
fn kinds(settings: &BudgetSettings) -> Vec<usize> {
    let touches = |coil: usize| {
        let pairs = settings.neighbours.iter();
        pairs.filter(|pair| pair.a.index() == coil || pair.b.index() == coil).count()
    };
    let keys: Vec<_> = settings.coils.iter().enumerate().map(|(n, it)| (it, touches(n))).collect();
    keys.iter().map(|key| keys.iter().position(|other| other == key).unwrap_or(0)).collect()
}

/// Runs the budget at these wishes from cold.
fn full_wish(
    settings: &BudgetSettings,
    wishes: &[Share],
    window_s: f64,
) -> Result<Vec<Peak>, BudgetError> {
    let mut budget = Budget::new(settings)?;
    let period_s = settings.frame_rate.period().0;
    let share = 1.0 - libm::exp(-period_s / window_s);
    let mut means = vec![0.0; wishes.len()];
    let mut peaks = vec![Peak::default(); wishes.len()];
    let mut passed_s = 0.0;
    while passed_s < WINDOWS * window_s {
        for ((mean, peak), duty) in means.iter_mut().zip(&mut peaks).zip(budget.permit(wishes)) {
            let code = f64::from(duty.code().abs());
            *mean += (code - *mean) * share;
            peak.code = peak.code.max(code);
            peak.mean = f64::max(peak.mean, *mean);
        }
        passed_s += period_s;
    }
    Ok(peaks)
}
