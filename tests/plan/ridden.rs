//! The rider: sound whose future nobody knows.

use coilscore::audio::{SampleBlock, SoundFormat};
use coilscore::budget::{Budget, Clamp, Start};
use coilscore::engine::{Engine, Prepared};
use coilscore::frame::Gained;
use coilscore::preset::{prepare, prepare_display};
use coilscore::run::plan::Tally;
use coilscore::units::{Rate, Seconds, Share};

use super::common::{HOT_RING, codes, files, one_band};
use super::plant::Plant;
use super::{RATE, SOUND_HZ, bursts, job};

fn settings(ride_s: Option<f64>) -> Prepared {
    let (mapping, display) = files(&one_band("ring", 100.0, 3000.0, -45.0, -20.0), HOT_RING);
    let job = job(&mapping, &display, Start::Cold);
    let sound = SoundFormat { rate_hz: SOUND_HZ, channels: 1 };
    let (mut prepared, _) =
        prepare(&mapping, &display, sound, job.rate, job.start.clone(), job.arith).unwrap();
    if let Some(ride_s) = ride_s {
        prepared.budget.ride = Seconds(ride_s);
    }
    prepared
}

/// What came of two minutes, the limiter's own share, and the lowest gain at the end.
fn heard(prepared: &Prepared) -> (Gained, f64, f64) {
    let mut engine = Engine::new(prepared).unwrap();
    let steps = prepared.budget.coils.iter().map(|coil| coil.steps);
    let frame_s = 1.0 / f64::from(RATE);
    let mut tally = Tally::new(Clamp::new(&prepared.budget).unwrap(), steps, frame_s);
    let samples = bursts(120);
    let mut rest = SampleBlock::new(&samples, 1).unwrap();
    while let (left, Some(step)) = engine.step(rest) {
        tally.add(step.wishes, step.budget);
        rest = left;
    }
    let totals = engine.budget().totals();
    let sum = |list: &[f64]| list.iter().sum::<f64>();
    let limiter = (sum(totals.cut_heat) - sum(totals.eased)) / sum(totals.wished);
    let lowest = engine.budget().gains().iter().copied().fold(1.0, f64::min);
    (tally.gained(), limiter, lowest)
}

#[test]
fn riding_keeps_more_of_the_shape_for_little_of_the_heat() {
    let (alone, flattened, free) = heard(&settings(Some(0.0)));
    let (ridden, left, gain) = heard(&settings(None));
    assert_eq!(free, 1.0);
    assert!(flattened > 0.05, "the limiter had nothing to do: {flattened}");
    assert!(gain < 0.95, "nothing was turned down: {gain}");
    assert!(left < 0.4 * flattened, "the limiter still takes {left} of {flattened}");
    assert!(ridden.likeness[0] > alone.likeness[0] + 0.01, "{ridden:?} for {alone:?}");
    assert!(ridden.energy_j[0] > 0.85 * alone.energy_j[0], "{ridden:?} for {alone:?}");
    assert!(ridden.energy_j[0] > ridden.energy_j[1], "{ridden:?}");
}

#[test]
fn chunks_change_nothing_while_the_rider_works() {
    let (prepared, samples) = (settings(None), bursts(40));
    let whole = codes(&prepared, &samples, &[samples.len()]);
    let still = codes(&settings(Some(0.0)), &samples, &[samples.len()]);
    assert!(whole != still, "the rider did nothing: the test shows nothing");
    for chunks in [&[7][..], &[441], &[1, 1000, 3, 220]] {
        assert!(codes(&prepared, &samples, chunks) == whole, "chunks of {chunks:?}");
    }
}

#[test]
fn it_never_takes_what_can_be_held_for_ever_and_never_passes_the_box() {
    let (_, display) = files(&one_band("ring", 100.0, 3000.0, -45.0, -20.0), HOT_RING);
    let (mut settings, _) = prepare_display(&display, Rate::new(RATE, 1).unwrap(), Start::Cold);
    settings.ride = Seconds(60.0);
    let mut budget = Budget::new(&settings).unwrap();
    let clamp = Clamp::new(&settings).unwrap();
    let mut plant = Plant::new(&settings);
    let bound = budget.bound_c().to_vec();
    let mut granted = Vec::new();
    // Full for four minutes, off for half a minute, then full by turns.
    for frame in 0..RATE * 480 {
        let second = frame / RATE;
        let on = second < 240 || (second >= 270 && second % 5 < 2);
        let wish = if on { Share::ALL } else { Share::NONE };
        let codes: Vec<i32> = budget.permit(&[wish; 24]).iter().map(|duty| duty.code()).collect();
        plant.hold(&codes, 1.0 / f64::from(RATE), |rise| {
            let over = rise.iter().zip(&bound).map(|(rise, c)| 25.0 + rise - c);
            assert!(over.fold(f64::MIN, f64::max) < 1e-3, "second {second}");
        });
        if second < 240 {
            granted.push(f64::from(codes[0]) / 4095.0);
        }
    }
    // Full without end settles at what can be held for ever, not below it.
    let last = granted.last().unwrap();
    assert!(*last > 0.97 * clamp.most(0), "{last} of {}", clamp.most(0));
    settings.ride = Seconds(0.0);
    let first = Budget::new(&settings).unwrap().permit(&[Share::ALL; 24])[0].code();
    assert_eq!(granted[0], f64::from(first) / 4095.0, "it must not begin turned down");
}
