//! `coilscore walk`: one coil at a time, for whoever stands in front of the display.

use std::path::PathBuf;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use coilscore::budget::{Budget, BudgetSettings, Duty};
use coilscore::preset::{Display, Names, prepare_display};
use coilscore::run::walk::{
    Action, LiftRound, LogRound, MeasureRound, Next, Reading, Round, Said, Seen, Tour, probes,
};
use coilscore::sink::{Sink, SinkError};
use coilscore::units::{Rate, Share};

use super::keys::{Key, Keys};
use super::{Failure, Outcome, heat, inputs, play, print, signals};

mod found;
mod log;
#[cfg(feature = "serial")]
mod wet;
mod words;

use words::Words;

/// Flags as typed.
#[derive(Debug, clap::Args)]
#[group(id = "walk")]
#[command(after_help = super::CAUTION)]
pub(super) struct Args {
    /// The display that is plugged in (TOML)
    #[arg(long, value_name = "FILE")]
    display: PathBuf,
    #[command(flatten)]
    line: play::Line,
    /// Raise each coil slowly: press at lift and at drop; both duties go into the display file
    #[arg(long, conflicts_with = "measure")]
    lift: bool,
    /// Read each winding's resistance, where the board reports its supply
    #[arg(long)]
    measure: bool,
    /// Go on by itself, with pulses of so many seconds; left out: wait for a key at each coil
    #[arg(long, value_name = "S", value_parser = seconds, conflicts_with_all = ["lift", "measure"])]
    seconds: Option<f64>,
    /// With --lift: seconds from nothing to full duty
    #[arg(long, value_name = "S", default_value = "20", value_parser = seconds, requires = "lift")]
    ramp: f64,
    #[command(flatten)]
    log: log::Args,
    #[command(flatten)]
    heat: heat::Args,
    /// Frames per second
    #[arg(long, default_value = "50", value_parser = inputs::rate)]
    rate: Rate,
    /// Drive and write nothing: only show what would be done
    #[arg(long)]
    dry_run: bool,
}

/// A pulse that nobody waits for is typed for scripts.
const PULSE_S: f64 = 1.0;

fn seconds(text: &str) -> Result<f64, String> {
    let number = text.parse::<f64>().ok().filter(|s| (0.02..=600.0).contains(s));
    number.ok_or_else(|| format!("'{text}' is not a time: write 0.02 to 600 seconds"))
}

/// Walks.
pub(super) fn run(args: &Args) -> Outcome {
    if args.dry_run && !args.line.ports.is_empty() {
        let what = "--port and --dry-run: leave one of them out, as a dry run drives nothing";
        return Err(Failure::Refused(what.into()));
    }
    if args.dry_run != args.line.ports.is_empty() {
        let what = "give --port, the serial port of the board (`coilscore ports` shows them), or \
                    --dry-run to drive nothing";
        return Err(Failure::Refused(what.into()));
    }
    let display = inputs::read_display(&args.display, false)?;
    args.log.check(args, &display)?;
    if args.dry_run { dry(args, &display) } else { wet(args, &display) }
}

#[cfg(feature = "serial")]
use wet::wet;

#[cfg(not(feature = "serial"))]
fn wet(_: &Args, _: &Display) -> Outcome {
    Err(Failure::Refused("built without the feature 'serial': only --dry-run works".into()))
}

/// No board.
struct Nothing;

impl Sink for Nothing {
    fn duty(&mut self, _: u32, _: &[Duty]) -> Result<(), SinkError> {
        Ok(())
    }
    fn off(&mut self, _: u32) -> Result<(), SinkError> {
        Ok(())
    }
}

fn dry(args: &Args, display: &Display) -> Outcome {
    if args.measure || args.log.log.is_some() {
        let what = if args.measure { "--measure" } else { "--log" };
        let what = format!("{what} asks the board: give --port instead of --dry-run");
        return Err(Failure::Refused(what));
    }
    let warmth = heat::open(&args.heat, &args.display, display, args.rate, true)?;
    let stand = Stand::new(args, display, &warmth)?;
    // Ctrl-C ends it in good order here too: the terminal wants its echo back.
    let stop = signals::stop_flag()?;
    let mut floor = Floor {
        sink: &mut Nothing,
        reading: &|_| Ok(Reading::default()),
        stop: &|| stop.load(Ordering::Relaxed),
    };
    let (round, end) = walk(args, stand, &mut floor)?;
    found::tell(args, display, &round, None)?;
    conclude(Ok(end), None)
}

/// What the wishes go through.
struct Stand<'a> {
    settings: BudgetSettings,
    names: Names,
    budget: Budget,
    display: &'a Display,
    warmth: &'a heat::Warmth,
}

