//! A heating test through the board: cold, then heat, then cooling, as rows that `fit` reads.
//!
//! A board reports its current in steps of 10 mA, which is nothing of an ampere and a tenth of what a
//! coil may draw for ever. So resistance is read in short looks at full duty, before, during and
//! after the heating, and the heating begins with full duty for as long as the budget grants it:
//! nothing tells more about the winding. What the looks heat is in the log like everything else.

use super::log_row::{HeatingTest, LogRow, TestStage};
use super::measure::{LOOK, SETTLE_S, SHORT, SILENT, SILENT_S, STEP_A};
use super::{Action, Next, Probe, Reading, Round, Said, Seen};
use crate::coil::pwm::heat_share;
use crate::units::Share;

/// The heating that is held leaves this part of what is granted for ever to the looks.
const HELD: f64 = 0.8;

/// Looks take this part of the steady power at most, on average.
const LOOKS: f64 = 0.15;

/// Readings of one look ...
const TAKEN: usize = 3;

/// ... and its longest time, s.
const LOOK_S: f64 = 0.8;

/// About how long a look takes, s.
const USUAL_LOOK_S: f64 = 0.6;

/// A look that the limits cut short is followed by ones with this part of its duty.
const WEAKER: f64 = 0.75;

/// Duties of looks are spread over this current, A: a step of the board and a little.
const SPREAD_A: f64 = 0.012;

/// How long the surge stays at one of them, s.
const SURGE_APART_S: f64 = 1.0;

/// A duty is the same while it changes by no more than this part.
const STILL: f64 = 0.004;

/// Looks at the cold winding, after a weak one that finds shorts; and how far apart, s.
const COLD_LOOKS: usize = 5;
const COLD_APART_S: f64 = 2.0;

/// Reports at rest.
const RESTED: usize = 5;

/// The surge is over when less than this duty is granted.
const SPENT: f64 = 0.6;

/// No row is further from the last than this, s.
const ROW_S: f64 = 5.0;

/// A duty that changes by more than this gets a row.
const STEP: f64 = 0.01;

/// How long after a change the row that shows it stands, s.
const JUST_AFTER_S: f64 = 0.001;

/// A reading needs this duty: steps of the current are too coarse below.
const LEAST_DUTY: f64 = 0.3;

/// A coil that draws less than this at full duty cannot be read in steps of 10 mA, A.
const LEAST_A: f64 = 0.2;

const COARSE: &str = "at full duty this coil draws less than 0.2 A, and boards report in steps of 0.01 A: too coarse to \
     tell how warm it is; log the test with two meters instead";

const OPEN: &str = "the coil draws hardly any current: look for a broken wire, a loose contact, a blown fuse (see \
     `walk --measure`)";

const SHORTED: &str =
    "the coil draws far more than it should: do not drive it; measure it with the power off";

const HELD_BY_BOARD: &str = "the board does not do what it is sent: it holds the coil to a limit of its own, is too hot, or \
     went off by its watchdog; the log so far stays, and is too short";

/// Heats one coil and looks how warm it gets.
#[derive(Debug, Clone)]
pub struct LogRound {
    test: HeatingTest,
    stage: TestStage,
    since_s: f64,
    over: bool,
    /// Reports so far, and when the last came, s.
    counted: u64,
    heard_s: f64,
    /// What the board draws by itself: sum and count.
    base: (f64, usize),
    volts: f64,
    ohms: f64,
    /// Duty that flows, since when it does, and since when it hardly changed.
    duty: f64,
    before_s: f64,
    still: (f64, f64),
    /// Time of the last row, s, and its duty.
    row_s: f64,
    row_duty: f64,
    look: Option<Looking>,
    next_look_s: f64,
    looks: usize,
    look_duty: f64,
}

#[derive(Debug, Clone, Copy)]
struct Looking {
    since_s: f64,
    taken: usize,
}

impl LogRound {
    /// Nothing is driven yet.
    pub fn new(test: HeatingTest) -> Self {
        Self {
            test,
            stage: TestStage::Rest,
            since_s: 0.0,
            over: false,
            counted: 0,
            heard_s: 0.0,
            base: (0.0, 0),
            volts: 0.0,
            ohms: test.probe.expected(test.cold_c),
            duty: 0.0,
            before_s: 0.0,
            still: (0.0, 0.0),
            row_s: f64::NEG_INFINITY,
            row_duty: 0.0,
            look: None,
            next_look_s: 0.0,
            looks: 0,
            look_duty: 1.0,
        }
    }

    /// Whether all of the test was done.
    pub fn is_whole(&self) -> bool {
        self.stage == TestStage::Cooling && self.before_s - self.since_s >= self.test.cool_s
    }

