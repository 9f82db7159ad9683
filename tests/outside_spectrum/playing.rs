//! Quiet and loud, heard end to end: hum, music, silence.

use crate::signals::{band, frames, settings, sine};
use coilscore::analysis::Channel::All;

/// Sound at 8 kHz: 100 Hz hum at -70 dBFS, then a pulsing tone, then nothing.
fn evening(hum_s: f64, music_s: f64, silence_s: f64) -> Vec<f32> {
    let total = hum_s + music_s + silence_s;
    let (hum, tone) = (sine(100.0), sine(200.0));
    let wave = |t: f64| {
        if t < hum_s {
            10_f64.powf(-70.0 / 20.0) * hum(t)
        } else if t < hum_s + music_s {
            0.3 * tone(t) * (0.6 + 0.4 * sine(2.0)(t))
        } else {
            0.0
        }
    };
    crate::signals::sound(8000, 1, total, wave)
}

#[test]
fn hum_is_quiet_music_wakes_silence_rests() {
    for frame_rate in ["30", "200"] {
        let mut settings = settings(8000, 1, &[band(60.0, 300.0, All)]);
        settings.frame_rate = frame_rate.parse().unwrap();
        let all = frames(&settings, &evening(8.0, 10.0, 5.0));
        let per_s = settings.frame_rate.per_second();
        let changes: Vec<f64> = all
            .windows(2)
            .enumerate()
            .filter(|(_, pair)| pair[0].quiet != pair[1].quiet)
            .map(|(n, _)| (n + 1) as f64 / per_s)
            .collect();
        assert_eq!(changes.len(), 2, "{changes:?}");
        assert!((changes[0] - 8.0).abs() < 0.04, "woke at {}", changes[0]);
        // 1.5 s after the meter's 25 ms have let go of the last tone.
        assert!((19.5..19.9).contains(&changes[1]), "rests at {}", changes[1]);
        assert!(all.first().unwrap().quiet);
    }
}

/// The range follower keeps its top while quiet, rises to the music within seconds, and music that
/// returns after the pause finds the range it left.
#[test]
fn the_top_is_frozen_while_quiet() {
    let settings = settings(8000, 1, &[band(60.0, 300.0, All)]);
    let all = frames(&settings, &evening(8.0, 10.0, 60.0));
    let top = |second: f64| all[(second * 200.0) as usize].top_dbfs[0];
    assert_eq!(top(0.0), -40.0, "start value");
    assert_eq!(top(7.9), -40.0, "hum moved it");
    let (loud, later) = (top(17.9), top(77.0));
    // The tone's power lies between 0.3 x 0.2 and 0.3 of full scale: -24.4 to -10.5 dBFS.
    assert!((-14.0..-10.0).contains(&loud), "{loud}");
    // It falls by 0.3 dB/s for the 1.5 s until quiet, and not in the minute after.
    assert!((loud - later - 0.5).abs() < 0.3, "{loud} to {later}");
    assert_eq!(top(21.0), later);
}

/// A fixed quiet level stands instead of the floor.
#[test]
fn a_fixed_level_is_kept() {
    let mut settings = settings(8000, 1, &[band(60.0, 300.0, All)]);
    settings.quiet_dbfs = Some(-80.0);
    let hum = frames(&settings, &evening(3.0, 0.0, 0.0));
    assert!(!hum.last().unwrap().quiet, "-70 dBFS is 10 dB above the level that was asked for");
    settings.quiet_dbfs = Some(-5.0);
    assert!(frames(&settings, &evening(1.0, 3.0, 0.0)).iter().all(|frame| frame.quiet));
}
