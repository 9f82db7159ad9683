//! Octave and third-octave bands: edges, and what a sine reads in and beside its own band.
//!
//! Source: IEC 61260-1:2014 base-10 system, as quoted in open documentation of the standard:
//! fm = 1000 G^(x/b), G = 10^(3/10), edges fm G^(+-1/2b). The figures are computed from that.

use crate::signals::{band, frames, settings, sine, sound};
use coilscore::analysis::scale::Scale;
use coilscore::analysis::{Channel, plan_band};
use coilscore::audio::SoundFormat;

#[rustfmt::skip]
const THIRDS: [(f64, f64, f64, f64); 10] = [
    // nominal, exact mid, lower edge, upper edge
    (10.0, 10.0, 8.912509, 11.220185),
    (31.5, 31.622777, 28.183829, 35.481339),
    (63.0, 63.095734, 56.234133, 70.794578),
    (125.0, 125.892541, 112.201845, 141.253754),
    (315.0, 316.227766, 281.838293, 354.813389),
    (1000.0, 1000.0, 891.250938, 1122.018454),
    (1600.0, 1584.893192, 1412.537545, 1778.279410),
    (3150.0, 3162.277660, 2818.382931, 3548.133892),
    (12_500.0, 12589.254118, 11220.184543, 14125.375446),
    (20_000.0, 19952.623150, 17782.794100, 22387.211386),
];

#[rustfmt::skip]
const OCTAVES: [(f64, f64, f64, f64); 5] = [
    (16.0, 15.848932, 11.220185, 22.387211),
    (63.0, 63.095734, 44.668359, 89.125094),
    (1000.0, 1000.0, 707.945784, 1412.537545),
    (8000.0, 7943.282347, 5623.413252, 11220.184543),
    (16_000.0, 15848.931925, 11220.184543, 22387.211386),
];

#[test]
fn edges_match_the_standard() {
    let check = |scale: Scale, rows: &[(f64, f64, f64, f64)]| {
        for &(nominal, mid, low, high) in rows {
            let band = scale.band(nominal).unwrap();
            for (got, want) in [(band.mid_hz.0, mid), (band.low_hz.0, low), (band.high_hz.0, high)]
            {
                // The table has six decimals.
                assert!((got - want).abs() < 1e-9 * want + 6e-7, "{scale:?} {nominal}: {got}");
            }
        }
    };
    check(Scale::ThirdOctave, &THIRDS);
    check(Scale::Octave, &OCTAVES);
}

#[test]
fn bands_adjoin_and_names_are_strict() {
    for scale in [Scale::ThirdOctave, Scale::Octave] {
        let all: Vec<_> = scale.nominals().iter().map(|&n| scale.band(n).unwrap()).collect();
        for pair in all.windows(2) {
            assert!((pair[0].high_hz.0 / pair[1].low_hz.0 - 1.0).abs() < 1e-12);
        }
        for unknown in [0.0, -1.0, 1001.0, 9.0, 40_000.0, f64::NAN, f64::INFINITY] {
            assert_eq!(scale.band(unknown), None);
        }
    }
    assert_eq!(Scale::ThirdOctave.nominals().len(), 34);
    assert_eq!(Scale::Octave.band(1250.0), None, "a third-octave name");
    let names: Vec<f64> =
        Scale::Octave.bands(63.0, 500.0).iter().map(|band| band.nominal_hz).collect();
    assert_eq!(names, [63.0, 125.0, 250.0, 500.0]);
    assert_eq!(Scale::Octave.bands(500.0, 63.0), []);
    assert_eq!(Scale::ThirdOctave.band_at(0).unwrap().nominal_hz, 1000.0);
}

/// A sine at each exact mid-band frequency reads its level in its own band and is well down in the
/// others. How far down next door is set by the window's length against the band's width.
#[test]
fn a_sine_reads_its_level_in_its_own_third() {
    let rate = 48_000;
    let thirds = Scale::ThirdOctave.bands(63.0, 16_000.0);
    let requests: Vec<_> =
        thirds.iter().map(|third| band(third.low_hz.0, third.high_hz.0, Channel::All)).collect();
    for (own, third) in thirds.iter().enumerate() {
        let format = SoundFormat { rate_hz: rate, channels: 1 };
        let info = plan_band(format, &requests[own]).unwrap();
        let wave = sine(third.mid_hz.0);
        let samples = sound(rate, 1, 0.5, |t| 0.1 * wave(t));
        for frame in &frames(&settings(rate, 1, &requests), &samples)[40..] {
            let read = f64::from(frame.band_dbfs[own]) + 20.0;
            let most = info.level_error_db + 0.15;
            assert!(read.abs() <= most, "{} Hz reads {read} dB", third.nominal_hz);
            for (other, &level) in frame.band_dbfs.iter().enumerate() {
                let away = other.abs_diff(own);
                let below = f64::from(level) + 20.0;
                let (narrow, limit) = match away {
                    0 => continue,
                    1 => (-8.0, -13.0),
                    2 => (-17.0, -24.0),
                    _ => (-21.0, -30.0),
                };
                let limit = if info.level_error_db > 0.0 { narrow } else { limit };
                assert!(
                    below < limit,
                    "{} Hz reads {below} dB in {} Hz",
                    third.nominal_hz,
                    thirds[other].nominal_hz
                );
            }
        }
    }
}

/// On an edge both neighbours read 3.01 dB less, and together they read the whole.
#[test]
fn neighbours_share_a_sine_on_their_edge() {
    let rate = 44_100;
    for nominal in [250.0, 1000.0, 8000.0] {
        let here = Scale::Octave.band(nominal).unwrap();
        let edge = here.high_hz.0;
        let up = if nominal == 250.0 { 500.0 } else { edge * 1.5 };
        let requests = [band(here.low_hz.0, edge, Channel::All), band(edge, up, Channel::All)];
        let samples = sound(rate, 1, 0.4, sine(edge));
        let all = frames(&settings(rate, 1, &requests), &samples);
        let last = all.last().unwrap();
        for &level in &last.band_dbfs {
            assert!((level + 3.01).abs() < 0.5, "{level} dB beside {edge} Hz");
        }
    }
}
