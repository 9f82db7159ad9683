//! What one frame costs most: two passes over all coils, and the rails between them.
//!
//! All lists are cut to one length first, so that the compiler sees that no index leaves them. What
//! most coils do in most frames, to rest or to be granted what they ask, comes first and is short.

use super::super::drive::{Ask, Denied, signed};
use super::super::load::{Meters, Sums};
use super::{Budget, Duty};
use crate::units::Share;

impl Budget {
    /// First pass, without wishes: every coil off.
    pub(super) fn ask_nothing(&mut self) {
        self.asks.fill(Ask::OFF);
        self.codes.fill(0);
        self.shares.fill(0.0);
    }

    /// First pass: what every coil asks of its driver, and the compare values that heat allows with
    /// their heat shares. `LAWS`: some coils have a law of pull.
    pub(super) fn ask<const LAWS: bool>(&mut self, wishes: &[Share]) {
        let coils = self.codes.len();
        let (lifters, turns) = (&mut self.lifters, &self.turns);
        let (asks, most) = (&mut self.asks[..coils], &self.most[..coils]);
        let (codes, shares) = (&mut self.codes[..coils], &mut self.shares[..coils]);
        let gains = &self.ease.gains()[..coils];
        let drivers = self.drivers.all();
        for (coil, wired) in drivers.take(coils).enumerate() {
            let wish = wishes.get(coil).copied().unwrap_or(Share::NONE);
            let ask = if LAWS && !lifters.is_straight(coil) {
                lifters.ask(coil, &wired, wish)
            } else if wish.get() == 0.0 {
                (asks[coil], codes[coil], shares[coil]) = (Ask::OFF, 0, 0.0);
                continue;
            } else {
                wired.straight(Share::saturating(wish.get() * gains[coil]))
            };
            let ready = turns.may(coil, ask.backwards);
            let asked = if ready { wired.made(ask.code) } else { 0 };
            let code = wired.made(asked.min(most[coil]));
            asks[coil] = Ask { code: asked, ..ask };
            codes[coil] = code;
            shares[coil] = wired.heat(code);
        }
    }

    /// Between the passes: short rails are shared out. Afterwards `codes` is what they feed, `shares`
    /// what the coils will heat.
    pub(super) fn feed(&mut self) {
        if self.rails.lower(&self.drivers, &mut self.codes, &mut self.shares) {
            let fed = self.codes.iter().zip(&mut self.shares);
            for ((&fed, share), wired) in fed.zip(self.drivers.all()) {
                let code = wired.made(fed);
                if code < fed {
                    *share = wired.heat(code);
                }
            }
            self.rails.add_up(&self.shares);
        }
        self.meters.rail_a.copy_from_slice(self.rails.drawn_a());
    }

    /// Second pass: heat for the model, and what was granted, counted and remembered. `LAWS` as in the
    /// first.
    pub(super) fn grant<const LAWS: bool>(&mut self) {
        self.heat_up();
        self.wanted.copy_from_slice(&self.shares);
        let coils = self.codes.len();
        let (lifters, turns) = (&mut self.lifters, &mut self.turns);
        let (asks, most) = (&self.asks[..coils], &self.most[..coils]);
        let (codes, duties) = (&self.codes[..coils], &mut self.duties[..coils]);
        let (wanted, takes) = (&mut self.wanted[..coils], &self.ease.takes()[..coils]);
        let Meters { counts, .. } = &mut self.meters;
        let mut counts = counts.cut_to(coils);
        let mut frame = Sums::default();
        for (coil, wired) in self.drivers.all().take(coils).enumerate() {
            let (ask, fed) = (asks[coil], codes[coil]);
            let asked = ask.code;
            let straight = !LAWS || lifters.is_straight(coil);
            if straight && asked == 0 && ask.wanted == 0.0 {
                turns.rests(coil);
                duties[coil] = Duty::OFF;
                continue;
            }
            let code = wired.made(fed);
            let cool = asked.min(most[coil]);
            if asked == code && ask.denied == Denied::Nothing {
                counts.granted(&mut frame, coil, ask.wanted, wired.duty(code));
            } else {
                if asked > cool {
                    wanted[coil] = wired.heat(asked);
                }
                let codes = match ask.denied {
                    Denied::Nothing => [asked, cool, wired.made(cool), fed, code],
                    Denied::Heat(denied) => [denied, 0, 0, 0, 0],
                    Denied::Rail(denied) => [denied, denied, denied, 0, 0],
                };
                counts.cut(&mut frame, coil, ask.wanted, codes.map(|code| wired.duty(code)));
            }
            if straight {
                counts.eased(&mut frame, coil, takes[coil] * ask.wanted);
            }
            let code = signed(code, ask.backwards);
            turns.sent(coil, code);
            if LAWS {
                lifters.sent(coil, code, asked, cool);
            }
            duties[coil] = Duty::permit(code);
        }
        self.meters.frame = frame;
    }

    /// Adds the power of this frame to the tick's.
    fn heat_up(&mut self) {
        let powers = self.shares.iter().zip(&self.limiter.tick_full_w);
        let tick = self.sum_w.iter_mut().zip(&mut self.peak_w);
        for ((sum_w, peak_w), (share, full_w)) in tick.zip(powers) {
            let power_w = share * full_w;
            *sum_w += power_w;
            if power_w > *peak_w {
                *peak_w = power_w;
            }
        }
    }
}
