//! How the sound is cut into pushes changes not one bit.

use crate::signals::{Random, a_band, band, frames, frames_in_chunks, settings};
use coilscore::analysis::{Arith, Channel};
use coilscore::units::Rate;

#[test]
fn chunks_change_nothing() {
    let bands = [
        band(40.0, 120.0, Channel::All),
        band(90.0, 120.0, Channel::Left),
        band(500.0, 2000.0, Channel::Side),
        band(700.0, 850.0, Channel::Mid),
        band(2500.0, 6000.0, Channel::Right),
        band(8000.0, 8700.0, Channel::All),
        a_band(60.0, 180.0),
        a_band(20.0, 16_000.0),
    ];
    for (rate_hz, channels, frame_rate) in
        [(44_100, 2, "200"), (48_000, 1, "59.94"), (96_000, 2, "30"), (8000, 3, "200")]
    {
        for arith in [Arith::Native, Arith::Portable] {
            let mut settings = settings(rate_hz, channels, &bands);
            settings.frame_rate = frame_rate.parse::<Rate>().unwrap();
            settings.arith = arith;
            let mut random = Random(rate_hz.into());
            let samples: Vec<f32> = (0..rate_hz as usize * usize::from(channels))
                .map(|n| (random.even() * (n as f64 * 1e-4).sin()) as f32)
                .collect();
            let whole = frames(&settings, &samples);
            assert!(whole.iter().any(|frame| frame.band_dbfs[0] > -40.0));
            for size in [1, 7, 441, 4096] {
                let cut = frames_in_chunks(&settings, &samples, || size);
                assert!(whole == cut, "{rate_hz} Hz in chunks of {size}");
            }
            let cut = frames_in_chunks(&settings, &samples, || random.next() as usize % 900 + 1);
            assert!(whole == cut, "{rate_hz} Hz in random chunks");
        }
    }
}

/// Both arithmetics agree to the last digit that matters.
#[test]
fn arithmetics_agree() {
    let mut settings = settings(44_100, 2, &[band(40.0, 120.0, Channel::All)]);
    let mut random = Random(7);
    let samples: Vec<f32> = (0..88_200).map(|_| random.even() as f32).collect();
    let portable = frames(&settings, &samples);
    settings.arith = Arith::Native;
    for (a, b) in portable.iter().zip(frames(&settings, &samples)) {
        assert!((a.band_dbfs[0] - b.band_dbfs[0]).abs() < 1e-3);
    }
}
