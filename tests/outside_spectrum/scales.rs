//! Bark, ERB and mel: edges against published tables, formulas and another implementation.

use crate::signals::{band, mean_dbfs, pink, settings};
use coilscore::analysis::Channel::All;
use coilscore::analysis::scale::{Warped, bark, erb_hz};

/// Source: Zwicker, J. Acoust. Soc. Am. 33 (1961), p. 248, as quoted in open encyclopedias; the
/// first edge is 20 Hz there and 0 in later editions.
#[test]
fn bark_edges_match_the_table() {
    let edges = [
        20, 100, 200, 300, 400, 510, 630, 770, 920, 1080, 1270, 1480, 1720, 2000, 2320, 2700, 3150,
        3700, 4400, 5300, 6400, 7700, 9500, 12_000, 15_500,
    ];
    assert_eq!(bark::BANDS, 24);
    for number in 1..=24 {
        let (low, high) = bark::band(number).unwrap();
        let (table_low, table_high) = (f64::from(edges[number - 1]), f64::from(edges[number]));
        assert_eq!((low.0, high.0), (table_low, table_high), "band {number}");
    }
    assert_eq!((bark::band(0), bark::band(25), bark::band(usize::MAX)), (None, None, None));
    // Traunmueller, J. Acoust. Soc. Am. 88 (1990): 26.81 f / (1960 + f) - 0.53 is within 0.05 Bark
    // of the table from 2 to 20 Bark, says its abstract.
    for (z, &edge) in bark::EDGES_HZ.iter().enumerate().take(21).skip(2) {
        let formula = 26.81 * edge / (1960.0 + edge) - 0.53;
        assert!((formula - z as f64).abs() < 0.05, "{edge} Hz: {formula} for {z}");
    }
}

/// Glasberg and Moore, Hearing Research 47 (1990): ERB and ERB-rate. Constants from memory, values
/// computed with NumPy.
#[rustfmt::skip]
const ERB: [(f64, f64, f64); 8] = [
    (100.0, 35.4939, 3.369_575), (250.0, 51.684_75, 6.862_241), (500.0, 78.6695, 10.766_542),
    (1000.0, 132.639, 15.621_450), (2000.0, 240.578, 21.155_162), (4000.0, 456.456, 27.107_422),
    (8000.0, 888.212, 33.294_541), (16_000.0, 1751.724, 39.606_451),
];

#[test]
fn erb_matches_its_formula() {
    for (hz, width, rate) in ERB {
        assert!((erb_hz(hz) - width).abs() < 1e-6, "{hz} Hz: {} wide", erb_hz(hz));
        let got = Warped::Erb.from_hz(hz);
        assert!((got - rate).abs() < 1e-6, "{hz} Hz: rate {got}");
    }
    assert_eq!(Warped::Erb.from_hz(0.0), 0.0);
    // A band of one unit is about one ERB wide (the two formulas differ by 0.4 %).
    for (hz, ..) in ERB {
        let middle = Warped::Erb.from_hz(hz);
        let width = Warped::Erb.to_hz(middle + 0.5) - Warped::Erb.to_hz(middle - 0.5);
        assert!((width / erb_hz(hz) - 1.0).abs() < 0.01, "{hz} Hz: {width}");
    }
}

/// 2595 log10(1 + f/700), O'Shaughnessy (1987); values computed with librosa 0.11.0
/// (`hz_to_mel(htk=True)`).
#[rustfmt::skip]
const MEL: [(f64, f64); 14] = [
    (0.0, 0.0), (20.0, 31.748_414), (63.0, 97.121_762), (100.0, 150.489_102),
    (250.0, 344.163_342), (440.0, 549.638_675), (700.0, 781.172_839), (1000.0, 999.985_537),
    (1500.0, 1_290.557_443), (2000.0, 1_521.359_554), (4000.0, 2_146.064_528),
    (8000.0, 2_840.023_047), (10_000.0, 3_073.221_489), (16_000.0, 3_574.919_829),
];

