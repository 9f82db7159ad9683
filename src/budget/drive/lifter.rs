//! One coil with a law: what it does for a wish, and where its fluid is by what it was granted.
//!
//! Fluid lifts under a pull above its weight, stays up under less, and drops at a share of the
//! lifting pull. So where the fluid is follows from what was done, and here it does so frame by
//! frame from the compare values that were really sent: a coil that was cut knows that its fluid is
//! coming down, and pulls in again for as long as that lasted.

use super::curve::Curve;
use super::means::Means;
use super::settings::{PullRange, PullSettings};
use super::{Ask, Denied, HAIR, Wired, signed_steps};
use crate::units::Share;

/// From this share of the lifting pull on, fluid may have lifted: densities are known to about 10 %.
/// Our choice, no source.
const PERHAPS: f64 = 0.9;

/// How long a coil pushes against fluid before it gives up, in lengths of its pulse.
const PUSHES: u32 = 4;

/// Failed tries double the rest before the next one up to this many times.
const DOUBLINGS: u32 = 6;

/// Coils of a short supply try again in turns of this many.
const TURNS: u32 = 4;

/// The least wish there is, for ranges in which any wish lifts.
const ANY: f64 = 1e-6;

/// What a coil is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Doing {
    Follow,
    PullIn,
    Hold,
    LetGo,
    Wait,
}

/// The compare values, with the pulling direction as positive, at the winding's present temperature.
#[derive(Debug, Clone, Copy, Default)]
struct Marks {
    lift: i32,
    perhaps: i32,
    drop: i32,
    hold: u32,
}

/// What stays.
#[derive(Debug, Clone, Copy)]
struct Plan {
    curve: Curve,
    range: PullRange,
    /// Wishes from which it is to lift and below which to drop.
    lift_at: f64,
    drop_at: f64,
    /// Currents that lift, may lift, drop, hold and let go.
    lift_v: f64,
    perhaps_v: f64,
    drop_v: f64,
    hold_v: f64,
    let_go_v: f64,
    rise: u32,
    /// Frames of the opposing pulse; 0 where fluid drops by itself or nothing can be done.
    pulse: u32,
    /// By coil number, so that not all try again at once.
    turn: u32,
}

/// What changes.
#[derive(Debug, Clone, Copy)]
struct Now {
    /// Mean current over what full duty gives, for v = 1.
    mean: f64,
    marks: Marks,
    up: bool,
    /// Frames for which the fluid has surely risen.
    height: u32,
    /// Whether it may hang there, and the frames of pulse and of pushing left.
    perhaps: bool,
    pulse: u32,
    pushes: u32,
    /// Frames of a try that were cut, failed tries, frames to wait, and what cut them.
    short: u32,
    tries: u32,
    wait: u32,
    by_heat: bool,
    doing: Doing,
}

/// A coil with a law.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lifter {
    plan: Plan,
    now: Now,
}

impl Lifter {
    /// For coil number `coil`, from checked settings.
    pub(super) fn new(settings: &PullSettings, two_way: bool, coil: usize, frame_s: f64) -> Self {
        let curve = Curve::new(settings, two_way);
        let (rest, drop) = (curve.rest(), settings.drop_share);
        let (lift_at, drop_at, margin) = match settings.range {
            PullRange::FromRest => {
                let at = |pull: f64| (pull - rest) / (curve.highest() - rest);
                (at(1.0), at(drop), 0.0)
            }
            PullRange::FromLift => (ANY, ANY, 0.0),
            PullRange::Held { at, margin } => (at, at * (drop - rest) / (1.0 - rest), margin),
        };
        let hangs = rest > drop && rest < 1.0;
        let let_go = curve.lowest().max(drop / (1.0 + margin.max(LET_GO)));
        let pulse =
            if hangs && curve.lowest() < drop { frames(settings.release.0, frame_s) } else { 0 };
        let plan = Plan {
            range: settings.range,
            lift_at,
            // Where no wish is low enough to drop it by itself: in proportion to the lifting one.
            drop_at: if drop_at > 0.0 { drop_at } else { lift_at * drop },
            lift_v: curve.current(1.0),
            perhaps_v: curve.current(PERHAPS.max(f64::midpoint(rest, 1.0))),
            drop_v: curve.current(drop),
            // Where the magnet alone holds it, no current does.
            hold_v: curve.current((drop * (1.0 + margin)).min(1.0)).max(0.0),
            let_go_v: curve.current(let_go),
            rise: frames(settings.rise.0, frame_s).max(1),
            pulse,
            turn: u32::try_from(coil).unwrap_or(0) % TURNS,
            curve,
        };
        let now = Now {
            mean: 0.0,
            marks: Marks::default(),
            up: false,
            height: 0,
            perhaps: false,
            pulse: 0,
            pushes: 0,
            short: 0,
            tries: 0,
            wait: 0,
            by_heat: false,
            doing: Doing::Follow,
        };
        Self { plan, now }
    }

    /// Marks for the coming frames, with a winding in which v = 1 takes `mean` of the mean current that
    /// full duty gives.
    pub(super) fn warm(&mut self, mean: f64, wired: &Wired<'_>, means: &Means) {
        let plan = &self.plan;
        let at = |v: f64| {
            let steps = wired.steps(means.duty((v * mean).abs()));
            // The next whole step in the direction that pulls: lift is reached there, drop passed
            // below it.
            if v < 0.0 { -signed_steps(steps) } else { signed_steps(libm::ceil(steps - HAIR)) }
        };
        let drop = at(plan.drop_v);
        let hold = wired.whole(means.duty(plan.hold_v * mean));
        // Rounded toward off it might let go, and a pulse too short for the driver would.
        let hold = hold.max(u32::try_from(drop).unwrap_or(0));
        self.now.mean = mean;
        self.now.marks = Marks {
            lift: at(plan.lift_v).max(1),
            perhaps: at(plan.perhaps_v).max(1),
            drop,
            hold: if hold > 0 { hold.max(wired.least()) } else { 0 },
        };
    }

