//! The stage itself: one frame of wishes in, one frame of duties out.

#![expect(clippy::indexing_slicing, reason = "all arrays hold one entry per coil, node or rail")]

use super::check::check;
use super::drive::{Ask, Denied, Drivers, Lifters, signed};
use super::heat::Heat;
use super::limiter::Limiter;
use super::load::{Load, Totals};
use super::network::{Network, Node};
use super::rails::Rails;
use super::rises::{allowed_rises, full_power, start_rises, stated_limits};
use super::turns::Turns;
use super::{BudgetError, BudgetSettings, Duty};
use crate::units::Share;

/// Heat moves slowly against frames: the model advances once per this many at most ...
const FRAMES_PER_TICK: u32 = 4;

/// ... and at least once per this time, s.
const LONGEST_TICK_S: f64 = 0.020;

/// When the model advances and how far ahead the limiter looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Timing {
    /// Frame period, s.
    pub frame_s: f64,
    /// Frames per heat tick.
    pub frames: u32,
    /// Look-ahead of the limiter, s.
    pub horizon_s: f64,
    /// How far ahead it counts windings as cooling when it converts duty to power, s; the tick
    /// and the horizon but for coarse estimates.
    pub copper_s: [f64; 2],
}

impl Timing {
    /// Of a display that is driven.
    pub(super) fn of(settings: &BudgetSettings) -> Self {
        let frame_s = settings.frame_rate.period().0;
        let fits = |&frames: &u32| f64::from(frames) * frame_s <= LONGEST_TICK_S * (1.0 + 1e-9);
        let frames = (1..=FRAMES_PER_TICK).rev().find(fits).unwrap_or(1);
        let tick_s = f64::from(frames) * frame_s;
        let horizon_s = (tick_s + settings.hold_s.0).max(settings.knee_s.0);
        Self { frame_s, frames, horizon_s, copper_s: [tick_s, horizon_s] }
    }
}

/// The budget of one display. All memory is taken in [`Budget::new`].
#[derive(Debug, Clone)]
pub struct Budget {
    timing: Timing,
    room_c: f64,
    network: Network,
    drivers: Drivers,
    lifters: Lifters,
    limiter: Limiter,
    rails: Rails,
    turns: Turns,
    heat: Heat,
    /// Frames since the model last advanced.
    frame: u32,
    /// Per coil, in this tick: highest compare value, energy over frame period, highest power.
    most: Vec<u32>,
    sum_w: Vec<f64>,
    peak_w: Vec<f64>,
    /// Per coil, in this frame.
    asks: Vec<Ask>,
    asked: Vec<u32>,
    codes: Vec<u32>,
    shares: Vec<f64>,
    duties: Vec<Duty>,
    meters: Meters,
    bound_c: Vec<f64>,
    limit_c: Vec<f64>,
    share: f64,
    binds: Node,
}

/// What [`Load`] and [`Totals`] show.
#[derive(Debug, Clone)]
struct Meters {
    node_c: Vec<f64>,
    rail_a: Vec<f64>,
    frame: Sums,
    wished: Vec<f64>,
    granted: Vec<f64>,
    cut_heat: Vec<f64>,
    cut_rail: Vec<f64>,
    cut_driver: Vec<f64>,
}

/// Duty added up over the coils of one frame.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    wished: f64,
    granted: f64,
    cut_heat: f64,
    cut_rail: f64,
    cut_driver: f64,
}

impl Budget {
    /// Takes all memory that the stage will ever need.
    ///
    /// # Errors
    /// Settings that cannot be a display: no coils, limits at or below the room, numbers that
    /// cannot be, heat without a path to the room. The message names the coil (from 0) and the
    /// cure.
    pub fn new(settings: &BudgetSettings) -> Result<Self, BudgetError> {
        check(settings)?;
        Self::with_timing(settings, Timing::of(settings))
    }

