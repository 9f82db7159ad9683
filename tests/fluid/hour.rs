//! Sound kept back between two clocks that differ: an hour in simulated time, and what comes out.

use std::f64::consts::TAU;

use crate::counting::allocations_during;
use coilscore::audio::playback::{Drift, KeptBack, Stretch, keep_back};
use coilscore::audio::{SampleBlock, SoundFormat};
use coilscore::coil::fluid::{Lag, Preview, Way};
use coilscore::units::{Rate, Seconds};

const RATE_HZ: u32 = 8_000;
const BLOCK: usize = 64;
/// A turn of the two channels' phase, instants: tells which instant is heard.
const TURN: u32 = 32_000;

/// The same chance every time, 0 to 1.
struct Chance(u32);

impl Chance {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(self.0 >> 8) / f64::from(1 << 24)
    }
}

/// What an hour was like.
#[derive(Debug)]
struct Hour {
    /// Delay from an instant's arrival on the input's clock to its being played, s, of every second.
    delays_s: Vec<f64>,
    speed_ppm: f64,
    gaps: u64,
    leaps: u64,
    lost: u64,
}

/// Runs an input that is `in_ppm` fast into an output that is `out_ppm` fast. Blocks come up to
/// `jitter_s` late at both ends.
fn run(seconds: f64, in_ppm: f64, out_ppm: f64, jitter_s: f64, to_hz: u32) -> Hour {
    let sound = SoundFormat { rate_hz: RATE_HZ, channels: 2 };
    let (mut feed, mut kept, fill) = keep_back(sound, to_hz, 0.12).unwrap();
    let in_hz = f64::from(RATE_HZ) * (1.0 + in_ppm * 1e-6);
    let out_hz = f64::from(to_hz) * (1.0 + out_ppm * 1e-6);
    let mut chance = Chance(7);
    let (mut heard, mut played) = (0_u64, 0_u64);
    let (mut in_s, mut out_s) = (0.0, 0.0);
    let mut block = [0.0_f32; 2 * BLOCK];
    let mut delays_s = Vec::new();
    while out_s < seconds {
        if in_s <= out_s {
            for (at, instant) in block.chunks_exact_mut(2).enumerate() {
                let n = heard + at as u64;
                let phase = TAU * (n % u64::from(TURN)) as f64 / f64::from(TURN);
                (instant[0], instant[1]) = (phase.cos() as f32, phase.sin() as f32);
            }
            feed.put(SampleBlock::new(&block, 2).unwrap());
            heard += BLOCK as u64;
            in_s = (heard + BLOCK as u64) as f64 / in_hz + jitter_s * chance.next();
        } else {
            let delay_s = play(&mut kept, played as f64 / out_hz, in_hz);
            if played % u64::from(to_hz) < BLOCK as u64 {
                delays_s.extend(delay_s);
            }
            played += BLOCK as u64;
            out_s = played as f64 / out_hz + jitter_s * chance.next();
        }
    }
    let kept = fill.read();
    Hour {
        delays_s,
        speed_ppm: kept.speed_ppm,
        gaps: kept.gaps,
        leaps: kept.leaps,
        lost: kept.lost,
    }
}

/// Plays a block that is due at `due_s`; how late its first instant is. `None` while silent.
fn play(kept: &mut KeptBack, due_s: f64, in_hz: f64) -> Option<f64> {
    let mut out = [0.0_f32; 2 * BLOCK];
    kept.play(&mut out);
    if out[0].hypot(out[1]) < 0.5 {
        return None;
    }
    let turn = f64::from(out[1]).atan2(f64::from(out[0])).rem_euclid(TAU) / TAU;
    let now = due_s * in_hz;
    let behind = (now - turn * f64::from(TURN)).rem_euclid(f64::from(TURN));
    Some(behind / in_hz)
}

/// What is left of an hour once the loop has found the clocks.
fn spread_s(hour: &Hour) -> (f64, f64) {
    let settled = &hour.delays_s[180..];
    let low = settled.iter().copied().fold(f64::INFINITY, f64::min);
    let high = settled.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    (low, high)
}

#[test]
fn in_an_hour_the_delay_does_not_drift() {
    for (seconds, in_ppm, out_ppm) in
        [(3600.0, 100.0, -100.0), (600.0, -100.0, 100.0), (600.0, 0.0, 0.0)]
    {
        let hour = run(seconds, in_ppm, out_ppm, 0.004, RATE_HZ);
        let (low_s, high_s) = spread_s(&hour);
        println!(
            "{in_ppm} ppm into {out_ppm} ppm: kept back {:.1} to {:.1} ms, speed {:+.1} ppm",
            1000.0 * low_s,
            1000.0 * high_s,
            hour.speed_ppm
        );
        assert_eq!((hour.gaps, hour.leaps, hour.lost), (0, 0, 0), "{in_ppm}");
        assert!(high_s - low_s < 0.003, "{low_s} to {high_s}");
        assert!(low_s > 0.115 && high_s < 0.135, "{low_s} to {high_s}");
        // Swayed by what blocks that come late make of the ring, 4 ms here; inaudible. The input's clock against the output's; 200 ppm left alone would be 720 ms in an hour.
        assert!((hour.speed_ppm - (in_ppm - out_ppm)).abs() < 250.0, "{}", hour.speed_ppm);
    }
}