impl<'a> Stand<'a> {
    fn new(args: &Args, display: &'a Display, warmth: &'a heat::Warmth) -> Result<Self, Failure> {
        let start = args.log.start(warmth);
        let (settings, names) = prepare_display(display, args.rate, start);
        let budget = Budget::new(&settings).map_err(Failure::refused)?;
        Ok(Self { settings, names, budget, display, warmth })
    }
}

/// Where frames go and answers come from.
struct Floor<'a> {
    sink: &'a mut dyn Sink,
    /// What the board of a coil reports; an error: it is lost.
    reading: &'a dyn Fn(usize) -> Result<Reading, String>,
    stop: &'a dyn Fn() -> bool,
}

/// What was walked.
enum Walked {
    Tour(Tour),
    Lift(LiftRound),
    Measure(Vec<coilscore::run::walk::Measured>),
    Log(log::Logged),
}

/// How it ended.
enum End {
    Over,
    Stopped,
    Failed(String),
}

/// `not_off`: boards that have not said that they are off.
fn conclude(end: Result<End, Failure>, not_off: Option<String>) -> Outcome {
    use Failure::{Failed, Refused, Stopped};
    match (end, not_off) {
        (Ok(End::Over), None) => Ok(()),
        (Ok(End::Over), Some(not_off)) => Err(Failed(not_off)),
        (Ok(End::Stopped), not_off) => Err(Failure::all_off(not_off)),
        (Ok(End::Failed(why)), None) => Err(Failed(why)),
        (Err(failure), None) => Err(failure),
        (Ok(End::Failed(why)) | Err(Refused(why) | Failed(why) | Stopped(why)), Some(not_off)) => {
            Err(Failed(format!("{why}\n{not_off}")))
        }
    }
}

/// Goes round, and switches all off whatever comes.
fn walk(args: &Args, stand: Stand<'_>, floor: &mut Floor<'_>) -> Result<(Walked, End), Failure> {
    let coils = stand.settings.coils.len();
    let words = Words::new(stand.display, stand.names.clone());
    print(&words.intro(args))?;
    let mut measured = Vec::new();
    let mut say = |said: Said| {
        if let Said::Measured(one) = &said {
            measured.push(*one);
        }
        // Whoever has closed the pipe does not want to know.
        let _ = print(&words.of(&said));
    };
    let (probes, room_c) = (probes(stand.display, &stand.settings), stand.settings.room.0);
    if let Some(path) = &args.log.log {
        let test = args.log.test(&stand, &probes)?;
        let file = log::LogFile::create(path, &args.log, &stand, &test)?;
        let mut round = log::Kept::new(LogRound::new(test), file);
        let end = Pace::new(args, stand).go(&mut round, floor, &mut say);
        return Ok((Walked::Log(round.end()?), end?));
    }
    let mut pace = Pace::new(args, stand);
    if args.measure {
        let end = pace.go(&mut MeasureRound::new(probes, room_c), floor, &mut say)?;
        return Ok((Walked::Measure(measured), end));
    }
    if args.lift {
        let mut round = LiftRound::new(coils, args.ramp);
        let end = pace.go(&mut round, floor, &mut say)?;
        return Ok((Walked::Lift(round), end));
    }
    let mut round = Tour::new(coils, args.seconds.unwrap_or(PULSE_S), args.seconds.is_some());
    let end = pace.go(&mut round, floor, &mut say)?;
    Ok((Walked::Tour(round), end))
}

/// Longer than this behind, and the clock has leapt: frames are not made up for.
const LEAP: Duration = Duration::from_millis(250);

const NO_KEYS: &str = "nobody can press a key: standard input has ended. Start it from a terminal, send it keys \
                       through a pipe, or let it go round by itself with --seconds S";

const KEYS_ENDED: &str = "the keys ended before the walk did (standard input, or its terminal, is gone): what was \
                          seen up to there is told above. q ends a walk in good order";

const STOOD_STILL: &str = "the computer stood still for a quarter of a second or longer, and what the coil did meanwhile is not \
     known: let it rest and log again, with nothing else at work";

/// Frames by the clock on the wall.
struct Pace<'a> {
    stand: Stand<'a>,
    rate: Rate,
    /// Whether it goes on without keys.
    alone: bool,
    lift: bool,
    /// Whether times are written down, so that none may be lost.
    exact: bool,
    wishes: Vec<Share>,
}

impl<'a> Pace<'a> {
    fn new(args: &Args, stand: Stand<'a>) -> Self {
        let wishes = vec![Share::NONE; stand.settings.coils.len()];
        let alone = args.measure || args.log.log.is_some() || args.seconds.is_some();
        Self {
            stand,
            rate: args.rate,
            alone,
            lift: args.lift,
            exact: args.log.log.is_some(),
            wishes,
        }
    }