    /// The same with frame period and horizon of the caller's choice. Settings must be checked.
    pub(super) fn with_timing(
        settings: &BudgetSettings,
        timing: Timing,
    ) -> Result<Self, BudgetError> {
        let network = Network::new(settings)?;
        let coils = network.coils;
        let full_w: Vec<f64> =
            settings.coils.iter().map(|coil| full_power(settings, coil)).collect();
        let allowed = network.allowed_box(&full_w, &allowed_rises(settings))?;
        let room_c = settings.room.0;
        let heat = Heat::new(&network, start_rises(settings, coils, &allowed.rise));
        let node_c: Vec<f64> = heat.rise.iter().map(|rise| room_c + rise).collect();
        Ok(Self {
            timing,
            room_c,
            drivers: Drivers::new(&settings.coils),
            lifters: Lifters::new(settings, timing.frame_s),
            limiter: Limiter::new(&network, &allowed, &full_w, room_c, &timing),
            rails: Rails::new(settings, timing.frame_s),
            turns: Turns::new(&settings.coils, timing.frame_s),
            heat,
            frame: 0,
            most: vec![0; coils],
            sum_w: vec![0.0; coils],
            peak_w: vec![0.0; coils],
            asks: vec![Ask::OFF; coils],
            asked: vec![0; coils],
            codes: vec![0; coils],
            shares: vec![0.0; coils],
            duties: vec![Duty::OFF; coils],
            meters: Meters::new(node_c, coils, settings.rails.len()),
            bound_c: allowed.rise.iter().map(|rise| room_c + rise).collect(),
            limit_c: stated_limits(settings),
            share: allowed.share,
            binds: network.node(allowed.binds),
            network,
        })
    }

    /// Permits one frame: a duty per coil, in display order, for the wishes of this frame. Coils
    /// without a wish rest; wishes beyond the last coil are not heard.
    pub fn permit(&mut self, wishes: &[Share]) -> &[Duty] {
        self.one_frame(Some(wishes))
    }

    /// One frame with every coil off at once: no fluid is let go by a pulse, as it may be when wishes
    /// merely end.
    pub fn all_off(&mut self) -> &[Duty] {
        self.one_frame(None)
    }

    /// `None`: all off.
    fn one_frame(&mut self, wishes: Option<&[Share]>) -> &[Duty] {
        if self.frame == 0 {
            self.start_tick();
        }
        for (coil, wired) in self.drivers.all().enumerate() {
            let ask = match wishes {
                Some(wishes) => {
                    let wish = wishes.get(coil).copied().unwrap_or(Share::NONE);
                    self.lifters.ask(coil, &wired, wish)
                }
                None => Ask::OFF,
            };
            let ready = self.turns.may(coil, ask.backwards);
            let asked = if ready { wired.made(ask.code) } else { 0 };
            self.asks[coil] = ask;
            let code = wired.made(asked.min(self.most[coil]));
            self.asked[coil] = asked;
            self.codes[coil] = code;
            self.shares[coil] = wired.heat(code);
        }
        self.rails.lower(&self.drivers, &mut self.codes, &mut self.shares);
        self.meters.start_frame();
        for (coil, wired) in self.drivers.all().enumerate() {
            let fed = self.codes[coil];
            let code = wired.made(fed);
            if code < fed {
                self.shares[coil] = wired.heat(code);
            }
            let power = self.shares[coil] * self.limiter.tick_full_w[coil];
            self.sum_w[coil] += power;
            self.peak_w[coil] = self.peak_w[coil].max(power);
            self.meters.rail_a[self.rails.rail_of[coil]] +=
                self.shares[coil] * self.rails.full_a[coil];
            let (ask, asked) = (self.asks[coil], self.asked[coil]);
            let cool = asked.min(self.most[coil]);
            let codes = match ask.denied {
                Denied::Nothing => [asked, cool, wired.made(cool), fed, code],
                Denied::Heat(denied) => [denied, 0, 0, 0, 0],
                Denied::Rail(denied) => [denied, denied, denied, 0, 0],
            };
            self.meters.count(coil, ask.wanted, codes.map(|code| wired.duty(code)));
            let code = signed(code, ask.backwards);
            self.turns.sent(coil, code);
            self.lifters.sent(coil, code, asked, cool);
            self.duties[coil] = Duty::permit(code);
        }
        self.frame += 1;
        if self.frame == self.timing.frames {
            self.settle();
        }
        &self.duties
    }

