//! Which bands are taken, at what price, and what a refusal says.

use crate::signals::{band, frames, settings};
use coilscore::analysis::{Analysis, BandRefusal, Channel, SILENCE_DBFS, plan_band};
use coilscore::audio::{SampleBlock, SoundFormat};
use proptest::prelude::*;

fn at(rate_hz: u32) -> SoundFormat {
    SoundFormat { rate_hz, channels: 2 }
}

#[test]
fn a_band_takes_the_shortest_window_that_tells_it_apart() {
    // At 48 kHz by hand: 4.92 / 64 ms = 76.9 Hz, 3.28 / 128 ms = 25.6 Hz, and a quarter and a
    // twelfth of the lengths above.
    for (low, high, rate, window_ms, exact) in [
        (100.0, 177.0, 3000.0, 64.0, true),
        (100.0, 176.0, 3000.0, 128.0, true),
        (100.0, 125.0, 3000.0, 128.0, false),
        (600.0, 908.0, 12_000.0, 16.0, true),
        (600.0, 907.0, 12_000.0, 32.0, true),
        (600.0, 702.0, 12_000.0, 32.0, false),
        (3000.0, 3923.0, 48_000.0, 5.333_333, true),
        (3000.0, 3922.0, 48_000.0, 10.666_667, true),
        (500.0, 2500.0, 48_000.0, 5.333_333, true),
        (20.0, 550.0, 3000.0, 64.0, true),
        (20.0, 551.0, 12_000.0, 16.0, true),
    ] {
        let info = plan_band(at(48_000), &band(low, high, Channel::All)).unwrap();
        assert_eq!(info.level_rate_hz, rate, "{low} to {high}");
        assert!((info.window_s.0 * 1e3 - window_ms).abs() < 1e-3, "{info:?}");
        assert_eq!(info.level_error_db == 0.0, exact, "{info:?}");
    }
    // The same windows at every common rate.
    for rate in [44_100, 48_000, 88_200, 96_000, 176_400, 192_000] {
        for (low, high) in [(40.0, 120.0), (447.0, 550.0), (707.0, 1413.0), (3000.0, 9000.0)] {
            let request = band(low, high, Channel::All);
            let here = plan_band(at(rate), &request).unwrap().window_s.0;
            let there = plan_band(at(48_000), &request).unwrap().window_s.0;
            assert!((here / there - 1.0).abs() < 0.005, "{low} to {high} at {rate}");
        }
    }
}

/// The stated error is the true one at the worst place between bins: 1.0 to 1.5 dB at 1.5 / T.
#[test]
fn narrow_bands_state_how_far_they_read_low() {
    let mut before = f64::MAX;
    for (width, least, most) in
        [(11.72, 1.0, 1.5), (14.0, 0.6, 1.0), (18.0, 0.3, 0.45), (25.0, 0.1, 0.2)]
    {
        let request = band(100.0, 100.0 + width, Channel::All);
        let stated = plan_band(at(48_000), &request).unwrap().level_error_db;
        assert!((least..most).contains(&stated) && stated < before, "{width} Hz: {stated} dB");
        before = stated;
        // Measured: sines moved over a bin, in the middle of a band moved with them.
        let mut worst: f64 = 0.0;
        for place in 0..12 {
            let hz = 200.0 + 3000.0 / 512.0 * f64::from(place) / 12.0;
            let request = band(hz - width / 2.0, hz + width / 2.0, Channel::All);
            let samples = crate::signals::sound(48_000, 1, 0.4, crate::signals::sine(hz));
            let all = frames(&settings(48_000, 1, &[request]), &samples);
            worst = worst.max(-f64::from(all.last().unwrap().band_dbfs[0]));
        }
        assert!((worst - stated).abs() < 0.06, "{width} Hz: stated {stated}, measured {worst} dB");
    }
}