    fn go(
        &mut self,
        round: &mut dyn Round,
        floor: &mut Floor<'_>,
        say: &mut dyn FnMut(Said),
    ) -> Result<End, Failure> {
        let mut keys = Keys::open();
        let mut number = 0;
        let end = self.frames(round, floor, &mut keys, &mut number, say);
        let off = floor.sink.off(number);
        off.map_err(Failure::failed)?;
        end
    }

    fn frames(
        &mut self,
        round: &mut dyn Round,
        floor: &mut Floor<'_>,
        keys: &mut Keys,
        number: &mut u32,
        say: &mut dyn FnMut(Said),
    ) -> Result<End, Failure> {
        let mut began = Instant::now();
        let (mut coil, mut refused, mut heard, mut held) = (0, None, false, None);
        loop {
            let now_s = self.rate.time_of(u64::from(*number)).0;
            let due = began + Duration::from_secs_f64(now_s);
            let taken = self.wait(keys, due, held.take());
            heard |= taken.is_some();
            // Keys answer what was seen: none comes before the first coil moves.
            let action = if *number == 0 {
                held = taken;
                None
            } else {
                taken
            };
            if due.elapsed() > LEAP {
                if self.exact {
                    return Ok(End::Failed(STOOD_STILL.into()));
                }
                began = Instant::now() - Duration::from_secs_f64(now_s);
            }
            if (floor.stop)() {
                return Ok(End::Stopped);
            }
            if keys.over() && !self.alone {
                return match heard {
                    true => Ok(End::Failed(KEYS_ENDED.into())),
                    false => Err(Failure::Refused(NO_KEYS.into())),
                };
            }
            let reading = match (floor.reading)(coil) {
                Ok(reading) => reading,
                Err(why) => return Ok(End::Failed(format!("the board is lost: {why}"))),
            };
            let coils = self.wishes.len();
            let seen = Seen {
                now_s,
                action,
                granted: self.granted(coil),
                coil_c: self.stand.budget.load().node_c.get(..coils).unwrap_or_default(),
                reading,
            };
            let next = round.step(&seen, &mut |said| {
                if let Said::Refused(why) = said {
                    refused = Some(why);
                }
                say(said);
            });
            self.wishes.fill(Share::NONE);
            match next {
                Next::Drive(at, share) => {
                    coil = at;
                    self.wishes.iter_mut().skip(at).take(1).for_each(|wish| *wish = share);
                }
                Next::Rest(at) => coil = at,
                Next::Done => {
                    return refused.map_or(Ok(End::Over), |why| Err(Failure::refused(why)));
                }
            }
            let duties = self.stand.budget.permit(&self.wishes);
            floor.sink.duty(*number, duties).map_err(Failure::failed)?;
            *number = number.saturating_add(1);
            if !self.stand.warmth.note(self.stand.budget.load().node_c) {
                return Ok(End::Failed(heat::STUCK.into()));
            }
        }
    }

    /// Waits until a frame is due; one key is taken meanwhile unless one was before, and others wait for
    /// theirs.
    fn wait(&self, keys: &mut Keys, due: Instant, mut action: Option<Action>) -> Option<Action> {
        loop {
            let left = due.saturating_duration_since(Instant::now());
            if action.is_some() {
                std::thread::sleep(left);
            } else {
                action = keys.poll(left).and_then(|key| self.action(key));
            }
            if left.is_zero() {
                return action;
            }
        }
    }

    /// Duty of a coil in the last frame.
    fn granted(&self, coil: usize) -> f64 {
        let code = self.stand.budget.duties().get(coil).map_or(0, |duty| duty.code());
        let steps = self.stand.settings.coils.get(coil).map_or(1, |coil| coil.steps);
        f64::from(code.unsigned_abs()) / f64::from(steps)
    }

    fn action(&self, key: Key) -> Option<Action> {
        let now_or_next = if self.lift { Action::Now } else { Action::Next };
        Some(match key {
            Key::Char(' ') | Key::Enter => now_or_next,
            Key::Char('n') | Key::Right => Action::Next,
            Key::Char('b') | Key::Left | Key::Back => Action::Back,
            Key::Char('r') => Action::Repeat,
            Key::Char('+' | '=') | Key::Up => Action::Stronger,
            Key::Char('-') | Key::Down => Action::Weaker,
            Key::Char('d') => Action::Dead,
            Key::Char('s') => Action::Shorted,
            Key::Char('w') => Action::Swapped,
            Key::Char('g') => Action::Unmark,
            Key::Char('q') | Key::Escape => Action::Stop,
            Key::Char(digit) => Action::Digit(digit.to_digit(10)?),
        })
    }
}
