//! What resistance has each winding?

use super::{Action, Next, Reading, Round, Said, Seen};
use crate::budget::{BudgetSettings, CoilBudget};
use crate::coil::copper::resistance_at;
use crate::coil::harness::pair_resistance;
use crate::coil::pwm::heat_share;
use crate::preset::Display;
use crate::preset::display::Wire;
use crate::preset::finding::At;
use crate::units::{Celsius, Ohms, Share};

/// What is known of a coil before it is measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Probe {
    /// Resistance of the winding as the display file has it, and at which temperature.
    pub resistance: Ohms,
    /// That temperature.
    pub reference: Celsius,
    /// Wire there and back.
    pub leads: Ohms,
    /// Lost in the switch, V.
    pub switch_drop_v: f64,
    /// PWM period over L/R, for duties below full.
    pub period_over_tau: f64,
}

/// How a winding compares with what its display file says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// As it should be.
    Good,
    /// Hardly any current: broken winding, wire, contact, fuse or switch.
    Open,
    /// Less than half the resistance that it may have.
    Shorted,
    /// Off by more than a tenth, or than the board can tell, at any temperature it may have.
    Drifting,
}

/// A winding that was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// From 0.
    pub coil: usize,
    /// Its resistance, wire taken off, ohm; infinite when there was no current.
    pub ohms: f64,
    /// What it should be: with copper as cold as the room, and as warm as the model has it.
    pub expected_ohms: [f64; 2],
    /// Those temperatures, C. The model never has a coil too cool; it may have it far too warm.
    pub coil_c: [f64; 2],
    /// Duty that it was measured at.
    pub duty: f64,
    /// What that means.
    pub verdict: Verdict,
}

/// What was measured before reports count, s: the board's filters and the supply settle.
pub(super) const SETTLE_S: f64 = 0.3;

/// Without a report for so long there will be none, s.
pub(super) const SILENT_S: f64 = 3.0;

/// Duty of the first, careful look: a short gives itself away before it is driven in full.
pub(super) const LOOK: f64 = 0.15;

/// A look that draws more than this many times what the coil can draw is a short.
pub(super) const SHORT: f64 = 2.0;

/// Reports averaged: at rest, at the look, in full.
const REPORTS: [usize; 3] = [2, 1, 4];

/// Less than this part of the expected current is none.
const OPEN: f64 = 0.1;

/// Windings are made to about this, and copper's temperature is known to about 10 K, which is 4 %.
const DRIFT: f64 = 0.1;

/// Boards report current in steps of this, A.
pub(super) const STEP_A: f64 = 0.01;

/// Says why the round cannot be done.
pub(super) const SILENT: &str = "the board does not report its supply voltage and current, so windings cannot \
                      be measured through it: use an ohmmeter with the power off";

/// Measures one coil after the other.
#[derive(Debug, Clone)]
pub struct MeasureRound {
    probes: Vec<Probe>,
    room_c: f64,
    at: usize,
    /// At rest, at the look, in full.
    stage: usize,
    since_s: Option<f64>,
    counted: u64,
    heard_s: f64,
    sums: Sums,
    base_a: f64,
    over: bool,
}

/// Reports of one stage added up.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    reports: usize,
    volts: f64,
    amps: f64,
    duty: f64,
    coil_c: f64,
}

impl MeasureRound {
    /// Over these coils, in a room as warm as stated.
    pub fn new(probes: Vec<Probe>, room_c: f64) -> Self {
        Self {
            over: probes.is_empty(),
            probes,
            room_c,
            at: 0,
            stage: 0,
            since_s: None,
            counted: 0,
            heard_s: 0.0,
            sums: Sums::default(),
            base_a: 0.0,
        }
    }

    fn go(&mut self, to: usize) {
        (self.at, self.stage, self.since_s) = (to, 0, None);
        self.over = to >= self.probes.len();
    }

    fn enter(&mut self, stage: usize) {
        (self.stage, self.since_s) = (stage, None);
    }