#[test]
fn refusals_say_what_would_be_accepted() {
    let refused = plan_band(at(44_100), &band(60.0, 68.0, Channel::All)).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "60 to 68 Hz needs 188 ms of sound to be told from its neighbours, and 128 ms are heard \
         at once there: make it at least 11.7 Hz wide"
    );
    let BandRefusal::TooNarrow { narrowest_hz, .. } = refused else { panic!("{refused}") };
    assert!(plan_band(at(44_100), &band(60.0, 60.0 + narrowest_hz, Channel::All)).is_ok());
    let asked = [band(60.0, 120.0, Channel::All), band(700.0, 730.0, Channel::Side)];
    let refused = Analysis::new(&settings(44_100, 2, &asked)).err().unwrap();
    assert_eq!(
        refused.to_string(),
        "band 2 (side): 700 to 730 Hz needs 50 ms of sound to be told from its neighbours, and \
         32 ms are heard at once there: make it at least 46.9 Hz wide"
    );
    for (low, high) in
        [(100.0, 100.0), (200.0, 100.0), (-1.0, 50.0), (f64::NAN, 1.0), (1.0, f64::INFINITY)]
    {
        assert!(plan_band(at(44_100), &band(low, high, Channel::All)).is_err(), "{low}..{high}");
    }
    for (rate, channels) in [(7999, 2), (192_001, 2), (44_100, 0), (44_100, 65)] {
        assert!(Analysis::new(&settings(rate, channels, &[])).is_err());
    }
    for level in [f64::NAN, 1.0, -121.0] {
        let mut settings = settings(44_100, 2, &[]);
        settings.quiet_dbfs = Some(level);
        assert!(Analysis::new(&settings).is_err());
    }
}

/// Bands above what the sound holds are taken, say so, and are silent there.
#[test]
fn bands_beyond_the_sound_are_silent() {
    let beyond =
        |rate, low, high| plan_band(at(rate), &band(low, high, Channel::All)).unwrap().beyond_sound;
    assert_eq!(beyond(44_100, 10_000.0, 20_000.0), 0.0);
    assert_eq!(beyond(44_100, 20_050.0, 24_050.0), 0.5);
    assert_eq!(beyond(8000, 5000.0, 9000.0), 1.0);
    // 96 kHz is brought to 48 kHz; its filter is whole up to 0.45 of that.
    assert_eq!(beyond(96_000, 21_600.0, 30_000.0), 1.0);
    let samples = vec![0.7; 8000];
    let all = frames(&settings(8000, 1, &[band(5000.0, 9000.0, Channel::All)]), &samples);
    assert!(all.iter().all(|frame| frame.band_dbfs[0] == SILENCE_DBFS));
}

/// Blocks with another number of channels than agreed, and hostile samples, end nothing.
#[test]
fn wrong_blocks_do_not_panic() {
    let asked = [band(60.0, 120.0, Channel::All), band(3000.0, 6000.0, Channel::Side)];
    let mut analysis = Analysis::new(&settings(44_100, 2, &asked)).unwrap();
    let odd = [f32::NAN, f32::INFINITY, f32::MIN, 1e-45, 0.5, -0.5];
    for channels in [1, 2, 3, 6] {
        analysis.push(SampleBlock::new(&odd, channels).unwrap());
        let heard = analysis.measure();
        assert!(heard.band_dbfs.iter().chain(heard.top_dbfs).all(|level| level.is_finite()));
        assert!(heard.overall_dbfs.is_finite());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    /// Whatever is asked is measured or refused with a reason; levels stay finite.
    #[test]
    fn any_settings_are_answered(
        rate in 8000_u32..=192_000,
        channels in 1_u16..=5,
        low in 0.0..20_000.0_f64,
        width in 0.0..30_000.0_f64,
        loud in 0.0..1.0_f32,
    ) {
        let request = band(low, low + width, Channel::All);
        match Analysis::new(&settings(rate, channels, &[request])) {
            Err(refused) => prop_assert!(refused.to_string().contains("Hz")),
            Ok(mut analysis) => {
                let samples = vec![loud; 3001 * usize::from(channels)];
                analysis.push(SampleBlock::new(&samples, channels).unwrap());
                let info = analysis.bands()[0];
                prop_assert!(info.delay_s.0 > 0.0 && info.delay_s.0 < 0.02);
                prop_assert!((0.0..=1.0).contains(&info.beyond_sound));
                prop_assert!((0.0..1.7).contains(&info.level_error_db));
                let level = analysis.measure().band_dbfs[0];
                prop_assert!((SILENCE_DBFS..=10.0).contains(&level));
            }
        }
    }
}
