//! The frames are a function of the samples: of nothing else, at the right time, of the right size.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop at the first surprise; their numbers are small"
)]

mod common;

use coilscore::audio::Source;
use coilscore::audio::demo::DemoSong;
use coilscore::budget::{Polarity, Pull, PullRange};
use common::{BUSY, HOT_RING, UNLIMITED, codes, lay_law, one_band, prepared};
use proptest::prelude::*;

/// The demo song's samples between two times, interleaved stereo at 44.1 kHz.
fn demo_samples(from_s: f64, to_s: f64) -> Vec<f32> {
    let mut song = DemoSong::new();
    let format = song.format();
    let per_second = f64::from(format.rate_hz) * f64::from(format.channels);
    let mut samples = Vec::new();
    while let Some(block) = song.next_block().unwrap() {
        samples.extend_from_slice(block.interleaved());
    }
    let at = |s: f64| ((s * per_second) as usize / 2 * 2).min(samples.len());
    samples[at(from_s)..at(to_s)].to_vec()
}

fn sine(rate_hz: u32, seconds: f64, hz: f64, amplitude: f64) -> Vec<f32> {
    let count = (f64::from(rate_hz) * seconds).round() as usize;
    let step = std::f64::consts::TAU * hz / f64::from(rate_hz);
    (0..count).map(|n| (amplitude * (step * n as f64).sin()) as f32).collect()
}

/// Copper's temperature and the fluid's height come in, and both are functions of the frames before.
#[test]
fn chunking_changes_nothing_where_fluid_is_lifted_and_held() {
    let samples = demo_samples(0.0, 8.0);
    for range in [PullRange::FromRest, PullRange::FromLift, HELD] {
        let mut settings = prepared(BUSY, HOT_RING, 44_100, 2, "200");
        lay_law(&mut settings.budget, range);
        let whole = codes(&settings, &samples, &[samples.len()]);
        assert!(whole.iter().flatten().any(|&code| code > 2000), "hardly driven");
        for chunks in [&[1][..], &[441], &[1, 1000, 3, 220, 221, 17]] {
            assert!(codes(&settings, &samples, chunks) == whole, "chunks of {chunks:?} differ");
        }
    }
}

const HELD: PullRange = PullRange::Held { margin: 0.1, at: 0.3 };

/// Heat of the demo song in a tank whose coils hold what they lift, against one that holds at the
/// pull that lifts (a margin of 2/3 on 0.6). The mapping and both displays are invented.
#[test]
fn holding_saves_heat_on_a_song() {
    let samples = demo_samples(0.0, 20.0);
    let at_lift = PullRange::Held { margin: 2.0 / 3.0, at: 0.3 };
    let heat = |range| {
        let mapping = one_band("ring", 40.0, 150.0, -40.0, -10.0);
        let mut settings = prepared(&mapping, HOT_RING, 44_100, 2, "200");
        settings.budget.coils.iter_mut().for_each(|coil| {
            (coil.period_over_tau, coil.heat.backing.0, coil.heat.coil.0) = (0.0, 1e4, 1e3);
        });
        settings.budget.rails.iter_mut().for_each(|rail| rail.limit.0 = f64::INFINITY);
        lay_law(&mut settings.budget, range);
        let frames = codes(&settings, &samples, &[441]);
        // Smooth current: heat goes with the square of the duty.
        let square = |code: &i32| (f64::from(*code) / 4095.0).powi(2);
        let full = frames.iter().flatten().filter(|code| **code == 4095).map(square).sum::<f64>();
        (frames.iter().flatten().map(square).sum::<f64>(), full)
    };
    let ((held, full), (lifted, full_too)) = (heat(HELD), heat(at_lift));
    assert!(full > 0.0 && (full / full_too - 1.0).abs() < 0.05, "pulled in: {full}, {full_too}");
    let (all, holding) = (held / lifted, (held - full) / (lifted - full_too));
    println!(
        "held: {all:.3} of the heat of holding at the lifting pull; without pulling in {holding:.3}"
    );
    assert!(all < 0.9 && holding < 0.3, "{all} {holding}");
}

