//! Frames of a rendered file, on the emulated board.

use std::collections::HashSet;
use std::fs::File;
use std::path::Path;
use std::process::{Command, Stdio};

use coilscore::analysis::Arith;
use coilscore::audio::tone::{Samples, pink_noise};
use coilscore::budget::Start;
use coilscore::frame::record::Entry;
use coilscore::run::{Flow, RenderJob, render};
use coilscore::sink::file::open;
use coilscore::units::Rate;

use super::emulator::{Applied, Emulator, Line};
use super::payload::*;

#[path = "../common/mod.rs"]
mod common;
use common::{HOT_RING, files, one_band};

pub(crate) const STEPS: u16 = 3500;
pub(crate) const CHANNELS: usize = 24;
pub(crate) const HOLD_MS: u32 = 250;
const FRAMES: usize = 2_000;
/// The emulator's name for what stands at the independent watchdog's address: it has two units
/// there, and the other hides it.
const DOG: &str = "I2S2ext";

/// Renders so many seconds at a frame rate, for a board of 24 channels, into `song.duty` beside
/// `display.toml`: frame numbers and codes.
pub(crate) fn rendered(dir: &Path, seconds: usize, rate_hz: u32) -> Vec<(u32, Vec<i32>)> {
    let display_text = HOT_RING.replace("steps = 4095", &format!("steps = {STEPS}"));
    std::fs::write(dir.join("display.toml"), &display_text).unwrap();
    let level = "level_all = { group = \"ring\" }";
    let column = "column = { group = \"ring\", towards_deg = 90, edge_mm = 80 }";
    let mapping = one_band("ring", 100.0, 3000.0, -60.0, -15.0).replace(level, column);
    let (mapping, display) = files(&mapping, &display_text);
    let rate = Rate::new(rate_hz, 1).unwrap();
    let job = RenderJob {
        mapping: &mapping,
        display: &display,
        rate,
        start: Start::Cold,
        arith: Arith::Portable,
    };
    let mut sound = pink_noise(11, 0.3, seconds * 8_000);
    // Swells twice a second, so that coils come and go.
    for (at, sample) in sound.iter_mut().enumerate() {
        *sample *= (at % 4_000) as f32 / 4_000.0;
    }
    let out = dir.join("song.duty");
    render(Box::new(Samples::mono(8_000, sound)), &job, &out, &mut |_| Flow::Continue(())).unwrap();
    let mut file = open(&out).unwrap();
    let mut frames = Vec::new();
    while let Some(entry) = file.next_entry().unwrap() {
        if let Entry::Duty { frame, codes } = entry {
            frames.push((frame, codes.iter().map(|code| code.0).collect()));
        }
    }
    let different: HashSet<&Vec<i32>> = frames.iter().map(|(_, codes)| codes).collect();
    assert!(different.len() > frames.len() / 3, "{} of {}", different.len(), frames.len());
    frames
}

/// Ten seconds at 200 frames a second.
fn two_thousand() -> Vec<(u32, Vec<i32>)> {
    let dir = tempfile::tempdir().unwrap();
    let mut frames = rendered(dir.path(), 10, 200);
    frames.truncate(FRAMES);
    assert_eq!(frames.len(), FRAMES);
    frames
}

fn stream(frames: &[(u32, Vec<i32>)]) -> Vec<u8> {
    frames.iter().flat_map(|(frame, codes)| duty(*frame, TWELVE, codes)).collect()
}

/// What was applied must be these frames, one by one, and then all off after hold in the board's
/// own time.
fn expect_frames_then_off(board: &Emulator, frames: &[(u32, Vec<i32>)]) {
    let applied = board.applied(frames.len());
    for (applied, (frame, codes)) in applied.iter().zip(frames) {
        assert!(applied.on, "off at {} ms, before frame {frame}", applied.ms);
        assert_eq!((applied.frame, &applied.codes), (*frame, codes));
    }
    expect_off_after(board, applied.last().unwrap());
}

fn expect_off_after(board: &Emulator, last: &Applied) {
    let off = board.next_applied();
    assert_eq!((off.on, off.frame, &off.codes), (false, last.frame, &vec![0; CHANNELS]));
    let silent_ms = off.ms - last.ms;
    assert!((HOLD_MS..=HOLD_MS + 2).contains(&silent_ms), "off after {silent_ms} ms");
}