    /// Brings the model up to the last permitted frame, where it otherwise lags by less than a
    /// heat tick. For the end of a song; the next frame starts a new tick.
    pub fn settle(&mut self) {
        if self.frame == 0 {
            return;
        }
        let frames = f64::from(self.frame);
        let span_s = frames * self.timing.frame_s;
        for coil in 0..self.sum_w.len() {
            // Power late in the tick has had less time to drain than its mean would; 1 + G T/C
            // covers the worst order. Nor can it be worse than the highest power throughout.
            // Power early in the tick has had more time to pass on: for the next few ticks a
            // backing may be warmer than its model by P T^2 G_cb / (2 C_c C_b), microkelvins.
            let drain = self.network.loss[coil] / self.network.heat[coil] * span_s;
            let late = self.sum_w[coil] / frames * (1.0 + drain);
            self.sum_w[coil] = late.min(self.peak_w[coil]);
        }
        self.heat.step(&self.network, &self.sum_w, span_s);
        for (node_c, rise) in self.meters.node_c.iter_mut().zip(&self.heat.rise) {
            *node_c = self.room_c + rise;
        }
        self.frame = 0;
    }

    fn start_tick(&mut self) {
        self.limiter.refresh(&self.network, &self.heat.rise);
        self.lifters.warm(&self.drivers, &self.heat.rise);
        for (coil, wired) in self.drivers.all().enumerate() {
            self.most[coil] = wired.within(self.limiter.cap_w[coil] / self.limiter.full_w[coil]);
        }
        self.sum_w.fill(0.0);
        self.peak_w.fill(0.0);
    }

    /// What was permitted at the last frame, per coil.
    pub fn duties(&self) -> &[Duty] {
        &self.duties
    }

    /// Room temperature, C.
    pub fn room_c(&self) -> f64 {
        self.room_c
    }

    /// What happened at the last frame.
    pub fn load(&self) -> Load<'_> {
        let meters = &self.meters;
        Load {
            node_c: &meters.node_c,
            rail_a: &meters.rail_a,
            wished: meters.frame.wished,
            granted: meters.frame.granted,
            cut_heat: meters.frame.cut_heat,
            cut_rail: meters.frame.cut_rail,
            cut_driver: meters.frame.cut_driver,
        }
    }

    /// What happened since the first frame, per coil.
    pub fn totals(&self) -> Totals<'_> {
        let meters = &self.meters;
        Totals {
            wished: &meters.wished,
            granted: &meters.granted,
            cut_heat: &meters.cut_heat,
            cut_rail: &meters.cut_rail,
            cut_driver: &meters.cut_driver,
        }
    }

    /// Per node, C: the temperature at which the limiter holds it. Coils, backings, enclosure.
    pub fn bound_c(&self) -> &[f64] {
        &self.bound_c
    }

    /// Per node, C: the limit that was stated; infinite for an enclosure without one.
    pub fn limit_c(&self) -> &[f64] {
        &self.limit_c
    }

    /// Per coil, W: power that heat never takes away, counted with the coil's power factor.
    pub fn floor_w(&self) -> &[f64] {
        &self.limiter.floor_w
    }

    /// The share of its full power that every coil may take for ever.
    pub fn floor_share(&self) -> f64 {
        self.share
    }

    /// The node whose limit decides the continuous power of all coils.
    pub fn binding(&self) -> Node {
        self.binds
    }

    /// Per coil: the highest compare value that heat allows at present, without rails.
    pub(super) fn most(&self) -> &[u32] {
        &self.most
    }
}

impl Meters {
    fn new(node_c: Vec<f64>, coils: usize, rails: usize) -> Self {
        let zeros = vec![0.0; coils];
        Self {
            node_c,
            rail_a: vec![0.0; rails],
            frame: Sums::default(),
            wished: zeros.clone(),
            granted: zeros.clone(),
            cut_heat: zeros.clone(),
            cut_rail: zeros.clone(),
            cut_driver: zeros,
        }
    }

    fn start_frame(&mut self) {
        self.rail_a.fill(0.0);
        self.frame = Sums::default();
    }

    /// Counts one coil: the duty wished for, and its duty as asked of the driver, as heat allows,
    /// as the driver makes that, as its rail feeds, as granted.
    fn count(&mut self, coil: usize, wished: f64, duties: [f64; 5]) {
        let [asked, cool, made, fed, granted] = duties;
        let cut_driver = (wished - asked).max(0.0) + (cool - made) + (fed - granted);
        self.frame.wished += wished;
        self.frame.granted += granted;
        self.frame.cut_driver += cut_driver;
        self.wished[coil] += wished;
        self.granted[coil] += granted;
        self.cut_driver[coil] += cut_driver;
        if granted < asked {
            self.frame.cut_heat += asked - cool;
            self.frame.cut_rail += made - fed;
            self.cut_heat[coil] += asked - cool;
            self.cut_rail[coil] += made - fed;
        }
    }
}
