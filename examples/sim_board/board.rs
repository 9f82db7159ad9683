//! What a driver board does, without a board: bytes in, bytes out, time as an argument.
//!
//! It follows the link of `coilscore::frame::wire`: HELLO and verdicts, newer frames only, limits,
//! watchdog, STATUS. It shares packets with the program and no decisions.

use coilscore::frame::wire::hello::{Hello, HelloError, Knows, Role, Verdict};
use coilscore::frame::wire::limits::{Limit, Limits};
use coilscore::frame::wire::status::Status;
use coilscore::frame::wire::{DELIMITER, Decoder, Encoder, Kind};
use coilscore::frame::{CoilRun, Packing, RecordedCode};

#[path = "plan.rs"]
mod plan;
#[path = "plant.rs"]
mod plant;

pub use plan::Plan;
pub use plant::{Plant, drawn};

/// Something that happened, in the order in which it did.
#[derive(Debug, Clone, PartialEq)]
pub enum Seen {
    Hello { verdict: Verdict, at_s: f64 },
    Duty { frame: u32, codes: Vec<i32>, at_s: f64 },
    Off { frame: u32, at_s: f64 },
    Trip { at_s: f64 },
    Stored { taken: bool },
}

/// What a good HELLO agreed on.
#[derive(Debug, Clone)]
struct Agreed {
    packing: Packing,
    hold_s: f64,
    rate: [u32; 2],
}

/// An invented room, an invented board: it settles this far above the room at full load ...
const FULL_RISE_C: f64 = 50.0;
/// ... with this time constant, and switches off at the limit.
const HEAT_S: f64 = 120.0;
const ROOM_C: f64 = 24.0;
const TOO_HOT_C: f64 = 85.0;
/// Its invented coils.
const COIL_OHM: f64 = 15.0;

const STATUS_S: f64 = 0.1;
const ANNOUNCE_S: f64 = 1.0;

/// The board.
pub struct SimBoard {
    plan: Plan,
    decoder: Decoder,
    encoder: Encoder,
    out: Vec<u8>,
    agreed: Option<Agreed>,
    codes: Vec<i32>,
    means: Vec<f64>,
    flash: Limits,
    force: Vec<Limit>,
    last_frame: Option<u32>,
    last_good_s: f64,
    status: Status,
    now_s: f64,
    next_s: f64,
    celsius: f64,
    /// It hears and says nothing, as a board that hangs.
    pub mute: bool,
    /// Nobody fetches what the host sends.
    pub frozen: bool,
    /// Resistance per channel, ohm: what is broken or shorted shows in the current.
    pub ohms: Vec<f64>,
    /// Coils that warm up, and change `ohms` with it; `None`: they stay as they are.
    pub plant: Option<Plant>,
    /// Whether it reports supply and current.
    pub knows_supply: bool,
    /// So many OFFs are lost on the way.
    pub lost_offs: u32,
    /// All that happened.
    pub seen: Vec<Seen>,
}

impl SimBoard {
    pub fn new(plan: Plan) -> Self {
        let channels = usize::from(plan.channels);
        let open = Limit { most: plan.steps, mean_most: plan.steps };
        Self {
            decoder: Decoder::new(8192),
            encoder: Encoder::new(8192),
            out: Vec::new(),
            agreed: None,
            codes: vec![0; channels],
            means: vec![0.0; channels],
            flash: Limits { window_s: 60, limits: vec![open; channels] },
            force: vec![open; channels],
            last_frame: None,
            last_good_s: 0.0,
            status: Status::default(),
            now_s: 0.0,
            next_s: 0.0,
            celsius: ROOM_C,
            mute: false,
            frozen: false,
            ohms: vec![COIL_OHM; channels],
            plant: None,
            knows_supply: true,
            lost_offs: 0,
            seen: Vec::new(),
            plan,
        }
    }

    /// Power went away and came back: everything is off and forgotten, but for what is in flash.
    pub fn reset(&mut self) {
        let (plan, flash, seen) =
            (self.plan.clone(), self.flash.clone(), std::mem::take(&mut self.seen));
        let (now_s, celsius) = (self.now_s, self.celsius);
        let force = flash.limits.clone();
        let (ohms, knows_supply) = (self.ohms.clone(), self.knows_supply);
        let plant = self.plant.take();
        let new = Self { flash, force, seen, now_s, celsius, next_s: now_s, ..Self::new(plan) };
        *self = Self { ohms, knows_supply, plant, ..new };
    }