    /// What it asks of its driver in this frame.
    pub(super) fn ask(&mut self, wish: Share, wired: &Wired<'_>, means: &Means) -> Ask {
        let wish = wish.get();
        let (plan, now) = (&self.plan, &mut self.now);
        now.up = wish >= if now.up { plan.drop_at.min(plan.lift_at) } else { plan.lift_at };
        now.wait = now.wait.saturating_sub(1);
        let held = matches!(plan.range, PullRange::Held { .. });
        now.doing = if now.up && held {
            match () {
                () if now.height >= plan.rise => Doing::Hold,
                () if now.wait > 0 => Doing::Wait,
                () => Doing::PullIn,
            }
        } else if !now.up && now.perhaps && plan.pulse > 0 && wish >= 0.0 {
            Doing::LetGo
        } else {
            Doing::Follow
        };
        let v = match now.doing {
            Doing::Follow => plan.follow(wish),
            Doing::PullIn | Doing::Wait => plan.curve.most(),
            Doing::Hold => plan.hold_v,
            Doing::LetGo => plan.let_go_v,
        };
        let wanted = means.duty((v * now.mean).abs());
        let code = match now.doing {
            Doing::Hold => now.marks.hold,
            // One step past what drops it at least.
            Doing::LetGo => {
                let past = (now.marks.drop.unsigned_abs() + 1).min(wired.whole(1.0));
                wired.whole(wanted).max(past).max(wired.least())
            }
            _ => wired.whole(wanted),
        };
        let backwards = (v < 0.0) != plan.curve.turned;
        // A wish that this driver cannot push towards is cut by it. Holding is asked for in whole steps.
        let wanted = match now.doing {
            Doing::Follow if wish < 0.0 && v >= 0.0 => -wish,
            // As much as there is, which is less with warm copper.
            Doing::PullIn | Doing::Wait | Doing::Hold => wired.duty(code),
            _ => wanted.max(wired.duty(code)),
        };
        let (code, denied) = match now.doing {
            Doing::Wait if now.by_heat => (0, Denied::Heat(code)),
            Doing::Wait => (0, Denied::Rail(code)),
            _ => (code, Denied::Nothing),
        };
        Ask { code, backwards, wanted, denied }
    }

    /// Takes note of what was sent, `code` with the driver's sign, when `asked` was asked for and heat
    /// allowed `cool`.
    pub(super) fn sent(&mut self, code: i32, asked: u32, cool: u32) {
        let (plan, now) = (&self.plan, &mut self.now);
        let code = if plan.curve.turned { -code } else { code };
        if code >= now.marks.lift {
            now.height = (now.height + 1).min(plan.rise);
        } else if code < now.marks.drop {
            now.height = now.height.saturating_sub(1);
        }
        if code >= now.marks.perhaps {
            (now.perhaps, now.pulse) = (true, plan.pulse);
            now.pushes = plan.pulse.saturating_mul(PUSHES);
        } else if now.perhaps && code < now.marks.drop {
            now.pulse = now.pulse.saturating_sub(1);
        }
        // All off, or a bridge that rests, is no push.
        if now.doing == Doing::LetGo && asked > 0 {
            now.pushes = now.pushes.saturating_sub(1);
        }
        if plan.pulse > 0 && now.perhaps && (now.pulse == 0 || now.pushes == 0) {
            (now.perhaps, now.height) = (false, 0);
        }
        if now.doing == Doing::PullIn {
            self.judge(code, asked, cool);
        }
    }

    /// A try that is cut below what lifts heats the coil and lifts nothing: after a whole rise of such
    /// frames it rests, longer each time, and lets others of its supply have a try.
    fn judge(&mut self, code: i32, asked: u32, cool: u32) {
        let (plan, now) = (&self.plan, &mut self.now);
        if now.height >= plan.rise {
            // Not all the way back: what once was too short or too hot soon is again.
            (now.short, now.tries) = (0, now.tries.saturating_sub(1));
        } else if code < now.marks.lift && asked > 0 {
            now.short += 1;
            now.by_heat = i64::from(cool) < i64::from(now.marks.lift);
        }
        if now.short >= plan.rise {
            now.short = 0;
            now.tries = (now.tries + 1).min(DOUBLINGS);
            now.wait = plan.rise.saturating_mul((1 << now.tries) + plan.turn);
        }
    }
}

impl Plan {
    /// Current for a wish when nothing is held.
    fn follow(&self, wish: f64) -> f64 {
        let (rest, high) = (self.curve.rest(), self.curve.highest());
        if wish < 0.0 {
            return self.curve.current(rest - wish * (self.curve.lowest() - rest));
        }
        let pull = match self.range {
            PullRange::FromRest => rest + wish * (high - rest),
            PullRange::FromLift if wish < ANY => return 0.0,
            PullRange::FromLift => 1.0 + wish * (high - 1.0),
            PullRange::Held { at, .. } => rest + (wish / at).min(1.0) * (1.0 - rest),
        };
        self.curve.current(pull)
    }
}

/// How much less pull than drops the fluid lets it go, as a share, at least. Our choice, no source.
const LET_GO: f64 = 0.25;

/// A time in whole frames, rounded up; saturates.
#[expect(clippy::cast_possible_truncation, reason = "saturates far beyond any song")]
#[expect(clippy::cast_sign_loss, reason = "checked to be no less than 0")]
fn frames(span_s: f64, frame_s: f64) -> u32 {
    libm::ceil(span_s / frame_s - 1e-9) as u32
}
