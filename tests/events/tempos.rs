//! At which tempos beats are foretold at their own pace, and not at twice or half of it.

use coilscore::analysis::{Analysis, AnalysisSettings, Arith, EarRequest, Knowing, Sense};
use coilscore::audio::{SampleBlock, SoundFormat};
use coilscore::units::{Rate, Seconds};

use crate::score::pairs;
use crate::songs::{Hats, Song, groove};

const RATE_HZ: u32 = 48_000;
const FRAMES_PER_S: u32 = 200;
const LEAD_S: f64 = 0.1;

/// Beats that a route is told 100 ms ahead, as a live run tells them.
fn foretold(song: &Song) -> Vec<f64> {
    let settings = AnalysisSettings {
        sound: SoundFormat { rate_hz: RATE_HZ, channels: 1 },
        frame_rate: Rate::new(FRAMES_PER_S, 1).unwrap(),
        bands: vec![],
        ears: vec![EarRequest::Beat { lead_s: Seconds(LEAD_S), sure: 0.2 }],
        knowing: Knowing::Nothing,
        quiet_dbfs: Some(-80.0),
        arith: Arith::Portable,
    };
    let mut analysis = Analysis::new(&settings).unwrap();
    let mut told = Vec::new();
    for (frame, block) in song.samples.chunks((RATE_HZ / FRAMES_PER_S) as usize).enumerate() {
        analysis.push(SampleBlock::new(block, 1).unwrap());
        if matches!(analysis.measure().senses[0], Sense::Struck(strength) if strength > 0.0) {
            told.push((frame + 1) as f64 / f64::from(FRAMES_PER_S) + LEAD_S);
        }
    }
    told
}

/// Share of the beats after ten seconds that were foretold within 45 ms, and share of what was
/// foretold that is a beat. At twice the tempo the second is a half, at half of it the first.
fn shares(song: &Song, until_s: f64) -> (f64, f64) {
    let late = |times: &[f64]| -> Vec<f64> {
        times.iter().copied().filter(|time| (10.0..until_s).contains(time)).collect()
    };
    let (beats, told) = (late(&song.beats), late(&foretold(song)));
    let both = pairs(&beats, &told, 0.045).len() as f64;
    (both / beats.len() as f64, both / told.len().max(1) as f64)
}

/// Towards both ends of the range a listener may tap twice or half the tempo as well. The ranges are
/// those that were measured here, no source: outside of them twice the tempo is taken below and half
/// of it above.
#[test]
fn beats_are_foretold_at_their_own_pace() {
    let mut wrong = Vec::new();
    for (hats, right_bpm) in [
        (Hats::None, 72.0..=148.0),
        (Hats::Eighths, 76.0..=176.0),
        (Hats::Sixteenths, 84.0..=176.0),
    ] {
        for bpm in (16..=44).map(|n| 4.0 * f64::from(n)) {
            let (found, right) = shares(&groove(bpm, hats, 20.0, RATE_HZ, 31), 19.0);
            let said =
                format!("{bpm}, {hats:?}: {found:.2} of beats foretold, {right:.2} of those right");
            println!("{said}");
            if right_bpm.contains(&bpm) && found.min(right) < 0.95 {
                wrong.push(said);
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
