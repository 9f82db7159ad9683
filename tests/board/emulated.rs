//! Frames of a rendered file, on the emulated board.

use std::fs::File;
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

const STEPS: u16 = 3500;
const CHANNELS: usize = 24;
const HOLD_MS: u32 = 250;
const FRAMES: usize = 2_000;

/// Ten seconds of a duty file for a board of 24 channels: frame number and codes.
fn rendered() -> Vec<(u32, Vec<i32>)> {
    let display = HOT_RING.replace("steps = 4095", &format!("steps = {STEPS}"));
    let mapping = one_band("ring", 100.0, 3000.0, -60.0, -15.0);
    let (mapping, display) = files(
        &mapping.replace(
            "level_all = { group = \"ring\" }",
            "column = { group = \"ring\", towards_deg = 90, edge_mm = 80 }",
        ),
        &display,
    );
    let rate = Rate::new(200, 1).unwrap();
    let job = RenderJob {
        mapping: &mapping,
        display: &display,
        rate,
        start: Start::Cold,
        arith: Arith::Portable,
    };
    let mut sound = pink_noise(11, 0.3, 10 * 8_000);
    // Swells twice a second, so that coils come and go.
    for (at, sample) in sound.iter_mut().enumerate() {
        *sample *= (at % 4_000) as f32 / 4_000.0;
    }
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("song.duty");
    render(Box::new(Samples::mono(8_000, sound)), &job, &out, &mut |_| Flow::Continue(())).unwrap();
    let mut file = open(&out).unwrap();
    let mut frames = Vec::new();
    while let Some(entry) = file.next_entry().unwrap() {
        if let Entry::Duty { frame, codes } = entry {
            frames.push((frame, codes.iter().map(|code| code.0).collect()));
        }
    }
    frames.truncate(FRAMES);
    let different: std::collections::HashSet<&Vec<i32>> = frames.iter().map(|(_, c)| c).collect();
    assert!(
        frames.len() == FRAMES && different.len() > FRAMES / 3,
        "{} of {}",
        different.len(),
        frames.len()
    );
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
    let frames = rendered();
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
    let refreshed = board.writes("IWDG", 0).len();
    for _ in 0..3 {
        board.status_where(|_| true);
    }
    assert_eq!(board.writes("GPIOB", 0x18).len(), toggles.len(), "the enable is kept alive");
    // The independent watchdog was started before anything else, and is served on.
    let dog = board.writes("IWDG", 0);
    assert_eq!(dog[0], 0xCCCC);
    assert!(dog.len() > refreshed && dog[3..].iter().all(|&value| value == 0xAAAA));
}

#[test]
fn it_clamps_a_rendered_file_to_the_limits_of_the_greeting() {
    let frames = rendered();
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
    // What the coils did before is not known, so the means stand at the old limit, above the new.
    let applied = board.next_applied();
    assert_eq!(applied.codes, [300; CHANNELS]);
    expect_off_after(&board, &applied);
}
