//! What kind of board it is, and what it takes from a host.

use coilscore::frame::wire::hello::{Hello, Role, Verdict};
use coilscore::frame::{CoilRun, Packing};

/// What kind of board it is.
#[derive(Debug, Clone)]
pub struct Plan {
    pub channels: u16,
    pub steps: u16,
    pub two_way: bool,
    /// The only packing it takes; `None` takes any that holds its codes.
    pub packing: Option<Packing>,
    pub hold_ms: u16,
    pub pwm_hz: u32,
}

impl Default for Plan {
    fn default() -> Self {
        let (channels, steps, hold_ms, pwm_hz) = (12, 4095, 250, 22_000);
        Self { channels, steps, two_way: false, packing: None, hold_ms, pwm_hz }
    }
}

impl Plan {
    /// The packing that it names.
    pub fn own_packing(&self) -> Packing {
        let Self { channels, steps, two_way, packing, .. } = *self;
        let narrowest = Packing::narrowest(&[CoilRun { count: channels.into(), steps, two_way }]);
        packing.unwrap_or(narrowest.unwrap_or(Packing::Word))
    }

    /// What it says to this HELLO, with the hold that both would keep.
    pub fn judge(&self, hello: &Hello, hold_ms: u16) -> Verdict {
        let held = hello.packing.codes();
        let steps = i32::from(self.steps);
        let carries = held.contains(&steps) && (!self.two_way || held.contains(&-steps));
        let [num, den] = hello.rate;
        let period_ms = 1000.0 * f64::from(den) / f64::from(num.max(1));
        match () {
            () if hello.role != Role::Host => Verdict::Malformed,
            () if hello.channels != self.channels => Verdict::Channels,
            () if hello.steps != self.steps => Verdict::Steps,
            () if hello.two_way != self.two_way => Verdict::Polarity,
            () if !carries || self.packing.is_some_and(|only| only != hello.packing) => {
                Verdict::Packing
            }
            () if period_ms > f64::from(hold_ms) => Verdict::Slow,
            () => Verdict::Ready,
        }
    }
}
