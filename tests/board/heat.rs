//! The mean of |code| over a window, and the clamp that keeps it below its limit.

use super::in_c::{Board, Config};
use super::payload::*;

/// Repeatable numbers (the 64-bit generator of Knuth's MMIX, TAOCP vol. 2, 3.3.4).
struct Numbers(u64);

impl Numbers {
    fn below(&mut self, end: u64) -> u64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % end
    }
}

/// A first-order low-pass in continuous time, exact for codes that stay for a while: a thermal time
/// constant as any textbook on heat transfer has it.
fn after(mean: f64, code: f64, ms: f64, window_s: f64) -> f64 {
    code + (mean - code) * (-ms / 1000.0 / window_s).exp()
}

#[test]
fn the_mean_is_that_of_the_continuous_filter() {
    for (window_s, steps) in [(1, 65535), (7, 4095), (60, 3500), (60, 65535), (3600, 65535)] {
        let hello = Hello { rate: [1000, 1], ..Hello::new(5, steps, WORD) };
        let limits = vec![(steps, steps); 5];
        let config = Config { window_s, limits, ..Config::new(5, steps) };
        let mut board = Board::greeted(&config, &hello);
        let mut exact = [f64::from(steps); 5];
        let mut numbers = Numbers(u64::from(window_s));
        let mut now = 0;
        // Steps over slots in the window, and the store's rounding; half a code for the report.
        let bound = f64::from(steps) / (100.0 * f64::from(window_s)) + 0.1 + 0.5;
        for frame in 0..600 {
            // Long pauses, so that means fall, and busy stretches, so that they rise.
            let busy = frame / 100 % 2 == 0;
            let codes =
                [0; 5].map(|_| if busy { numbers.below(u64::from(steps) + 1) as i32 } else { 0 });
            board.frame(frame, WORD, &codes);
            let ms = 1 + numbers.below(240) as u32;
            now += ms;
            board.run_until(now);
            let means = board.state().mean;
            for channel in 0..5 {
                exact[channel] =
                    after(exact[channel], codes[channel].into(), ms.into(), window_s.into());
                let off = f64::from(means[channel]) - exact[channel];
                assert!(off.abs() <= bound, "{window_s} s, frame {frame}: off by {off} of {bound}");
            }
        }
    }
}

/// The rounding alone: against the same slots in floating point, never below, never 0.1 above.
#[test]
fn rounding_is_upward_and_bounded_for_any_window() {
    for window_s in [1, 60, 65535] {
        let config = Config { window_s, limits: vec![(65535, 300); 1], ..Config::new(1, 65535) };
        let mut board = Board::greeted(&config, &Hello::new(1, 65535, WORD));
        let slots = 100.0 * f64::from(window_s);
        let mut mean = 300.0;
        for frame in 0..2_000 {
            let code = if frame % 3 == 0 { 299 } else { 1 };
            board.frame(frame, WORD, &[code]);
            board.run_until(10 * (frame + 1));
            mean += (f64::from(code) - mean) / slots;
            let got = f64::from(board.state().mean[0]);
            assert!(got >= mean - 0.5 && got <= mean + 0.6, "{window_s} s: {got} for {mean}");
        }
    }
}

#[test]
fn the_mean_passes_its_limit_by_no_more_than_a_slot() {
    for (window_s, limit) in [(1, 700), (5, 100), (60, 900)] {
        let limits = vec![(3500, limit); 5];
        let config = Config { window_s, limits, two_way: true, ..Config::new(5, 3500) };
        let mut board = Board::greeted(&config, &Hello::new(5, 3500, SIGNED_WORD));
        let mut numbers = Numbers(3);
        let slots = 100.0 * f64::from(window_s);
        let bound = f64::from(limit) + f64::from(3500 - limit) / slots + 0.1 + 0.5;
        let mut exact = f64::from(limit);
        let (mut now, mut full) = (0, 0);
        for frame in 0..600 {
            let wild = [0; 5].map(|_| numbers.below(7001) as i32 - 3500);
            // Rests of half a minute, long loud stretches, and noise.
            let codes = match frame % 300 {
                0..100 => [0; 5],
                100..220 => [3500, -3500, 3500, -3500, 3500],
                _ => wild,
            };
            board.frame(frame, SIGNED_WORD, &codes);
            let ms = 1 + numbers.below(249) as u32;
            // The judge counts what was applied, millisecond by millisecond.
            for _ in 0..ms {
                let applied = board.state().duty[0];
                full += u32::from(applied.abs() > i32::from(limit));
                now += 1;
                board.tick(now);
                exact = after(exact, applied.abs().into(), 1.0, window_s.into());
                let slack = f64::from(3500) / slots;
                assert!(exact <= bound + slack, "{window_s} s: {exact} above {bound}");
            }
            for &mean in &board.state().mean {
                assert!(f64::from(mean) <= bound, "{window_s} s: {mean} above {bound}");
            }
        }
        assert!(full > 100, "{window_s} s: bursts must come through, {full} ms did");
    }
}

