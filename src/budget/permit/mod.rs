//! The stage itself: one frame of wishes in, one frame of duties out.

#![expect(clippy::indexing_slicing, reason = "all arrays hold one entry per coil, node or rail")]

mod passes;

use super::check::check;
use super::drive::{Ask, Drivers, Lifters};
use super::ease::Ease;
use super::heat::Heat;
use super::limiter::Limiter;
use super::load::{Load, Meters, Totals};
use super::network::{Network, Node};
use super::rails::Rails;
use super::rider::Rider;
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
    ease: Ease,
    rider: Rider,
    heat: Heat,
    /// Frames since the model last advanced.
    frame: u32,
    /// Per coil, in this tick: highest compare value, energy over frame period, highest power.
    most: Vec<u32>,
    sum_w: Vec<f64>,
    peak_w: Vec<f64>,
    /// Per coil: how fast a rise drains, 1/s.
    drain_per_s: Vec<f64>,
    /// Per coil, in this frame: what it asks, its compare value as the driver can make it now.
    asks: Vec<Ask>,
    codes: Vec<u32>,
    shares: Vec<f64>,
    wanted: Vec<f64>,
    duties: Vec<Duty>,
    meters: Meters,
    bound_c: Vec<f64>,
    limit_c: Vec<f64>,
    share: f64,
    binds: Node,
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
        let drivers = Drivers::new(&settings.coils);
        let tick_s = timing.frame_s * f64::from(timing.frames);
        let powers_of = drivers.all().map(|wired| wired.power_of_gain());
        let rider = Rider::new(&network, powers_of, tick_s, timing.horizon_s, settings.ride.0);
        Ok(Self {
            timing,
            room_c,
            drivers,
            lifters: Lifters::new(settings, timing.frame_s),
            limiter: Limiter::new(&network, &allowed, &full_w, room_c, &timing),
            rails: Rails::new(settings, timing.frame_s),
            turns: Turns::new(&settings.coils, timing.frame_s),
            ease: Ease::none(coils),
            rider,
            heat,
            frame: 0,
            most: vec![0; coils],
            sum_w: vec![0.0; coils],
            peak_w: vec![0.0; coils],
            drain_per_s: network.drains().take(coils).collect(),
            asks: vec![Ask::OFF; coils],
            codes: vec![0; coils],
            shares: vec![0.0; coils],
            wanted: vec![0.0; coils],
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
        let laws = self.lifters.any();
        match wishes {
            Some(wishes) if laws => self.ask::<true>(wishes),
            Some(wishes) => self.ask::<false>(wishes),
            None => self.ask_nothing(),
        }
        self.feed();
        if laws {
            self.grant::<true>()
        } else {
            self.grant::<false>()
        }
        if self.rider.rides() {
            for (coil, &share) in self.wanted.iter().enumerate() {
                self.rider.saw(coil, share);
            }
            self.rider.frame();
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
        let tick = self.sum_w.iter_mut().zip(&self.peak_w).zip(&self.drain_per_s);
        for ((sum_w, peak_w), drain_per_s) in tick {
            // Power late in the tick has had less time to drain than its mean would; 1 + G T/C
            // covers the worst order. Nor can it be worse than the highest power throughout.
            // Power early in the tick has had more time to pass on: for the next few ticks a
            // backing may be warmer than its model by P T^2 G_cb / (2 C_c C_b), microkelvins.
            let late = *sum_w / frames * (1.0 + drain_per_s * span_s);
            *sum_w = late.min(*peak_w);
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
        if self.rider.rides() {
            self.rider.lead(&self.network, &self.limiter, &self.heat.rise, &mut self.ease);
        }
        let caps = self.limiter.cap_w.iter().zip(&self.limiter.full_w);
        for ((most, (cap_w, full_w)), wired) in
            self.most.iter_mut().zip(caps).zip(self.drivers.all())
        {
            *most = wired.within(cap_w / full_w);
        }
        self.sum_w.fill(0.0);
        self.peak_w.fill(0.0);
    }

    /// Sets a gain, 0 to 1, on the wishes of each coil from the next frame on, for whoever has seen
    /// what is to come. What it takes counts as cut by heat. Coils beyond the list keep theirs.
    pub fn set_gains(&mut self, gains: &[f64]) {
        for (coil, &gain) in gains.iter().enumerate() {
            self.ease.set(coil, gain);
        }
    }

    /// The gain that stands before each coil.
    pub fn gains(&self) -> &[f64] {
        self.ease.gains()
    }

    /// Per coil: heat share, 0 to 1, of the duty granted at the last frame.
    pub fn shares(&self) -> &[f64] {
        &self.shares
    }

    /// Per coil: heat share that it would have had at the last frame if the limiter had cut nothing.
    pub(super) fn wanted(&self) -> &[f64] {
        &self.wanted
    }

    /// Per coil: whether its supply was on its start-up ramp at the last frame: what it took then, no
    /// lesser wish would have kept.
    pub fn rising(&self) -> impl Iterator<Item = bool> + '_ {
        self.rails.rising()
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
        let counts = &self.meters.counts;
        Totals {
            wished: &counts.wished,
            granted: &counts.granted,
            cut_heat: &counts.cut_heat,
            cut_rail: &counts.cut_rail,
            cut_driver: &counts.cut_driver,
            eased: &counts.eased,
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
