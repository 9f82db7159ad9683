//! Frame edges and delays: a click shows when the band's own figure says.

use crate::signals::{band, frames, heard_by, settings};
use coilscore::analysis::{Analysis, Channel::All};
use coilscore::units::Rate;

/// The click at sample n shows -10 dB below its later peak in the first frame that comes `delay_s`
/// or more after it, give or take a frame. All window lengths, common sound and frame rates.
#[test]
fn a_click_shows_at_its_delay() {
    for rate_hz in [8000, 22_050, 44_100, 48_000, 96_000, 192_000] {
        for frame_rate in ["30", "59.94", "200", "1000"] {
            let bands = [
                band(80.0, 130.0, All),
                band(60.0, 300.0, All),
                band(600.0, 800.0, All),
                band(600.0, 1500.0, All),
                band(2500.0, 3000.0, All),
                band(2300.0, 3900.0, All),
            ];
            let mut settings = settings(rate_hz, 1, &bands);
            settings.frame_rate = frame_rate.parse::<Rate>().unwrap();
            let at = rate_hz as usize / 5 + 1;
            let mut samples = vec![0.0; rate_hz as usize / 2];
            samples[at] = 1.0;
            let all = frames(&settings, &samples);
            let analysis = Analysis::new(&settings).unwrap();
            let period = settings.frame_rate.period().0;
            let before = all.iter().take_while(|frame| frame.overall_dbfs < -119.0).count();
            assert!(heard_by(before as u64, rate_hz, settings.frame_rate) > at, "seen too early");
            for (index, info) in analysis.bands().iter().enumerate() {
                let level = |frame: &crate::signals::Frame| frame.band_dbfs[index];
                let peak = all.iter().map(level).fold(f32::MIN, f32::max);
                let first = all.iter().position(|frame| level(frame) >= peak - 10.0).unwrap();
                let delay = first as f64 * period - at as f64 / f64::from(rate_hz);
                // The frame grid adds up to a period; 0.6 ms is what the filters smear a click.
                let (least, most) = (info.delay_s.0 - 0.0006, info.delay_s.0 + period + 0.0006);
                assert!(
                    (least..=most).contains(&delay),
                    "{delay} s at {rate_hz} Hz, {frame_rate} frames/s, {info:?}"
                );
            }
        }
    }
}

/// At frame 0 nothing was heard; the frame whose edge lies behind a sample hears it, the one
/// before does not.
#[test]
fn frames_hear_exactly_their_samples() {
    let frame_rate: Rate = "59.94".parse().unwrap();
    let mut settings = settings(44_100, 1, &[band(2000.0, 20_000.0, All)]);
    settings.frame_rate = frame_rate;
    for frame in [1_u64, 7, 20] {
        let edge = heard_by(frame, 44_100, frame_rate);
        // Old enough at this edge to count, a little: 60 samples of the 5.3 ms window's fall.
        let mut samples = vec![0.0; 44_100];
        samples[edge - 25] = 1.0;
        let all = frames(&settings, &samples);
        assert!(all[frame as usize].band_dbfs[0] > -80.0, "frame {frame} missed it");
        assert_eq!(all[frame as usize - 1].band_dbfs[0], -120.0, "frame {frame} saw the future");
        let mut samples = vec![0.0; 44_100];
        samples[edge] = 1.0;
        let all = frames(&settings, &samples);
        assert_eq!(all[frame as usize].band_dbfs[0], -120.0, "frame {frame} saw the future");
        assert!(all[frame as usize + 1].band_dbfs[0] > -80.0);
    }
    let silent = frames(&settings, &[1.0; 10]);
    assert_eq!(silent[0].band_dbfs[0], -120.0);
    assert!(silent[0].quiet && silent[0].overall_dbfs == -120.0);
}

/// The delays this scheme is built for, at 44.1 and 48 kHz: filters 0.4 and 1.9 ms, then 0.38 of
/// the window's fall.
#[test]
fn delays_are_short() {
    for rate_hz in [44_100, 48_000] {
        let bands = [
            (band(80.0, 130.0, All), 14.2),
            (band(30.0, 120.0, All), 5.1),
            (band(600.0, 800.0, All), 3.6),
            (band(600.0, 1500.0, All), 1.3),
            (band(3000.0, 3800.0, All), 1.1),
            (band(5000.0, 9000.0, All), 0.3),
        ];
        let requests: Vec<_> = bands.iter().map(|&(request, _)| request).collect();
        let analysis = Analysis::new(&settings(rate_hz, 2, &requests)).unwrap();
        for (info, (_, most_ms)) in analysis.bands().iter().zip(bands) {
            assert!(1e3 * info.delay_s.0 <= most_ms, "{info:?}");
        }
    }
}
