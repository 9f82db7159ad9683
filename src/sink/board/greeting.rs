//! Who speaks first, what must match, and what is said when it does not.

use super::settings::{BoardSettings, Wiring};
use crate::frame::Packing;
use crate::frame::wire::hello::{Hello, Knows, LINK, MOST_CHANNELS, Role, Verdict};
use crate::frame::wire::limits::Limit;

/// Time between HELLOs, s, at first ...
const SOON_S: f64 = 0.25;

/// ... and once this many went unanswered, this.
const MANY: u32 = 8;
const LATER_S: f64 = 1.0;

/// A HELLO that is younger than this, s, may not have reached the board yet.
const CROSSED_S: f64 = 0.1;

/// How often a HELLO is changed to suit a board before that counts as a quarrel.
const CHANGES: u32 = 3;

/// Two PWM frequencies that differ by no more than this share are the same.
const PWM_SHARE: f64 = 0.01;

/// How far two ends have come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// No answer yet.
    Asking,
    /// It matches.
    Ready,
    /// It does not.
    Refused,
}

/// The host's side of a HELLO exchange. Times are seconds of one steady clock of the caller's.
#[derive(Debug, Clone)]
pub struct Greeting {
    offer: Hello,
    /// Channels that the display needs.
    needed: u16,
    stage: Stage,
    /// When to ask (again).
    ask_s: f64,
    asked_s: f64,
    asked: u32,
    changes: u32,
    why: Option<String>,
    board: Option<Hello>,
}

impl Greeting {
    /// Of a display towards one of its boards.
    pub fn new(settings: &BoardSettings, board: &Wiring) -> Self {
        let channels = u16::try_from(board.coils.len()).unwrap_or(u16::MAX);
        let (num, den) = settings.rate.ratio();
        let offer = Hello {
            minor: LINK[1],
            role: Role::Host,
            verdict: Verdict::Ready,
            packing: settings.packing,
            two_way: settings.two_way,
            knows: Knows::default(),
            channels,
            steps: settings.steps,
            pwm_hz: settings.pwm_hz,
            hold_ms: settings.hold_ms,
            rate: [num, den],
            window_s: settings.window_s,
            limits: board.limits.clone(),
        };
        Self {
            offer,
            needed: channels,
            stage: Stage::Asking,
            ask_s: f64::NEG_INFINITY,
            asked_s: f64::NEG_INFINITY,
            asked: 0,
            changes: 0,
            why: None,
            board: None,
        }
    }

    /// Begins anew: the line was opened, or the board fell silent.
    pub fn restart(&mut self, now_s: f64) {
        self.stage = Stage::Asking;
        self.ask_s = now_s;
        self.asked = 0;
        self.changes = 0;
    }

    /// Whether a HELLO is to go out now.
    pub fn asks(&self, now_s: f64) -> bool {
        self.stage == Stage::Asking && now_s >= self.ask_s
    }

    /// The HELLO to send. It counts as sent.
    pub fn ask(&mut self, now_s: f64) -> &Hello {
        self.asked += 1;
        self.asked_s = now_s;
        self.ask_s = now_s + if self.asked < MANY { SOON_S } else { LATER_S };
        &self.offer
    }

    /// The payload of a HELLO came.
    pub fn heard(&mut self, payload: &[u8], now_s: f64) {
        match Hello::read(payload) {
            Ok(hello) if hello.role == Role::Board => self.take(hello, now_s),
            // An echo on the line.
            Ok(_) => {}
            Err(error) => self.refuse(error.to_string()),
        }
    }

    /// A board's HELLO came.
    pub fn take(&mut self, hello: Hello, now_s: f64) {
        match hello.verdict {
            // It has just started, and knows of no HELLO.
            Verdict::NoHello => {
                // Unless the two only crossed.
                let crossed = self.stage == Stage::Asking && now_s - self.asked_s < CROSSED_S;
                if !crossed {
                    self.restart(now_s);
                }
            }
            // No answer to anything that was asked.
            _ if self.asked == 0 => return,
            _ if self.suits_itself(&hello) => self.ask_s = now_s,
            verdict => {
                let differences = differences(&self.offer, self.needed, &hello);
                match verdict {
                    Verdict::Ready if differences.is_empty() => {
                        self.stage = Stage::Ready;
                        self.why = None;
                    }
                    _ => self.refuse(sentence(verdict, &differences)),
                }
            }
        }
        self.board = Some(hello);
    }

