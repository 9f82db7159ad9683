//! The timeline behind the picture: joining columns keeps means exact, and hostile files do no
//! harm.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::float_cmp,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop at the first surprise"
)]

use coilscore::frame::{
    BandHead, CoilRun, Head, Meter, NodeMeter, Packing, RailHead, RecordedCode,
};
use coilscore::picture::timeline::{MAX_COLUMNS, MAX_ROWS};
use coilscore::picture::{Ending, PictureError, Size, Timeline, TimelineBuilder, draw};
use proptest::prelude::*;

/// An invented display with one-way coils of 255 steps and bridges of 1023.
fn head(rate: [u32; 2], one_way: u32, bridges: u32) -> Head {
    Head {
        version: [1, 0],
        rate,
        lead_us: 20_000,
        lag: None,
        arith: "portable".into(),
        coils: vec![
            CoilRun { count: one_way, steps: 255, two_way: false },
            CoilRun { count: bridges, steps: 1023, two_way: true },
        ],
        packing: Packing::SignedWord,
        display: "Invented".into(),
        mapping: String::new(),
        display_digest: String::new(),
        mapping_digest: String::new(),
        sound_rate_hz: 44_100,
        sound_channels: 1,
        room_c: 25.0,
        start: "warm".into(),
        gains: Vec::new(),
        bands: vec![BandHead {
            low_hz: 40.0,
            high_hz: 80.0,
            channel: "left".into(),
            weighting: "none".into(),
            delay_s: 0.01,
        }],
        rails: vec![RailHead { name: "rail".into(), volts: 12.0, limit_a: 5.0 }],
    }
}

fn close(got: f64, by_hand: f64) -> bool {
    (got - by_hand).abs() <= 1e-9 * (1.0 + by_hand.abs())
}

/// What went in, frame by frame.
struct Played {
    duties: Vec<Vec<f64>>,
    wishes: Vec<f64>,
}

fn play(frames: usize, one_way: u32, bridges: u32, every: usize, seed: u32) -> (Timeline, Played) {
    let mut state = seed | 1;
    let mut random = move |below: i32| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as i32 % below
    };
    let mut builder = TimelineBuilder::new(&head([200, 1], one_way, bridges)).unwrap();
    let mut played = Played { duties: vec![], wishes: vec![] };
    for number in 0..frames {
        let forward: Vec<_> = (0..one_way).map(|_| random(256)).collect();
        let both: Vec<_> = (0..bridges).map(|_| random(2047) - 1023).collect();
        let shares = forward.iter().map(|c| f64::from(*c) / 255.0);
        played.duties.push(shares.chain(both.iter().map(|c| f64::from(*c) / 1023.0)).collect());
        let codes: Vec<_> = forward.into_iter().chain(both).map(RecordedCode).collect();
        builder.duty(number as u64, &codes);
        if (number + 1) % every == 0 || number + 1 == frames {
            let wished = random(1000) as f32 / 64.0;
            played.wishes.resize(number + 1, f64::from(wished));
            builder.meter(&Meter {
                frame: number as u32,
                wished,
                rail_mean_a: vec![wished],
                rail_peak_a: vec![2.0 * wished],
                band_dbfs: vec![-wished],
                ..Meter::default()
            });
        }
    }
    (builder.finish(Ending::Whole), played)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Every column, however often it was joined, holds the mean and the highest value of exactly
    /// the frames it covers.
    #[test]
    fn joined_columns_keep_means_exact(
        frames in 1_usize..6000,
        one_way in 0_u32..4,
        bridges in 1_u32..4,
        every in 1_usize..40,
        seed in any::<u32>(),
    ) {
        let (song, played) = play(frames, one_way, bridges, every, seed);
        let width = song.frames_per_column() as usize;
        prop_assert_eq!(song.frames(), frames as u64);
        prop_assert_eq!(song.columns().len(), frames.div_ceil(width));
        prop_assert!(song.columns().len() <= MAX_COLUMNS);
        prop_assert!(frames < MAX_COLUMNS || song.columns().len() >= MAX_COLUMNS / 2);
        for (at, column) in song.columns().iter().enumerate() {
            let here = at * width..((at + 1) * width).min(frames);
            let count = here.len() as f64;
            for row in 0..song.coil_rows() {
                let of_row = || played.duties[here.clone()].iter().map(|frame| frame[row]);
                let size = of_row().map(f64::abs).sum::<f64>() / count;
                prop_assert!(close(song.duty_at(at, row).unwrap().abs(), size));
                prop_assert!(close(column.coils[row].signed_sum, of_row().sum()));
                prop_assert!(close(column.coils[row].peak, of_row().map(f64::abs).fold(0.0, f64::max)));
            }
            let wished = &played.wishes[here];
            let mean = wished.iter().sum::<f64>() / count;
            let most = wished.iter().copied().fold(0.0, f64::max);
            let least = wished.iter().copied().fold(f64::INFINITY, f64::min);
            prop_assert!(close(column.asked.wished.mean().unwrap(), mean));
            prop_assert!(close(column.rails[0].mean().unwrap(), mean));
            prop_assert_eq!(column.rails[0].peak, Some(2.0 * most));
            prop_assert_eq!(column.levels[0], Some(-least));
        }
    }
}