    fn enter(&mut self, stage: TestStage, now_s: f64, say: &mut dyn FnMut(Said)) {
        (self.stage, self.since_s, self.look, self.looks) = (stage, now_s, None, 0);
        self.next_look_s = now_s;
        say(Said::Test(stage));
    }

    fn row(&mut self, time_s: f64, resistance_ohm: Option<f64>, say: &mut dyn FnMut(Said)) {
        (self.row_s, self.row_duty) = (time_s, self.duty);
        let leads = self.test.probe.leads.0;
        let volts = (self.volts - self.test.probe.switch_drop_v).max(0.0);
        let share = heat_share(self.duty, self.test.probe.period_over_tau);
        say(Said::Logged(LogRow {
            time_s,
            voltage_v: volts * (1.0 - leads / self.ohms),
            current_a: volts * share / self.ohms,
            resistance_ohm,
            heating: matches!(self.stage, TestStage::Surge | TestStage::Steady),
        }));
    }

    /// Follows the duty that was granted since the last frame.
    fn follow(&mut self, seen: &Seen<'_>, say: &mut dyn FnMut(Said)) {
        let now = seen.granted;
        // It changed when the last frame was sent.
        let (then_s, step) = (self.before_s, (now - self.duty).abs());
        if step > STEP {
            self.row(then_s, None, say);
        }
        self.duty = now;
        if step > STEP {
            self.row(then_s + JUST_AFTER_S, None, say);
        } else if (now - self.row_duty).abs() > STEP {
            self.row(then_s, None, say);
        }
        if (now - self.still.0).abs() > STILL * now.max(0.05) {
            self.still = (now, self.before_s);
        }
        if seen.now_s - self.row_s > ROW_S {
            self.row(seen.now_s, None, say);
        }
        self.before_s = seen.now_s;
    }

    /// Takes a report in, if there is a new one.
    fn hear(&mut self, seen: &Seen<'_>, say: &mut dyn FnMut(Said)) -> Result<(), &'static str> {
        let Reading { count, supply_v, supply_a, held } = seen.reading;
        if count == self.counted {
            return if seen.now_s - self.heard_s > SILENT_S { Err(SILENT) } else { Ok(()) };
        }
        (self.counted, self.heard_s) = (count, seen.now_s);
        let Some((volts, amps)) = supply_v.zip(supply_a) else { return Err(SILENT) };
        if held && self.stage != TestStage::Rest {
            return Err(HELD_BY_BOARD);
        }
        if seen.now_s - self.still.1 < SETTLE_S {
            return Ok(());
        }
        self.volts = volts;
        if self.stage == TestStage::Rest {
            self.base = (self.base.0 + amps, self.base.1 + 1);
            if self.base.1 >= RESTED {
                self.enter(TestStage::Cold, seen.now_s, say);
            }
            return Ok(());
        }
        let amps = amps - self.base.0 / self.base.1.max(1) as f64;
        self.judge(amps)?;
        let looked_at = self.look.is_some() || self.stage == TestStage::Surge;
        if self.duty < LEAST_DUTY || !looked_at {
            self.look.iter_mut().for_each(|look| look.taken += 1);
            return Ok(());
        }
        let share = heat_share(self.duty, self.test.probe.period_over_tau);
        self.ohms = (volts - self.test.probe.switch_drop_v) * share / amps;
        self.row(seen.now_s, Some((self.ohms - self.test.probe.leads.0).max(0.0)), say);
        self.look.iter_mut().for_each(|look| look.taken += 1);
        Ok(())
    }

    /// Refuses what is no coil as described.
    fn judge(&self, amps: f64) -> Result<(), &'static str> {
        let Probe { period_over_tau, .. } = self.test.probe;
        let full_a = self.volts / self.test.probe.expected(self.test.cold_c);
        if full_a < LEAST_A {
            return Err(COARSE);
        }
        // Smooth current draws less than this, never more.
        if amps > SHORT * self.duty * full_a + 2.0 * STEP_A {
            return Err(SHORTED);
        }
        let expected_a = full_a * heat_share(self.duty, period_over_tau);
        if self.duty >= LEAST_DUTY && amps < 0.1 * expected_a { Err(OPEN) } else { Ok(()) }
    }

    /// Power that is held, as a share of the full one.
    fn held_share(&self) -> f64 {
        HELD * self.test.floor_share.min(1.0)
    }