#[test]
fn another_rate_is_kept_back_as_well() {
    let hour = run(400.0, 80.0, 0.0, 0.002, 11_025);
    let (low_s, high_s) = spread_s(&hour);
    assert!(high_s - low_s < 0.003 && low_s > 0.112 && high_s < 0.135, "{low_s} to {high_s}");
    assert_eq!((hour.gaps, hour.leaps, hour.lost), (0, 0, 0));
}

/// The loop itself, with the ring as a bare integral.
#[test]
fn the_speed_never_leaves_what_nobody_hears() {
    let mut drift = Drift::new(0.1);
    let mut held_s = 0.35;
    let mut least: f64 = held_s;
    for _ in 0..200_000 {
        let speed = drift.speed(held_s, 0.005);
        assert!((speed - 1.0).abs() <= 0.002_000_001, "{speed}");
        held_s += 0.005 * (1.0 + 150e-6 - speed);
        least = least.min(held_s);
    }
    assert!((held_s - 0.1).abs() < 1e-4, "{held_s}");
    assert!(least > 0.08, "it swung to {least}");
    drift.again();
    assert!((drift.speed(0.1, 0.005) - 1.000_15).abs() < 2e-6, "it knows the clocks still");
}

#[test]
fn what_is_missing_is_silence_and_begins_anew() {
    let sound = SoundFormat { rate_hz: RATE_HZ, channels: 1 };
    let (mut feed, mut kept, fill) = keep_back(sound, RATE_HZ, 0.05).unwrap();
    let ones = [1.0_f32; 400];
    let mut out = [9.0_f32; 800];
    kept.play(&mut out);
    assert!(out.iter().all(|sample| *sample == 0.0), "nothing is there yet");
    assert_eq!(fill.read().gaps, 0, "which is no gap");
    feed.put(SampleBlock::new(&ones, 1).unwrap());
    kept.play(&mut out);
    assert!(out[..200].iter().any(|sample| *sample > 0.9) && out[799] == 0.0);
    assert_eq!(fill.read().gaps, 1);
    // Half of what it takes to begin anew.
    feed.put(SampleBlock::new(&ones[..200], 1).unwrap());
    kept.play(&mut out[..100]);
    assert!(out[..100].iter().all(|sample| *sample == 0.0));
    // A stall that ends with everything at once: dropped down to the delay.
    for _ in 0..12 {
        feed.put(SampleBlock::new(&ones, 1).unwrap());
    }
    kept.play(&mut out[..100]);
    for _ in 0..12 {
        feed.put(SampleBlock::new(&ones, 1).unwrap());
    }
    kept.play(&mut out[..100]);
    assert_eq!(fill.read().leaps, 1);
    for _ in 0..100 {
        feed.put(SampleBlock::new(&ones, 1).unwrap());
    }
    assert!(fill.read().lost > 0, "a ring that nobody empties");
}

/// A sine comes out as a sine: what is not it is far below what is heard.
#[test]
fn resampling_adds_nothing_that_is_heard() {
    let mut stretch = Stretch::new(48_000, 44_100, 1).unwrap();
    stretch.set_speed(1.000_1);
    let mut n = 0_u32;
    let mut out = vec![0.0_f32; 40_000];
    let made = stretch.fill(&mut out, |input| {
        for sample in input {
            *sample = (0.5 * (TAU * 1000.0 * f64::from(n) / 48_000.0).sin()) as f32;
            n += 1;
        }
        true
    });
    assert_eq!(made, 40_000);
    let hz = 1000.0 * 1.000_1;
    let tail = &out[4_000..];
    let turn = |k: usize| TAU * hz * k as f64 / 44_100.0;
    let sum = |f: &dyn Fn(f64) -> f64| -> f64 {
        let each = tail.iter().enumerate().map(|(k, x)| f64::from(*x) * f(turn(k)));
        2.0 * each.sum::<f64>() / tail.len() as f64
    };
    let (cosine, sine) = (sum(&|t| t.cos()), sum(&|t| t.sin()));
    let rest = |(k, x): (usize, &f32)| {
        let left = f64::from(*x) - cosine * turn(k).cos() - sine * turn(k).sin();
        left * left
    };
    let power = tail.iter().enumerate().map(rest).sum::<f64>() / tail.len() as f64;
    let db = 10.0 * (power / (0.5 * (cosine * cosine + sine * sine))).log10();
    println!("what is not the sine: {db:.1} dB");
    assert!((cosine.hypot(sine) - 0.5).abs() < 0.002);
    assert!(db < -76.0, "{db}");
}

/// The sound system's threads get no memory from us: blocks in, blocks out, a gap, a leap.
#[test]
fn no_memory_is_asked_for_on_the_way() {
    let sound = SoundFormat { rate_hz: 48_000, channels: 2 };
    let (mut feed, mut kept, _) = keep_back(sound, 44_100, 0.1).unwrap();
    let (block, mut out) = ([0.1_f32; 512], [0.0_f32; 470]);
    let way = Way::new(Seconds(0.03), 3.0, 0.5);
    let mut preview = Preview::new(&Lag { rise: way, fall: way }, 24, Rate::new(200, 1).unwrap());
    let asked = allocations_during(|| {
        for turn in 0..2000 {
            kept.aim(0.09);
            if turn % 500 != 499 {
                feed.put(SampleBlock::new(&block, 2).unwrap());
            }
            if turn % 300 > 60 {
                kept.play(&mut out);
            }
            preview.step((0..24).map(|coil| f64::from(coil) / 24.0));
        }
    });
    assert_eq!(asked, 0);
}