    /// How far it has come.
    pub fn stage(&self) -> Stage {
        self.stage
    }

    /// Why the board was refused, until it is ready.
    pub fn why(&self) -> Option<&str> {
        self.why.as_deref()
    }

    /// What the board last said of itself.
    pub fn board(&self) -> Option<&Hello> {
        self.board.as_ref()
    }

    /// Packing of the codes as agreed.
    pub fn packing(&self) -> Packing {
        self.offer.packing
    }

    /// Channels of the board as agreed, no fewer than the display needs.
    pub fn channels(&self) -> usize {
        usize::from(self.offer.channels)
    }

    /// Refuses the board for a reason of the caller's.
    pub(super) fn refuse(&mut self, why: String) {
        self.stage = Stage::Refused;
        self.why = Some(why);
    }

    /// Changes the offer where that does no harm: a board with more channels gets 0 on the others,
    /// and codes go in any packing that holds them.
    fn suits_itself(&mut self, board: &Hello) -> bool {
        let offer = &mut self.offer;
        let others = board.channels != offer.channels
            && (self.needed..=MOST_CHANNELS).contains(&board.channels);
        let steps = i32::from(offer.steps);
        let lowest = if offer.two_way { -steps } else { 0 };
        let held = board.packing.codes();
        let wider =
            board.packing != offer.packing && held.contains(&lowest) && held.contains(&steps);
        let changes = match board.verdict {
            Verdict::Channels => others,
            Verdict::Packing => wider,
            _ => false,
        };
        if !changes || self.changes == CHANGES {
            return false;
        }
        self.changes += 1;
        match board.verdict {
            Verdict::Channels => {
                offer.channels = board.channels;
                offer.limits.resize(usize::from(board.channels), Limit::OFF);
            }
            _ => offer.packing = board.packing,
        }
        self.stage = Stage::Asking;
        true
    }
}

/// What differs between a display and a board, each as half a sentence.
pub fn differences(offer: &Hello, needed: u16, board: &Hello) -> Vec<String> {
    let mut all = Vec::new();
    let mut differ = |differs: bool, words: String| {
        if differs {
            all.push(words);
        }
    };
    let last = needed.saturating_sub(1);
    differ(
        board.channels < needed,
        format!("it has {} channels, and the display wires channel {last}", board.channels),
    );
    differ(
        board.channels > MOST_CHANNELS,
        format!("it has {} channels, and a packet carries {MOST_CHANNELS}", board.channels),
    );
    differ(
        board.steps != offer.steps,
        format!("its full duty is {} steps, the display's {}", board.steps, offer.steps),
    );
    let ways = |two_way: bool| if two_way { "both ways" } else { "one way" };
    differ(
        board.two_way != offer.two_way,
        format!("it pushes {}, the display {}", ways(board.two_way), ways(offer.two_way)),
    );
    differ(
        board.packing != offer.packing && board.two_way == offer.two_way,
        format!("it takes codes as {:?}, and these are {:?}", board.packing, offer.packing),
    );
    differ(
        board.hold_ms > offer.hold_ms,
        format!(
            "it holds its last frame for {} ms, and heat is reckoned for {} ms",
            board.hold_ms, offer.hold_ms
        ),
    );
    let (theirs, ours) = (f64::from(board.pwm_hz), f64::from(offer.pwm_hz));
    differ(
        theirs > 0.0 && ours > 0.0 && (theirs - ours).abs() > PWM_SHARE * ours,
        format!("its PWM runs at {theirs} Hz, and heat is reckoned for {ours} Hz"),
    );
    let [num, den] = offer.rate;
    let period_ms = f64::from(den) * 1000.0 / f64::from(num.max(1));
    differ(
        period_ms > f64::from(board.hold_ms),
        format!("it holds a frame for {} ms, and one lasts {period_ms:.1} ms", board.hold_ms),
    );
    all
}

fn sentence(verdict: Verdict, differences: &[String]) -> String {
    if !differences.is_empty() {
        let all = differences.join("; ");
        return format!(
            "the board does not match the display: {all}. Change the display file or the board"
        );
    }
    match verdict {
        Verdict::Version => "the board speaks another major version of the link".into(),
        Verdict::Malformed => {
            "the board could not read the HELLO: is its program older than this one?".into()
        }
        other => format!(
            "the board refuses to be driven (verdict {}) and does not say why",
            other.number()
        ),
    }
}