#[test]
fn it_applies_a_rendered_file_exactly_and_goes_off_when_frames_stop() {
    let frames = two_thousand();
    let board = Emulator::start(Line::Socket);
    let answer = board.greet(&Hello::new(CHANNELS, STEPS, TWELVE));
    assert_eq!((answer[3], u16_at(&answer, 6), u16_at(&answer, 8)), (0, 24, STEPS));
    assert_eq!(u32_at(&answer, 10), 24_000);
    board.send(stream(&frames));
    expect_frames_then_off(&board, &frames);
    let status = board.status_where(|status| status.by_watchdog);
    assert_eq!((status.taken, status.missed, status.dropped), (FRAMES as u32, 0, 0));
    assert_eq!((status.damaged, status.clamped, status.trips), (0, 0, 1));

    // The keep-alive line went up and down while it drove, and rests since.
    let toggles = board.writes("GPIOB", 0x18);
    assert!(toggles.len() > 250, "{} toggles", toggles.len());
    assert!(toggles.windows(2).all(|pair| pair[0] != pair[1]), "it must alternate");
    let served = board.writes(DOG, 0).len();
    for _ in 0..3 {
        board.status_where(|_| true);
    }
    assert_eq!(board.writes("GPIOB", 0x18).len(), toggles.len(), "the enable is kept alive");
    // The independent watchdog was started before anything else, and is served on.
    let dog = board.writes(DOG, 0);
    assert_eq!(dog[..2], [0xCCCC, 0x5555]);
    assert!(dog.len() > served && dog[2..].iter().all(|&value| value == 0xAAAA));

    // TIM1 and TIM8 (channels 16 to 23), of which the trace tells what the program thinks: each of
    // their compare registers was written 0 at the start, then every frame, then 0 for off.
    for channel in 16..CHANNELS {
        let unit = if channel < 20 { "timer[1]" } else { "timer[8]" };
        let written = board.writes(unit, 0x34 + 4 * (channel as u32 % 4));
        let mut expected = vec![0];
        expected.extend(frames.iter().map(|(_, codes)| codes[channel].cast_unsigned()));
        expected.push(0);
        assert!(written == expected, "channel {channel}");
    }
}

#[test]
fn it_clamps_a_rendered_file_to_the_limits_of_the_greeting() {
    let frames = two_thousand();
    let board = Emulator::start(Line::Socket);
    let limits: Vec<(u16, u16)> = (0..CHANNELS as u16).map(|k| (100 * k, STEPS)).collect();
    board.greet(&Hello { limits: limits.clone(), ..Hello::new(CHANNELS, STEPS, TWELVE) });
    board.send(stream(&frames));
    let mut clamped = 0;
    let expected: Vec<(u32, Vec<i32>)> = frames
        .iter()
        .map(|(frame, codes)| {
            let limit = |(code, (most, _)): (&i32, &(u16, u16))| {
                clamped += u32::from(*code > i32::from(*most));
                (*code).min(i32::from(*most))
            };
            (*frame, codes.iter().zip(&limits).map(limit).collect())
        })
        .collect();
    expect_frames_then_off(&board, &expected);
    assert!(clamped > 1_000);
    assert_eq!(board.status_where(|status| status.by_watchdog).clamped, clamped);
}

/// The sender is killed with the signal that no program can catch, in the middle of a frame as
/// often as not. The line is a pseudo-terminal, as a real program would open it.
#[test]
fn it_goes_off_when_the_sender_is_killed() {
    let board = Emulator::start(Line::Terminal);
    board.greet(&Hello::new(CHANNELS, STEPS, TWELVE));
    // Far more than can be taken until it is killed.
    let frames: Vec<(u32, Vec<i32>)> =
        (0..100_000).map(|frame| (frame, vec![1 + frame as i32 % 3_000; CHANNELS])).collect();
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("frames");
    std::fs::write(&path, stream(&frames)).unwrap();
    let line = File::options().write(true).open(&board.terminal).unwrap();
    let mut sender = Command::new("cat").arg(&path).stdout(Stdio::from(line)).spawn().unwrap();
    let mut last = board.next_applied();
    while last.frame < 500 {
        last = board.next_applied();
    }
    assert!(sender.try_wait().unwrap().is_none(), "it must still be sending");
    sender.kill().unwrap();
    sender.wait().unwrap();
    // What was under way still arrives, whole frames only, in order.
    loop {
        let applied = board.next_applied();
        if !applied.on {
            let silent_ms = applied.ms - last.ms;
            assert!((HOLD_MS..=HOLD_MS + 2).contains(&silent_ms), "off after {silent_ms} ms");
            assert_eq!(applied.codes, [0; CHANNELS]);
            break;
        }
        assert_eq!(applied.frame, last.frame + 1);
        assert_eq!(applied.codes, frames[applied.frame as usize].1);
        last = applied;
    }
    assert!(board.status_where(|status| status.by_watchdog).trips >= 1);
}

/// The emulator's flash cannot be written: the limits hold all the same, and the board says that
/// they will not outlive a reset.
#[test]
fn limits_that_flash_does_not_take_are_said_to_be_temporary() {
    let board = Emulator::start(Line::Socket);
    let answer = board.greet(&Hello::new(CHANNELS, STEPS, TWELVE));
    assert_eq!(answer[5] >> 4 & 1, 1);
    board.send(store(30, &[(1000, 300); CHANNELS]));
    let answer = board.next_hello();
    assert_eq!((answer[3], answer[5] >> 4 & 1, u16_at(&answer, 24)), (0, 0, 30));
    assert_eq!((u16_at(&answer, 28), u16_at(&answer, 30)), (1000, 300));
    board.send(duty(1, TWELVE, &[STEPS.into(); CHANNELS]));
    // What the coils did before is not known, so the means stand at their limits: one slot in full,
    // then no more than the mean.
    assert_eq!(board.next_applied().codes, [1000; CHANNELS]);
    let applied = board.next_applied();
    assert_eq!((applied.on, &applied.codes), (true, &vec![300; CHANNELS]));
    let off = board.next_applied();
    assert_eq!((off.on, off.codes), (false, vec![0; CHANNELS]));
}