fn drawn(song: &Timeline) -> usize {
    let mut bytes = Vec::new();
    draw(song, Size::default(), &mut bytes).unwrap();
    bytes.len()
}

#[test]
fn neighbouring_coils_share_rows_and_means_stay_means() {
    let mut builder = TimelineBuilder::new(&head([1, 1], 10_000, 0)).unwrap();
    builder.duty(0, &vec![RecordedCode(255); 10_000]);
    builder.duty(1, &vec![RecordedCode(0); 10_000]);
    let song = builder.finish(Ending::Whole);
    assert!(song.coil_rows() <= MAX_ROWS && song.coils_per_row() == 34);
    // The last row holds fewer coils; full is full there too.
    for row in 0..song.coil_rows() {
        assert!(close(song.duty_at(0, row).unwrap(), 1.0), "row {row}");
        assert_eq!(song.duty_at(1, row), Some(0.0), "row {row}");
    }
}

#[test]
fn hostile_packets_do_no_harm() {
    let mut builder = TimelineBuilder::new(&head([1000, 1], 2, 1)).unwrap();
    builder.duty(3, &[RecordedCode(i32::MIN), RecordedCode(i32::MIN), RecordedCode(i32::MIN)]);
    builder.duty(1, &[RecordedCode(1); 50]);
    let wild = NodeMeter { coil: 9, now_c: f32::NAN, bound_c: 1.0, limit_c: f32::INFINITY };
    builder.meter(&Meter {
        frame: u32::MAX,
        band_dbfs: vec![f32::NAN; 9],
        coil: wild,
        backing: NodeMeter { now_c: f32::MAX, bound_c: f32::MIN, ..wild },
        enclosure_c: f32::NEG_INFINITY,
        rail_mean_a: vec![f32::INFINITY],
        rail_peak_a: vec![],
        wished: f32::NAN,
        granted: -3.0,
        ..Meter::default()
    });
    builder.meter(&Meter { frame: 7, ..Meter::default() });
    let song = builder.finish(Ending::CutShort);
    assert!(song.columns().len() <= MAX_COLUMNS);
    assert_eq!(song.frames(), 1 << 32);
    let first = &song.columns()[0].coils;
    assert_eq!(first[0].peak, 1.0 / 255.0, "a one-way coil went in reverse");
    assert_eq!(first[2].peak, 1.0);
    assert!(drawn(&song) > 1000);

    for number in [0, u64::MAX] {
        let mut builder = TimelineBuilder::new(&head([1, 1], 0, u32::MAX)).unwrap();
        builder.duty(number, &[RecordedCode(1)]);
        assert!(drawn(&builder.finish(Ending::Whole)) > 1000);
    }
}

#[test]
fn what_cannot_be_is_refused_with_the_cure() {
    for rate in [[0, 1], [1, 0], [0, 0], [5000, 1]] {
        let refused = TimelineBuilder::new(&head(rate, 1, 0));
        assert!(matches!(refused, Err(PictureError::Head { .. })), "{rate:?}");
    }
    let song = TimelineBuilder::new(&head([200, 1], 1, 0)).unwrap().finish(Ending::Whole);
    for (width, height) in [(0, 0), (899, 1200), (1600, 799), (9000, 1000)] {
        let refused = draw(&song, Size { width, height }, std::io::sink()).unwrap_err().to_string();
        assert!(refused.contains("900 by 800"), "{refused}");
    }
    // A writer without room: the reason comes through.
    let refused = draw(&song, Size::default(), &mut [0_u8; 100][..]).unwrap_err().to_string();
    assert!(refused.contains("could not be written"), "{refused}");
}