#[test]
fn a_steady_request_is_clamped_once_and_released_by_rest() {
    let limits = vec![(3500, 500); 5];
    let config = Config { window_s: 2, limits, ..Config::new(5, 3500) };
    let hello = Hello::new(5, 3500, TWELVE);
    let mut board = Board::greeted(&config, &hello);
    let mut frame = 0;
    let mut now = 0;
    // Full drive for 60 s, then 400 for 20 s, then full again; where channel 0's code changed.
    let mut history = vec![(0, 0)];
    for (codes, seconds) in [([3500; 5], 60), ([400; 5], 20), ([3500; 5], 20)] {
        for _ in 0..seconds * 5 {
            frame += 1;
            board.frame(frame, TWELVE, &codes);
            for _ in 0..20 {
                let duty = board.state().duty[0];
                if history.last().unwrap().1 != duty {
                    history.push((now, duty));
                }
                now += 10;
                board.run_until(now);
            }
        }
    }
    let codes: Vec<i32> = history.iter().map(|&(_, code)| code).collect();
    // Heat before the reset is not known: the mean begins at its limit, so the first full code goes
    // at once. After 20 s at 400 the mean is 400, and full drive lasts until it is 500 again:
    // 2 s * ln(3100 / 3000) = 66 ms by the closed form; 70 in whole slots.
    assert_eq!(codes, [0, 3500, 500, 400, 3500, 500]);
    assert_eq!(history[2].0, 10);
    assert_eq!(history[5].0 - history[4].0, 70);
    board.frame(frame + 1, TWELVE, &[3500; 5]);
    let status = board.status();
    assert!(status.clamps);
    assert!(status.means.iter().all(|&mean| (500..=516).contains(&mean)), "{:?}", status.means);
}

#[test]
fn means_survive_greetings_and_another_window() {
    let config = Config { window_s: 60, limits: vec![(3500, 3000); 5], ..Config::new(5, 3500) };
    let hello = Hello::new(5, 3500, TWELVE);
    let mut board = Board::greeted(&config, &hello);
    board.run_until(20_000);
    let before = board.state().mean;
    // 3000 exp(-1/3) = 2149.6
    assert!(before.iter().all(|mean| (2149..=2150).contains(mean)), "{before:?}");
    board.frame(1, TWELVE, &[0; 5]);
    let near = |now: &[u32], expected: u32| now.iter().all(|mean| mean.abs_diff(expected) <= 1);
    // Under a shorter window the mean is what it was.
    board.feed(&Hello { window_s: 1, ..hello.clone() }.packet());
    assert!(near(&board.state().mean, before[0]), "{:?}", board.state().mean);
    // That window forgets in seconds what the coils do not: back under a longer one, the means
    // begin at their limits, or a host could launder heat by greeting twice.
    board.run_until(25_000);
    assert!(board.state().mean.iter().all(|&mean| mean < 30), "{:?}", board.state().mean);
    for window_s in [13, 0, 60_000] {
        board.feed(&Hello { window_s, ..hello.clone() }.packet());
        let now = board.state().mean;
        assert!(near(&now, 3000), "{window_s} s: {now:?}");
    }
    // A host cannot lengthen the window: 20 s later it is down by exp(-1/3).
    board.run_until(45_000);
    assert!(board.state().mean.iter().all(|mean| (2149..=2152).contains(mean)));
}

/// A reset leaves the means at the limit that is in force when driving begins, whatever greeted
/// before.
#[test]
fn a_tight_greeting_before_the_first_frame_launders_nothing() {
    let config = Config { window_s: 60, limits: vec![(3500, 3000); 5], ..Config::new(5, 3500) };
    let hello = Hello::new(5, 3500, TWELVE);
    let mut board = Board::greeted(&config, &hello);
    board.feed(&Hello { limits: vec![(3500, 0); 5], ..hello.clone() }.packet());
    assert!(board.state().mean.iter().all(|&mean| mean == 0), "{:?}", board.state().mean);
    board.feed(&hello.packet());
    assert!(board.state().mean.iter().all(|&mean| mean == 3000), "{:?}", board.state().mean);
}

/// A clock that jumps (a debugger, a suspended emulator) counts as ten seconds, and the watchdog
/// ends what was on.
#[test]
fn a_jump_of_the_clock_ends_all() {
    let config = Config { window_s: 60, limits: vec![(3500, 3500); 5], ..Config::new(5, 3500) };
    let mut board = Board::greeted(&config, &Hello::new(5, 3500, TWELVE));
    board.frame(1, TWELVE, &[0; 5]);
    assert!(board.tick(3_000_000_000));
    let state = board.state();
    assert!(!state.on);
    // 3500 exp(-1/6)
    assert!(state.mean.iter().all(|mean| mean.abs_diff(2963) <= 1), "{:?}", state.mean);
}