    /// Takes a report in if it is new and what it measures has settled.
    fn hear(&mut self, seen: &Seen<'_>, since_s: f64) -> Result<(), &'static str> {
        let Reading { count, supply_v, supply_a, .. } = seen.reading;
        if count == self.counted {
            return if seen.now_s - self.heard_s > SILENT_S { Err(SILENT) } else { Ok(()) };
        }
        (self.counted, self.heard_s) = (count, seen.now_s);
        let Some((volts, amps)) = supply_v.zip(supply_a) else { return Err(SILENT) };
        if seen.now_s - since_s >= SETTLE_S {
            self.sums.reports += 1;
            self.sums.volts += volts;
            self.sums.amps += amps;
            self.sums.duty += seen.granted;
            self.sums.coil_c += seen.coil_c.get(self.at).copied().unwrap_or(0.0);
        }
        Ok(())
    }

    /// The stage has its reports: what now?
    fn conclude(&mut self, say: &mut dyn FnMut(Said)) {
        let Some(probe) = self.probes.get(self.at).copied() else { return };
        let mean = self.sums.mean();
        match self.stage {
            0 => {
                self.base_a = mean.amps;
                self.enter(1);
            }
            1 => {
                // Smooth current draws less than this, never more.
                let most_a = mean.duty * mean.volts / probe.expected(self.room_c.min(mean.coil_c));
                if mean.amps - self.base_a > SHORT * most_a + 2.0 * STEP_A {
                    say(Said::Measured(self.judged(&probe, &mean)));
                    self.go(self.at + 1);
                } else {
                    self.enter(2);
                }
            }
            _ => {
                say(Said::Measured(self.judged(&probe, &mean)));
                self.go(self.at + 1);
            }
        }
    }

    fn judged(&self, probe: &Probe, mean: &Sums) -> Measured {
        let coil_c = [self.room_c.min(mean.coil_c), mean.coil_c];
        let expected = coil_c.map(|c| probe.expected(c));
        let amps = mean.amps - self.base_a;
        let volts = mean.volts - probe.switch_drop_v;
        let drawn = |ohms: f64| volts * heat_share(mean.duty, probe.period_over_tau) / ohms;
        // Most when cold, least when warm.
        let [most_a, least_a] = expected.map(drawn);
        // The current is known to a step of the board, and so is what it was at rest.
        let unsure = 2.0 * STEP_A / least_a.max(STEP_A);
        // How much more resistance than the warmest may have, or less than the coldest.
        let (more, less) = (least_a / amps - 1.0, 1.0 - most_a / amps);
        let verdict = match () {
            () if amps < OPEN.max(unsure).min(0.5) * least_a => Verdict::Open,
            () if less > 0.5 => Verdict::Shorted,
            () if more.max(less) > DRIFT.max(unsure) => Verdict::Drifting,
            () => Verdict::Good,
        };
        let ohms = match verdict {
            Verdict::Open => f64::INFINITY,
            _ => (drawn(1.0) / amps - probe.leads.0).max(0.0),
        };
        Measured {
            coil: self.at,
            ohms,
            expected_ohms: expected.map(|ohms| ohms - probe.leads.0),
            coil_c,
            duty: mean.duty,
            verdict,
        }
    }
}

impl Sums {
    fn mean(&self) -> Self {
        let share = 1.0 / self.reports.max(1) as f64;
        Self {
            reports: self.reports,
            volts: self.volts * share,
            amps: self.amps * share,
            duty: self.duty * share,
            coil_c: self.coil_c * share,
        }
    }
}

/// What the display says of every coil, in display order.
pub fn probes(display: &Display, settings: &BudgetSettings) -> Vec<Probe> {
    let blocks = display.blocks.iter();
    let wires =
        blocks.flat_map(|block| block.channels.value.iter().map(|_| block.harness.wire.as_ref()));
    let probe = |(coil, wire): (&CoilBudget, Option<&At<Wire>>)| Probe {
        resistance: coil.resistance,
        reference: coil.reference,
        leads: wire.map_or(Ohms(0.0), |wire| {
            pair_resistance(wire.value.area_mm2, wire.value.length_m, settings.room)
        }),
        switch_drop_v: display.driver.switch_drop_v,
        period_over_tau: coil.period_over_tau,
    };
    settings.coils.iter().zip(wires).map(probe).collect()
}

impl Probe {
    /// Winding at this temperature, and its wire.
    pub(super) fn expected(&self, coil_c: f64) -> f64 {
        resistance_at(self.resistance, self.reference, Celsius(coil_c)).0 + self.leads.0
    }
}

impl Round for MeasureRound {
    fn step(&mut self, seen: &Seen<'_>, say: &mut dyn FnMut(Said)) -> Next {
        match seen.action {
            Some(Action::Stop) => self.over = true,
            Some(Action::Next) => self.go(self.at + 1),
            Some(Action::Back) => self.go(self.at.saturating_sub(1)),
            Some(Action::Repeat) => self.go(self.at),
            _ => {}
        }
        if self.over {
            return Next::Done;
        }
        let since_s = *self.since_s.get_or_insert_with(|| {
            self.sums = Sums::default();
            seen.now_s
        });
        if let Err(why) = self.hear(seen, since_s) {
            self.over = true;
            say(Said::Refused(why));
            return Next::Done;
        }
        if REPORTS.get(self.stage).is_none_or(|&enough| self.sums.reports >= enough) {
            self.conclude(say);
        }
        match self.stage {
            _ if self.over => Next::Done,
            0 => Next::Rest(self.at),
            1 => Next::Drive(self.at, Share::saturating(LOOK)),
            _ => Next::Drive(self.at, Share::ALL),
        }
    }
}