#[test]
fn hands_that_say_all_off_mean_it() {
    let samples = demo_samples(0.0, 4.0);
    let mapping = one_band("ring", 40.0, 150.0, -25.0, -10.0);
    let mut settings = prepared(&mapping, HOT_RING, 44_100, 2, "200");
    lay_law(&mut settings.budget, HELD);
    settings.budget.rails.iter_mut().for_each(|rail| rail.limit.0 = f64::INFINITY);
    for coil in &mut settings.budget.coils {
        coil.polarity = Polarity::SignMagnitude;
        if let Pull::Law(pull) = &mut coil.pull {
            (pull.law.q0, pull.law.c1) = (0.9, 1.94192);
        }
    }
    let mut engine = coilscore::engine::Engine::new(&settings).unwrap();
    let mut rest = coilscore::audio::SampleBlock::new(&samples, 2).unwrap();
    let (mut driven, mut pulses) = (0, 0);
    while let (left, Some(step)) = engine.step(rest) {
        let codes: Vec<i32> = step.duties.iter().map(|duty| duty.code()).collect();
        let number = step.number;
        rest = left;
        if (401..500).contains(&number) {
            assert!(codes.iter().all(|&code| code == 0), "frame {number}: {codes:?}");
        }
        driven += codes.iter().filter(|&&code| code > 0).count();
        pulses += codes.iter().filter(|&&code| code < 0).count();
        if number == 400 || number == 499 {
            let all_off = number == 400;
            engine.set_hands(coilscore::frame::Hands { all_off, ..coilscore::frame::Hands::FREE });
        }
    }
    assert!(driven > 0 && pulses > 0, "{driven} {pulses}: nothing that all-off could have stopped");
}

#[test]
fn chunking_changes_nothing_even_while_the_limiter_works() {
    let samples = demo_samples(0.0, 8.0);
    let settings = prepared(BUSY, HOT_RING, 44_100, 2, "200");
    let whole = codes(&settings, &samples, &[samples.len()]);
    assert!(whole.iter().flatten().any(|&code| code > 0), "nothing moved: the test shows nothing");
    let hot = prepared(BUSY, HOT_RING, 44_100, 2, "200");
    let mut budget = coilscore::engine::Engine::new(&hot).unwrap();
    drop_through(&mut budget, &samples);
    let cut: f64 = budget.budget().totals().cut_heat.iter().sum();
    assert!(cut > 0.0, "the limiter never worked: the test shows less than it says");
    for chunks in [&[1][..], &[7], &[441], &[4096], &[1, 1000, 3, 220, 221, 17]] {
        assert!(codes(&settings, &samples, chunks) == whole, "chunks of {chunks:?} differ");
    }
}