    /// Bytes for the host.
    pub fn take_out(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.out)
    }

    /// Codes on the outputs now.
    pub fn codes(&self) -> &[i32] {
        &self.codes
    }

    /// What it would report now.
    pub fn status(&self) -> Status {
        let (volts, amps) = drawn(self.duties().zip((0..).map(|channel| self.ohm(channel))));
        Status {
            not_greeted: self.agreed.is_none(),
            temperature_c: Some(self.celsius),
            supply_v: self.knows_supply.then_some(volts),
            supply_a: self.knows_supply.then_some(amps),
            ..self.status
        }
    }

    /// Duties without their signs.
    fn duties(&self) -> impl Iterator<Item = f64> {
        let steps = f64::from(self.plan.steps);
        self.codes.iter().map(move |code| f64::from(code.abs()) / steps)
    }

    /// Resistance of the winding on a channel now, ohm.
    pub fn ohm(&self, channel: usize) -> f64 {
        self.ohms[channel] * self.plant.as_ref().map_or(1.0, |plant| plant.warmer(channel))
    }

    /// Windings warm up and cool.
    fn warm(&mut self, span_s: f64) {
        let Some(mut plant) = self.plant.take() else { return };
        let (volts, _) = drawn(self.duties().zip((0..).map(|n| self.ohms[n] * plant.warmer(n))));
        let duties: Vec<f64> = self.duties().collect();
        plant.pass(span_s, |channel| duties[channel] * volts * volts / self.ohms[channel]);
        self.plant = Some(plant);
    }

    /// Limits that it keeps.
    pub fn flash(&self) -> &Limits {
        &self.flash
    }

    /// Time passes: watchdog, heat, running means, reports.
    pub fn pass(&mut self, now_s: f64) {
        let span_s = (now_s - self.now_s).max(0.0);
        self.now_s = now_s;
        let window_s = f64::from(self.flash.window_s.max(1));
        let share = 1.0 - (-span_s / window_s).exp();
        for (mean, code) in self.means.iter_mut().zip(&self.codes) {
            *mean += (f64::from(code.abs()) - *mean) * share;
        }
        let settled_c = ROOM_C + FULL_RISE_C * self.load();
        self.warm(span_s);
        self.celsius += (settled_c - self.celsius) * (1.0 - (-span_s / HEAT_S).exp());
        self.status.too_hot = self.celsius > TOO_HOT_C;
        if self.status.too_hot {
            self.all_off();
        }
        let hold_s = self.agreed.as_ref().map_or(0.0, |agreed| agreed.hold_s);
        if self.status.driving && now_s - self.last_good_s > hold_s {
            self.all_off();
            self.status.off_by_watchdog = true;
            self.status.trips = self.status.trips.wrapping_add(1);
            self.seen.push(Seen::Trip { at_s: now_s });
        }
        if now_s < self.next_s {
            return;
        }
        match &self.agreed {
            Some(_) => {
                self.next_s = now_s + STATUS_S;
                self.report();
            }
            None => {
                self.next_s = now_s + ANNOUNCE_S;
                self.answer(Verdict::NoHello, Packing::Byte, self.plan.hold_ms, [0, 0]);
            }
        }
    }

    /// Bytes from the host, that came since time last passed.
    pub fn hear_at(&mut self, bytes: &[u8], now_s: f64) {
        let before_s = std::mem::replace(&mut self.now_s, now_s);
        self.hear(bytes);
        self.now_s = before_s;
    }

    /// Bytes from the host.
    pub fn hear(&mut self, mut bytes: &[u8]) {
        if self.mute {
            return;
        }
        let mut decoder = std::mem::replace(&mut self.decoder, Decoder::new(0));
        while let Some(event) = decoder.take(&mut bytes) {
            let Ok(packet) = event else {
                self.status.damaged = self.status.damaged.wrapping_add(1);
                continue;
            };
            match packet.kind {
                Kind::Hello => self.hello(packet.payload),
                Kind::Duty => self.duty(packet.frame, packet.payload),
                Kind::Off if self.lost_offs > 0 => self.lost_offs -= 1,
                Kind::Off => {
                    self.all_off();
                    self.status.off_by_watchdog = false;
                    self.seen.push(Seen::Off { frame: packet.frame, at_s: self.now_s });
                }
                Kind::Limits => self.store(packet.payload),
                _ => {}
            }
        }
        self.decoder = decoder;
    }

    fn load(&self) -> f64 {
        let sum: f64 = self.codes.iter().map(|code| f64::from(code.abs())).sum();
        sum / f64::from(self.plan.steps) / self.codes.len() as f64
    }

    fn all_off(&mut self) {
        self.codes.fill(0);
        self.status.driving = false;
    }

    fn hello(&mut self, payload: &[u8]) {
        self.all_off();
        self.agreed = None;
        let own = self.plan.own_packing();
        let hello = match Hello::read(payload) {
            Ok(hello) => hello,
            Err(error) => {
                let verdict = match error {
                    HelloError::Major(_) => Verdict::Version,
                    _ => Verdict::Malformed,
                };
                return self.say(verdict, own, self.plan.hold_ms, [0, 0]);
            }
        };
        let hold_ms = hello.hold_ms.min(self.plan.hold_ms);
        let verdict = self.plan.judge(&hello, hold_ms);
        if verdict == Verdict::Ready {
            let hold_s = f64::from(hold_ms) / 1000.0;
            self.agreed = Some(Agreed { packing: hello.packing, hold_s, rate: hello.rate });
            self.last_frame = None;
            let pairs = self.flash.limits.iter().zip(0..);
            self.force = pairs
                .map(|(own, channel)| {
                    let host = hello.limits.get(channel).unwrap_or(own);
                    Limit {
                        most: own.most.min(host.most),
                        mean_most: own.mean_most.min(host.mean_most),
                    }
                })
                .collect();
            self.next_s = self.now_s + STATUS_S;
        }
        let packing = if verdict == Verdict::Ready { hello.packing } else { own };
        self.say(verdict, packing, hold_ms, hello.rate);
    }

    fn say(&mut self, verdict: Verdict, packing: Packing, hold_ms: u16, rate: [u32; 2]) {
        self.seen.push(Seen::Hello { verdict, at_s: self.now_s });
        self.answer(verdict, packing, hold_ms, rate);
    }

    fn answer(&mut self, verdict: Verdict, packing: Packing, hold_ms: u16, rate: [u32; 2]) {
        let all = Knows { temperature: true, supply_v: true, supply_a: true, flash: true };
        let hello = Hello {
            minor: 0,
            role: Role::Board,
            verdict,
            packing,
            two_way: self.plan.two_way,
            knows: all,
            channels: self.plan.channels,
            steps: self.plan.steps,
            pwm_hz: self.plan.pwm_hz,
            hold_ms,
            rate,
            window_s: self.flash.window_s,
            limits: self.force.clone(),
        };
        let mut payload = Vec::new();
        hello.write(&mut payload);
        self.send(Kind::Hello, 0, &payload);
    }

    fn duty(&mut self, frame: u32, payload: &[u8]) {
        let Some(agreed) = &self.agreed else {
            self.status.dropped = self.status.dropped.wrapping_add(1);
            return;
        };
        let Plan { channels, steps, two_way, .. } = self.plan;
        let run = [CoilRun { count: channels.into(), steps, two_way }];
        let mut codes: Vec<RecordedCode> = Vec::new();
        let whole = agreed.packing.unpack(payload, &run, &mut codes).is_ok();
        // Serial number arithmetic, RFC 1982.
        let ahead = self.last_frame.map(|last| frame.wrapping_sub(last));
        let newer = ahead.is_none_or(|ahead| (1..1 << 31).contains(&ahead));
        if !whole || !newer {
            self.status.dropped = self.status.dropped.wrapping_add(1);
            return;
        }
        self.status.missed = self.status.missed.wrapping_add(ahead.map_or(0, |ahead| ahead - 1));
        self.status.taken = self.status.taken.wrapping_add(1);
        self.last_frame = Some(frame);
        self.last_good_s = self.now_s;
        self.status.driving = true;
        self.status.off_by_watchdog = false;
        self.status.clamping = false;
        let asked: Vec<i32> = codes.into_iter().map(|code| code.0).collect();
        let held = asked.iter().zip(&self.force).zip(&self.means).map(|((code, limit), mean)| {
            let over = *mean > f64::from(limit.mean_most);
            let most = if over { limit.mean_most.min(limit.most) } else { limit.most };
            (*code).clamp(-i32::from(most), i32::from(most))
        });
        self.codes = held.collect();
        let clamped = self.codes.iter().zip(&asked).filter(|(held, asked)| held != asked).count();
        self.status.clamping = clamped > 0;
        self.status.clamped = self.status.clamped.wrapping_add(clamped as u32);
        let codes = self.codes.clone();
        self.seen.push(Seen::Duty { frame, codes, at_s: self.now_s });
    }

    fn store(&mut self, payload: &[u8]) {
        let limits = Limits::read(payload);
        let fits = |limits: &Limits| limits.limits.len() == usize::from(self.plan.channels);
        let limits = limits.ok().filter(fits).filter(|_| !self.status.driving);
        self.seen.push(Seen::Stored { taken: limits.is_some() });
        if let Some(limits) = limits {
            self.force.clone_from(&limits.limits);
            self.flash = limits;
        }
        let verdict = if self.agreed.is_some() { Verdict::Ready } else { Verdict::NoHello };
        let rate = self.agreed.as_ref().map_or([0, 0], |agreed| agreed.rate);
        self.answer(verdict, self.plan.own_packing(), self.plan.hold_ms, rate);
    }

    fn report(&mut self) {
        let mut payload = Vec::new();
        let means: Vec<u16> = self.means.iter().map(|mean| mean.round() as u16).collect();
        self.status().write(&means, &mut payload);
        self.send(Kind::Status, self.last_frame.unwrap_or(0), &payload);
    }

    fn send(&mut self, kind: Kind, frame: u32, payload: &[u8]) {
        if !self.mute {
            self.out.push(DELIMITER);
            self.out.extend_from_slice(self.encoder.packet(kind, frame, payload));
        }
    }
}