    /// From one look to the next, s.
    fn apart_s(&self, now_s: f64) -> f64 {
        let usual_s = USUAL_LOOK_S / (LOOKS * self.held_share()).max(1e-6);
        match self.stage {
            TestStage::Cold => COLD_APART_S,
            // What the winding does against its backing is over soon.
            _ if now_s - self.since_s < 4.0 * self.test.fast_s => {
                usual_s.min(self.test.fast_s.max(1.5))
            }
            _ => usual_s.min(self.test.cool_s / 12.0),
        }
    }

    /// Whether a look is on; begins and ends them.
    fn looks(&mut self, now_s: f64) -> bool {
        if let Some(look) = self.look
            && (look.taken >= TAKEN || now_s - look.since_s > LOOK_S)
        {
            if look.taken < TAKEN {
                // The limits did not leave it alone for long enough: a weaker one lasts.
                self.look_duty = (WEAKER * self.look_duty).max(LEAST_DUTY + 2.0 * STEP);
            }
            self.look = None;
            self.looks += 1;
            self.next_look_s = now_s + self.apart_s(now_s);
        }
        if self.look.is_none() && now_s >= self.next_look_s {
            self.look = Some(Looking { since_s: now_s, taken: 0 });
        }
        self.look.is_some()
    }

    /// On to the next stage, where this one has had its time.
    fn go_on(&mut self, now_s: f64, say: &mut dyn FnMut(Said)) {
        let stage_s = now_s - self.since_s;
        match self.stage {
            TestStage::Rest => {}
            TestStage::Cold if self.looks > COLD_LOOKS => {
                // The look before has gone from the winding.
                if self.look.is_none() || stage_s > 60.0 {
                    self.enter(TestStage::Surge, now_s, say);
                }
            }
            TestStage::Surge => {
                let spent = self.duty < SPENT && stage_s > 1.0;
                if spent || stage_s > 2.0 * self.test.fast_s || stage_s > self.test.heat_s {
                    self.enter(TestStage::Steady, now_s, say);
                }
            }
            TestStage::Steady if stage_s >= self.test.heat_s => {
                self.enter(TestStage::Cooling, now_s, say);
            }
            TestStage::Cooling => self.over = stage_s >= self.test.cool_s,
            TestStage::Cold | TestStage::Steady => {}
        }
    }

    /// A little less than full duty, each time by another part of what makes one step of the reported
    /// current: always the same current would always be rounded the same way, and a slow rise hidden
    /// behind it. Parts of the golden ratio never come near each other.
    fn less(&self, times: f64) -> f64 {
        let step =
            (SPREAD_A * self.test.probe.expected(self.test.cold_c) / self.volts.max(1.0)).min(0.1);
        let part = times * 0.618_033_988_75;
        1.0 - step * (part - part.floor())
    }

    /// What is wished now.
    fn wish(&mut self, now_s: f64) -> f64 {
        match self.stage {
            TestStage::Rest => return 0.0,
            TestStage::Surge => {
                let times = ((now_s - self.since_s) / SURGE_APART_S).floor();
                return self.less(times);
            }
            TestStage::Cold | TestStage::Steady | TestStage::Cooling => {}
        }
        // The first look is a weak one: a short gives itself away before it is driven in full.
        let weak = self.stage == TestStage::Cold && self.looks == 0;
        match self.looks(now_s) {
            true if weak => LOOK,
            true => self.look_duty * self.less(self.looks as f64),
            false if self.stage == TestStage::Steady => {
                duty_of(self.held_share(), self.test.probe.period_over_tau)
            }
            false => 0.0,
        }
    }
}

/// The duty that heats with this share of the full power: bisection, as heat only rises with duty.
fn duty_of(share: f64, period_over_tau: f64) -> f64 {
    let halve = |(low, high): (f64, f64), _| {
        let middle = (low + high) / 2.0;
        if heat_share(middle, period_over_tau) < share { (middle, high) } else { (low, middle) }
    };
    (0..40).fold((0.0, 1.0), halve).0
}

impl Round for LogRound {
    fn step(&mut self, seen: &Seen<'_>, say: &mut dyn FnMut(Said)) -> Next {
        if self.over || seen.action == Some(Action::Stop) {
            self.over = true;
            return Next::Done;
        }
        self.follow(seen, say);
        if let Err(why) = self.hear(seen, say) {
            self.over = true;
            say(Said::Refused(why));
            return Next::Done;
        }
        self.go_on(seen.now_s, say);
        if self.over {
            self.row(seen.now_s, None, say);
            return Next::Done;
        }
        match self.wish(seen.now_s) {
            share if share > 0.0 => Next::Drive(self.test.coil, Share::saturating(share)),
            _ => Next::Rest(self.test.coil),
        }
    }
}