fn drop_through(engine: &mut coilscore::engine::Engine, samples: &[f32]) {
    let mut rest = coilscore::audio::SampleBlock::new(samples, 2).unwrap();
    while let (left, Some(_)) = engine.step(rest) {
        rest = left;
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn random_chunks_change_nothing(chunks in prop::collection::vec(1_usize..9000, 1..40)) {
        let samples = demo_samples(1.0, 3.0);
        let settings = prepared(BUSY, HOT_RING, 44_100, 2, "60000/1001");
        prop_assert_eq!(codes(&settings, &samples, &chunks), codes(&settings, &samples, &[512]));
    }
}

/// The duty that a sine must give is arithmetic: level in dBFS (a full-scale sine reads 0, as
/// AES17 has it) on a straight line from floor to full, times the steps, rounded toward off.
#[test]
fn sine_steps_give_the_duty_that_arithmetic_gives() {
    const FLOOR: f64 = -48.0;
    let settings =
        prepared(&one_band("one", 500.0, 2000.0, FLOOR, 0.0), UNLIMITED, 48_000, 1, "200");
    let levels_dbfs = [-6.0, -40.0, -20.0, -3.0, -60.0, -12.0];
    let samples: Vec<f32> = levels_dbfs
        .iter()
        .flat_map(|db| sine(48_000, 0.5, 1000.0, 10_f64.powf(db / 20.0)))
        .collect();
    let frames = codes(&settings, &samples, &[512]);
    for (index, db) in levels_dbfs.iter().enumerate() {
        let expected = ((db - FLOOR) / -FLOOR).clamp(0.0, 1.0) * 65_535.0;
        // From 50 ms after the step, when no window reaches back over it, to its end.
        for frame in &frames[index * 100 + 10..index * 100 + 99] {
            let off_db = (f64::from(frame[0]) - expected) / 65_535.0 * -FLOOR;
            assert!(off_db.abs() < 0.05, "step {index} ({db} dBFS): {off_db} dB off");
        }
    }
}

/// A click at sample n must show in the first frame that has heard it, or up to the band's stated
/// delay later, and never before, at every rate.
#[test]
fn a_click_shows_when_it_has_been_heard_and_not_before() {
    for rate_hz in [8_000_u32, 44_100, 48_000, 96_000] {
        for frame_rate in ["30", "59.94", "200"] {
            for n in [5_000_usize, 12_345, 20_011] {
                one_click(rate_hz, frame_rate, n);
            }
        }
    }
}

fn one_click(rate_hz: u32, frame_rate: &str, n: usize) {
    let top = 0.4 * f64::from(rate_hz.min(44_100));
    let mapping = one_band("one", top / 4.0, top, -120.0, -20.0);
    let settings = prepared(&mapping, UNLIMITED, rate_hz, 1, frame_rate);
    let mut samples = vec![0.0; n + rate_hz as usize / 4];
    samples[n] = 1.0;
    let frames = codes(&settings, &samples, &[4096]);
    let (num, den) = settings.analysis.frame_rate.ratio();
    // Frame k has heard sample n when n < k * fs * den / num, so the first is this one:
    let heard = (n as u64 * u64::from(num)) / (u64::from(rate_hz) * u64::from(den)) + 1;
    let before = &frames[..heard as usize];
    assert!(
        before.iter().all(|codes| codes[0] == 0),
        "{rate_hz}/{frame_rate}/{n}: before its time"
    );
    let analysis = coilscore::analysis::Analysis::new(&settings.analysis).unwrap();
    let delay_s = analysis.bands()[0].delay_s.0;
    let late = (delay_s * settings.analysis.frame_rate.per_second()).ceil() as usize;
    let peak = frames.iter().map(|codes| codes[0]).max().unwrap();
    // 10 dB of the 100 dB between floor and full.
    let threshold = peak - 6_554;
    let shown = frames.iter().position(|codes| codes[0] >= threshold).unwrap();
    assert!(
        (heard as usize..=heard as usize + late).contains(&shown),
        "{rate_hz}/{frame_rate}/{n}: heard in {heard}, shown in {shown}, allowed {late} later"
    );
}

#[test]
fn n_samples_give_frames_zero_to_the_last_and_no_more() {
    // The law: frames 0..=ceil(N * rate / fs).
    for (count, rate_hz, frame_rate, last) in [
        (0_usize, 44_100, "200", 0_usize),
        (1, 44_100, "200", 1),
        (44_100, 44_100, "200", 200),
        (44_101, 44_100, "200", 201),
        (96_000, 48_000, "59.94", 120),
        (8_000, 8_000, "30", 30),
    ] {
        let mapping = one_band("one", 400.0, 1600.0, -48.0, 0.0);
        let settings = prepared(&mapping, UNLIMITED, rate_hz, 1, frame_rate);
        let frames = codes(&settings, &vec![0.1; count], &[333]);
        let expected = if count == 0 { 1 } else { last + 1 };
        assert_eq!(frames.len(), expected, "{count} samples at {rate_hz} Hz, {frame_rate}/s");
    }
}

/// Portable arithmetic gives these frames on every processor. When a change is meant to alter them,
/// the new figure goes here and the reason into the commit.
#[test]
fn portable_frames_are_what_they_were() {
    let samples = demo_samples(2.0, 6.0);
    let settings = prepared(BUSY, HOT_RING, 44_100, 2, "200");
    let frames = codes(&settings, &samples, &[4096]);
    // FNV-1a, 64 bits.
    let digest = frames.iter().flatten().fold(0xcbf2_9ce4_8422_2325_u64, |hash, code| {
        code.to_le_bytes()
            .iter()
            .fold(hash, |hash, byte| (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3))
    });
    assert_eq!(format!("{digest:016x}"), "6dde4146a2114484");
}