#[test]
fn mel_matches_its_formula() {
    for (hz, mel) in MEL {
        let got = Warped::Mel.from_hz(hz);
        assert!((got - mel).abs() < 1e-6, "{hz} Hz: {got} mel");
        assert!((Warped::Mel.to_hz(got) - hz).abs() < 1e-9 * hz.max(1.0), "{hz} Hz and back");
    }
}

/// Corner points of librosa's mel filter bank with 16 filters from 30 to 16000 Hz
/// (`filters.mel(htk=True)`, librosa 0.11.0 and 1.0.0): 16 triangles over 18 points.
#[rustfmt::skip]
const CORNERS_16: [f64; 18] = [
    30.0, 177.580_956, 354.997_718, 568.282_063, 824.685_185, 1_132.924_222, 1_503.478_617,
    1_948.946_399, 2_484.472_484, 3_128.263_570, 3_902.207_128, 4_832.615_521, 5_951.120_572,
    7_295.748_972, 8_912.215_104, 10_855.475_232, 13_191.595_890, 16_000.0,
];

/// Every fifth corner of its bank with 40 filters from 20 to 20000 Hz.
#[rustfmt::skip]
const CORNERS_40: [(usize, f64); 9] = [
    (0, 20.000_000), (5, 384.464_053), (10, 933.419_837), (15, 1_760.257_078), (20, 3_005.639_393),
    (25, 4_881.434_326), (30, 7_706.756_794), (35, 11_962.257_702), (41, 20_000.000_000),
];

#[test]
fn mel_bands_stand_on_the_corners_of_a_filter_bank() {
    let edges = Warped::Mel.edges_hz((30.0, 16_000.0), 17);
    assert_eq!(edges.len(), 18);
    for (got, want) in edges.iter().zip(CORNERS_16) {
        // The table has six decimals.
        assert!((got - want).abs() < 1e-6, "{got} for {want}");
    }
    let edges = Warped::Mel.edges_hz((20.0, 20_000.0), 41);
    for (corner, want) in CORNERS_40 {
        assert!((edges[corner] - want).abs() < 1e-6, "{} for {want}", edges[corner]);
    }
}

#[test]
fn bands_adjoin_and_are_equally_wide_on_their_axis() {
    for scale in [Warped::Erb, Warped::Mel] {
        for (from, to, count) in [(50.0, 10_000.0, 1), (50.0, 10_000.0, 12), (20.0, 80.0, 128)] {
            let edges = scale.edges_hz((from, to), count);
            assert_eq!((edges.len(), edges[0], edges[count]), (count + 1, from, to));
            let wide = scale.units_between(from, to) / count as f64;
            for pair in edges.windows(2) {
                let here = scale.units_between(pair[0], pair[1]);
                assert!((here - wide).abs() < 1e-9, "{scale:?}: {here} for {wide}");
            }
        }
    }
}

/// Pink noise has the same power in every octave, so a band of it reads 10 log10 of its octaves.
#[test]
fn pink_noise_fills_bands_by_their_octaves() {
    let barks: Vec<_> = (3..=17).filter_map(bark::band).map(|(l, h)| (l.0, h.0)).collect();
    let cut = |scale: Warped, count| -> Vec<(f64, f64)> {
        let edges = scale.edges_hz((200.0, 6000.0), count);
        edges.windows(2).map(|pair| (pair[0], pair[1])).collect()
    };
    let all: Vec<_> =
        [barks, cut(Warped::Erb, 10), cut(Warped::Mel, 12)].into_iter().flatten().collect();
    let octaves = |&(low, high): &(f64, f64)| (high / low).log2();
    let requests: Vec<_> = all.iter().map(|&(low, high)| band(low, high, All)).collect();
    let levels = mean_dbfs(&settings(48_000, 1, &requests), &pink(40), 2.0);
    let per_octave =
        levels.iter().zip(&all).map(|(level, band)| level - 10.0 * octaves(band).log10());
    let flat: Vec<f64> = per_octave.collect();
    let mean = flat.iter().sum::<f64>() / flat.len() as f64;
    for (level, band) in flat.iter().zip(&all) {
        assert!((level - mean).abs() < 0.6, "{band:?}: {level} of {mean} dB");
    }
}
