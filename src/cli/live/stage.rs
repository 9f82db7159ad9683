//! The show itself: the engine on a thread of its own, a person at the keys on this one.

use coilscore::shown::Shown as _;
use std::sync::mpsc::{Receiver, sync_channel};
use std::thread;
use std::time::Duration;

use coilscore::audio::playback::{Feed, Tap};
use coilscore::frame::Tail;
use coilscore::run::ends::tail;
use coilscore::run::live::{
    Controls, Kept, Noticed, Outlet, Saving, Show, Snapshot, Watch, notices,
};
use coilscore::run::pump::{PumpError, Pumped, pump};

use super::super::keys::Keys;
use super::super::{Failure, Outcome, heat, tell};
use super::Args;
use super::hands::{Asked, asked};
use super::screen::Screen;
use super::setup::Ready;
use super::sound_out::SoundOut;

/// Between two looks at keys and news.
const LOOK: Duration = Duration::from_millis(30);

/// Keys taken between two looks at news: a key that is held down must not keep them away.
const KEYS_AT_ONCE: usize = 16;

/// What the engine's thread leaves behind.
struct Played {
    end: Result<Pumped, PumpError>,
    tail: Tail,
    kept: Vec<Kept>,
    heat_lost: bool,
}

/// Plays until keys, a signal or the asked time end it.
pub(super) fn play(args: &Args, mut ready: Ready) -> Outcome {
    let controls = std::mem::replace(&mut ready.controls, Controls::new(Default::default()));
    let (snapshots, seen) = sync_channel(4);
    let noticed = std::mem::replace(&mut ready.notices.1, notices().1);
    let watch = Watch { snapshots, notices: ready.notices.0.clone() };
    let mut screen = Screen::new(args, &ready);
    // The speaker sounds until the show is over.
    let (feed, _speaker) = match ready.sound_out.take() {
        Some(SoundOut { feed, speaker, .. }) => (Some(feed), Some(speaker)),
        None => (None, None),
    };
    let until = args.seconds.map(|s| whole(s * f64::from(ready.settled.format.rate_hz)));
    let played = thread::scope(|scope| {
        let controls = &controls;
        let engine = thread::Builder::new()
            .name("engine".into())
            .spawn_scoped(scope, move || on_stage(ready, feed, controls, watch, until))
            .map_err(Failure::failed)?;
        let mut keys = Keys::open();
        while !engine.is_finished() {
            watch_over(&mut keys, controls, &mut screen, &seen, &noticed);
        }
        engine.join().map_err(|_| {
            Failure::Failed("the engine broke down; all coils were switched off".into())
        })
    })?;
    noticed.take().for_each(|notice| screen.notice(&notice));
    let not_off = screen.end(&played.tail);
    let wanted = [&args.record, &args.save_audio].into_iter().flatten().count();
    ending(played, wanted)?;
    not_off.map_or(Ok(()), |not_off| Err(Failure::Failed(not_off)))
}

/// Keys to hands, news to the screen.
fn watch_over(
    keys: &mut Keys,
    controls: &Controls,
    screen: &mut Screen,
    seen: &Receiver<Snapshot>,
    noticed: &Noticed,
) {
    let mut wait = LOOK;
    for _ in 0..KEYS_AT_ONCE {
        let Some(key) = keys.poll(wait) else { break };
        wait = Duration::ZERO;
        match asked(key, controls.hands(), screen.mappings()) {
            Some(Asked::Hands(hands)) => {
                controls.set(hands);
                screen.hands(hands);
            }
            Some(Asked::End) => controls.stop(),
            None => {}
        }
    }
    noticed.take().for_each(|notice| screen.notice(&notice));
    screen.look_at_board();
    seen.try_iter().for_each(|snapshot| screen.second(&snapshot));
}

/// The engine's thread, from its first sample to all off.
fn on_stage(
    ready: Ready,
    feed: Option<Feed>,
    controls: &Controls,
    watch: Watch,
    until: Option<u64>,
) -> Played {
    // In this order: on a panic the boards are dropped, which is off, before the last word on heat.
    let Ready { warmth, mut driven, mut capture, mut line, recording, saving, .. } = ready;
    if let Some(sentence) = hurry() {
        watch.notices.say(sentence);
    }
    let notices = watch.notices.clone();
    let mut note = |node_c: &[f64]| warmth.note(node_c);
    let mut show = Show::new(&line.engine, controls, watch, saving, until, &mut note);
    let mut outlet = Outlet::new(&mut driven, recording, notices);
    let mut source = Tap::new(&mut capture, feed);
    let end = pump(&mut source, &mut line.engine, &mut outlet, &mut line.metering, &mut show);
    let tail = tail(&line.engine, show.digest_hex());
    let heat_lost = show.heat_lost();
    let recording = outlet.release();
    let saving = show.release();
    // The boards first: their threads send all off. Then the heat's last word, then the disks, which
    // may be slow.
    drop(driven);
    drop(warmth);
    let mut kept: Vec<Kept> = saving.and_then(Saving::finish).into_iter().collect();
    if end.is_ok() {
        kept.extend(recording.and_then(|recording| recording.finish(&tail)));
    }
    Played { end, tail, kept, heat_lost }
}

fn ending(played: Played, wanted: usize) -> Outcome {
    let (mut broken, mut whole) = (Vec::new(), 0);
    for kept in played.kept {
        match kept {
            Ok(path) => {
                whole += 1;
                tell(&format!("wrote {}", path.shown()));
            }
            Err(sentence) => broken.push(sentence),
        }
    }
    if played.heat_lost {
        return Err(Failure::Failed(heat::STUCK.into()));
    }
    played.end.map_err(Failure::failed)?;
    if whole < wanted && broken.is_empty() {
        broken.push("the show is over, but not all that was to be kept is whole: see above".into());
    }
    match broken.is_empty() {
        true => Ok(()),
        false => Err(Failure::Failed(broken.join("\n"))),
    }
}

/// Asks for real-time priority: above all ordinary work, below the sound system's own threads.
/// Gives a sentence where it is not granted.
#[cfg(unix)]
pub(in super::super) fn hurry() -> Option<String> {
    use thread_priority::unix::{
        RealtimeThreadSchedulePolicy, ThreadSchedulePolicy, set_thread_priority_and_policy,
        thread_native_id,
    };
    use thread_priority::{ThreadPriority, ThreadPriorityValue};

    let low = ThreadPriorityValue::try_from(10).ok()?;
    let policy = ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::Fifo);
    let set = set_thread_priority_and_policy(
        thread_native_id(),
        ThreadPriority::Crossplatform(low),
        policy,
    );
    set.err().map(|_| ORDINARY.to_owned())
}

/// Asks for the highest priority there is. Gives a sentence where it is not granted.
#[cfg(not(unix))]
pub(in super::super) fn hurry() -> Option<String> {
    let set = thread_priority::set_current_thread_priority(thread_priority::ThreadPriority::Max);
    set.err().map(|_| ORDINARY.to_owned())
}

const ORDINARY: &str = "real-time priority is not granted (on Linux: a limit \"rtprio\" for your \
                        user); a busy machine may delay frames";

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a time above 0, checked when it was typed"
)]
fn whole(instants: f64) -> u64 {
    instants.ceil() as u64
}
