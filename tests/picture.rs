//! The picture of a song: known events lie at the right pixels of the decoded PNG, at any length
//! and any number of coils.
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
    BandHead, CoilRun, Head, HeldBack, Meter, NodeMeter, Packing, RailHead, RecordedCode, Tail,
};
use coilscore::picture::canvas::Rect;
use coilscore::picture::colour::{PAPER, Ramp, Rgb, SOFT_INK, UNKNOWN, VERMILION};
use coilscore::picture::{
    Ending, Layout, Size, Timeline, TimelineBuilder, draw, duty_scale, level_scale, sentence,
    warnings,
};
use image::RgbImage;

/// An invented display: names and numbers stand for nothing real.
fn head(rate: u32, coils: u32, two_way: bool, rails: usize) -> Head {
    let octave = |n: i32| BandHead {
        low_hz: 1000.0 * 2_f64.powf(f64::from(n) - 0.5),
        high_hz: 1000.0 * 2_f64.powf(f64::from(n) + 0.5),
        channel: "all".into(),
        weighting: "none".into(),
        delay_s: 0.01,
    };
    Head {
        version: [1, 0],
        rate: [rate, 1],
        lead_us: 0,
        lag: None,
        arith: "native".into(),
        coils: vec![CoilRun { count: coils, steps: 200, two_way }],
        packing: Packing::SignedWord,
        display: "Invented tank".into(),
        mapping: "Invented mapping".into(),
        display_digest: String::new(),
        mapping_digest: String::new(),
        sound_rate_hz: 48_000,
        sound_channels: 2,
        room_c: 25.0,
        start: "cold".into(),
        gains: Vec::new(),
        bands: (-3..3).map(octave).collect(),
        rails: (0..rails)
            .map(|n| RailHead { name: format!("rail {n}"), volts: 24.0, limit_a: 8.0 })
            .collect(),
    }
}

/// Codes in which only some coils are on.
fn codes(coils: u32, on: &[(usize, i32)]) -> Vec<RecordedCode> {
    let mut codes = vec![RecordedCode(0); coils as usize];
    on.iter().for_each(|&(coil, code)| codes[coil] = RecordedCode(code));
    codes
}

fn meter(frame: u32) -> Meter {
    Meter {
        frame,
        band_dbfs: vec![-50.0; 6],
        coil: NodeMeter { coil: 5, now_c: 40.0, bound_c: 90.0, limit_c: 110.0 },
        backing: NodeMeter { coil: 5, now_c: 30.0, bound_c: 55.0, limit_c: 60.0 },
        enclosure_c: 25.0,
        rail_mean_a: vec![1.0; 8],
        rail_peak_a: vec![2.0; 8],
        wished: 1.0,
        granted: 1.0,
        ..Meter::default()
    }
}

/// 10 s at 200 frames/s with a meter every 10 frames: coil 5 at three quarters from 3.0 to 3.5 s,
/// coil 20 in reverse from 6 to 6.5 s where it can, band 2 rises from -50 to -10 dBFS at 5 s, heat
/// cuts 40 % from 7 s on, when the winding is at 80 C.
fn ten_seconds(two_way: bool) -> Timeline {
    in_the_making(two_way).finish(Ending::Whole)
}

fn in_the_making(two_way: bool) -> TimelineBuilder {
    let mut builder = TimelineBuilder::new(&head(200, 24, two_way, 1)).unwrap();
    for number in 0..2000 {
        let mut on = vec![];
        if (600..700).contains(&number) {
            on.push((5, 150));
        }
        if (1200..1300).contains(&number) {
            on.push((20, -100));
        }
        builder.duty(number, &codes(24, &on));
        if number % 10 == 9 {
            let mut meter = meter(number as u32);
            if number >= 1000 {
                meter.band_dbfs[2] = -10.0;
            }
            if number >= 1400 {
                (meter.granted, meter.cut_heat, meter.coil.now_c) = (0.6, 0.4, 80.0);
            }
            builder.meter(&meter);
        }
    }
    builder
}

fn png(song: &Timeline, size: Size) -> Vec<u8> {
    let mut bytes = Vec::new();
    draw(song, size, &mut bytes).unwrap();
    bytes
}

fn picture(song: &Timeline) -> (RgbImage, Layout) {
    let bytes = png(song, Size::default());
    let image = image::load_from_memory_with_format(&bytes, image::ImageFormat::Png).unwrap();
    (image.to_rgb8(), Layout::new(song, Size::default()).unwrap())
}

fn at(image: &RgbImage, x: f64, y: f64) -> Rgb {
    image.get_pixel(x as u32, y as u32).0
}

/// Which value of a ramp a colour is nearest to, and how far off it is.
fn value_of(ramp: &Ramp, colour: Rgb) -> (f64, i32) {
    let off = |step: u32| {
        let entry = ramp.colour(f64::from(step) / 255.0);
        (0..3).map(|i| (i32::from(entry[i]) - i32::from(colour[i])).abs()).sum::<i32>()
    };
    let best = (0..256).min_by_key(|step| off(*step)).unwrap();
    (f64::from(best) / 255.0, off(best))
}

/// How many pixels of a rectangle have exactly this colour.
fn count(image: &RgbImage, rect: Rect, wanted: Rgb) -> f64 {
    let xs = || rect.left.ceil() as u32..rect.right.floor() as u32;
    let ys = rect.top.ceil() as u32..rect.bottom.floor() as u32;
    ys.flat_map(|y| xs().map(move |x| (x, y)))
        .filter(|(x, y)| image.get_pixel(*x, *y).0 == wanted)
        .count() as f64
}

/// How many are not blank.
fn ink(image: &RgbImage, rect: Rect) -> f64 {
    (rect.right.floor() - rect.left.ceil()) * (rect.bottom.floor() - rect.top.ceil())
        - count(image, rect, PAPER)
}

#[test]
fn the_plots_lie_where_the_layout_says() {
    let (image, layout) = picture(&ten_seconds(false));
    for rect in [layout.levels, layout.duty, layout.heat, layout.supply, layout.wishes] {
        let middle = (rect.top + rect.bottom) / 2.0 + 3.0;
        assert_eq!(at(&image, rect.left - 1.0, middle), SOFT_INK);
        assert_eq!(at(&image, rect.right, middle), SOFT_INK);
    }
    let by_hand = layout.duty.left + 0.3 * (layout.duty.right - layout.duty.left);
    assert!((layout.x_of(3.0) - by_hand).abs() < 1e-9);
    let row = (layout.duty.bottom - layout.duty.top) / 24.0;
    assert!((layout.y_of_coil(5) - (layout.duty.bottom - 5.5 * row)).abs() < 1e-9);
}

#[test]
fn a_burst_lies_at_its_time_and_coil() {
    let song = ten_seconds(false);
    let (image, layout) = picture(&song);
    let ramp = Ramp::forward();
    let duty = |time: f64, coil: usize| {
        let pixel = at(&image, layout.x_of(time), layout.y_of_coil(coil));
        let (value, off) = value_of(&ramp, pixel);
        assert!(off <= 3, "{pixel:?} is no colour of the ramp");
        value * duty_scale(&song)
    };
    assert!((duty(3.25, 5) - 0.75).abs() < 0.005, "{}", duty(3.25, 5));
    let elsewhere = [(2.95, 5), (3.55, 5), (3.25, 4), (3.25, 6), (6.25, 20), (0.05, 5), (9.95, 5)];
    for (time, coil) in elsewhere {
        assert_eq!(duty(time, coil), 0.0, "coil {coil} at {time} s");
    }
    // Its ends, to the pixel: a pixel is 8 ms, a column of the timeline 10 ms.
    let y = layout.y_of_coil(5);
    let on: Vec<u32> = (layout.duty.left as u32..layout.duty.right as u32)
        .filter(|x| at(&image, f64::from(*x), y) != ramp.colour(0.0))
        .collect();
    assert!((f64::from(on[0]) - layout.x_of(3.0)).abs() <= 1.0, "starts at {}", on[0]);
    let end = f64::from(on[on.len() - 1]) + 1.0;
    assert!((end - layout.x_of(3.5)).abs() <= 1.0, "ends at {end}");
}

/// More frames than pixels across and more coils than pixels up: single frames of single coils
/// still show, at their place.
#[test]
fn nothing_vanishes_between_pixels() {
    let bursts = |frame: u64| (frame % 9 == 4).then_some(frame as usize * 7 % 300);
    let mut builder = TimelineBuilder::new(&head(100, 300, false, 1)).unwrap();
    for frame in 0..1400 {
        let on: Vec<_> = bursts(frame).map(|coil| (coil, 200)).into_iter().collect();
        builder.duty(frame, &codes(300, &on));
    }
    let (image, layout) = picture(&builder.finish(Ending::Whole));
    assert!(layout.duty.width() < 1400.0 && layout.duty.height() < 300.0);
    for frame in 0..1400 {
        if let Some(coil) = bursts(frame) {
            let x = layout.x_of((frame as f64 + 0.5) / 100.0);
            let pixel = at(&image, x, layout.y_of_coil(coil));
            assert_eq!(pixel, Ramp::forward().colour(1.0), "frame {frame}, coil {coil}");
        }
    }
}

#[test]
fn reverse_has_its_own_colour_and_off_is_pale() {
    let song = ten_seconds(true);
    let (image, layout) = picture(&song);
    let reverse = at(&image, layout.x_of(6.25), layout.y_of_coil(20));
    let (value, off) = value_of(&Ramp::reverse(), reverse);
    assert!(off <= 3 && (value * duty_scale(&song) - 0.5).abs() < 0.005, "{reverse:?}");
    assert!(value_of(&Ramp::forward(), reverse).1 > 60, "forward and reverse look alike");
    let off = at(&image, layout.x_of(6.25), layout.y_of_coil(19));
    assert_eq!(off, Ramp::reverse().colour(0.0));
    assert_eq!(off, Ramp::forward().colour(0.0));
}

#[test]
fn a_step_in_level_lies_at_its_time_and_band() {
    let song = ten_seconds(false);
    let (image, layout) = picture(&song);
    let (low, high) = level_scale(&song);
    assert_eq!((low, high), (-70.0, -10.0));
    for (time, band, dbfs) in
        [(4.93, 2, -50.0), (5.03, 2, -10.0), (5.03, 1, -50.0), (9.9, 3, -50.0)]
    {
        let pixel = at(&image, layout.x_of(time), layout.y_of_band(band));
        let (value, off) = value_of(&Ramp::levels(), pixel);
        let level = low + value * (high - low);
        assert!(off <= 3 && (level - dbfs).abs() < 0.2, "band {band} at {time}: {level}");
    }
}

#[test]
fn what_heat_cut_starts_at_its_time_and_the_winding_stands_at_its_height() {
    let song = ten_seconds(false);
    let (image, layout) = picture(&song);
    let cut = layout.x_of(7.0);
    let before = Rect { right: cut - 1.0, ..layout.wishes };
    let after = Rect { left: cut + 1.0, ..layout.wishes };
    assert_eq!(count(&image, before, VERMILION), 0.0);
    // The axis ends 5 % above the most that was asked.
    let area = after.width() * after.height() * 0.4 / 1.05;
    let drawn = count(&image, after, VERMILION);
    assert!((drawn / area - 1.0).abs() < 0.05, "{drawn} of {area} pixels");

    let axis = layout.heat_axis(&song);
    assert_eq!(at(&image, layout.x_of(9.05), axis.y(80.0)), VERMILION);
    assert_eq!(at(&image, layout.x_of(2.05), axis.y(40.0)), VERMILION);
    assert_eq!(at(&image, layout.x_of(2.05), axis.y(80.0) + 4.0), PAPER);
    assert_eq!(
        sentence(&song),
        "Asked 1 coil on average, 88 % granted; heat took 12 %. \
         Nearest its bound: winding of coil number 5 (from 0), 80.0 of 90.0 °C at 0:07."
    );
    assert_eq!(warnings(&song), Vec::<String>::new());
}

#[test]
fn the_coil_that_a_plan_turned_down_most_is_named_with_what_bounds_it() {
    let held = |rail: Option<&str>, at_s| HeldBack {
        coil: "ring 7".into(),
        gain: 0.4321,
        rail: rail.map(str::to_owned),
        at_s,
    };
    for (held, words) in [
        (held(None, Some(63.2)), "Turned down most: ring 7, to 43 %, by heat at 1:03."),
        (
            held(Some("main"), Some(5.0)),
            "Turned down most: ring 7, to 43 %, by supply main at 0:05.",
        ),
        (
            held(None, None),
            "Turned down most: ring 7, to 43 %, by heat in another song of the run.",
        ),
    ] {
        let mut song = in_the_making(false);
        let sums = || vec![0.0; 24];
        song.planned(&Tail {
            frames: 2000,
            sound_instants: 0,
            sound_digest: String::new(),
            wished: sums(),
            granted: sums(),
            cut_heat: sums(),
            cut_rail: sums(),
            cut_driver: sums(),
            node_c: Vec::new(),
            gained: None,
            held_back: Some(held),
        });
        let said = sentence(&song.finish(Ending::Whole));
        assert!(said.ends_with(words), "{said}");
    }
}

#[test]
fn labels_are_there_and_nothing_touches_the_edge() {
    for (width, height) in [(900, 800), (1600, 1200), (3000, 2000)] {
        let size = Size { width, height };
        let song = ten_seconds(true);
        let layout = Layout::new(&song, size).unwrap();
        let image = image::load_from_memory(&png(&song, size)).unwrap().to_rgb8();
        let page = layout.page;
        for rect in [layout.levels, layout.duty, layout.heat, layout.supply, layout.wishes] {
            let beside = Rect { left: 0.0, right: rect.left - 8.0, ..rect };
            assert!(ink(&image, beside) > 30.0, "no values beside {rect:?}");
            let top = rect.top - 28.0 * layout.scale;
            let above = Rect { top, bottom: rect.top - 2.0, ..rect };
            assert!(ink(&image, above) > 300.0, "no heading over {rect:?}");
        }
        for rect in [layout.levels, layout.duty, layout.heat, layout.supply] {
            let right = Rect { left: rect.right + 15.0, right: page.right, ..rect };
            assert!(ink(&image, right) > 100.0, "nothing right of {rect:?}");
        }
        let times = Rect { top: layout.wishes.bottom + 8.0, ..page };
        assert!(ink(&image, times) > 300.0, "no times");
        for edge in [
            Rect { bottom: 4.0, ..page },
            Rect { top: page.bottom - 3.0, ..page },
            Rect { right: 4.0, ..page },
            Rect { left: page.right - 3.0, ..page },
        ] {
            assert_eq!(ink(&image, edge), 0.0, "clipped at {edge:?} of {size:?}");
        }
    }
}

/// A song in which every coil moves.
fn busy(rate: u32, frames: u64, coils: u32, rails: usize) -> Timeline {
    let mut builder = TimelineBuilder::new(&head(rate, coils, false, rails)).unwrap();
    for number in 0..frames {
        let code = |coil: u32| (number as i32 * 7 + coil as i32 * 3) % 201;
        let codes: Vec<_> = (0..coils).map(|coil| RecordedCode(code(coil))).collect();
        builder.duty(number, &codes);
        builder.meter(&meter(number as u32));
    }
    builder.finish(Ending::Whole)
}

#[test]
fn any_length_and_any_number_of_coils() {
    // Frames a second, length in s, coils, rails: the long songs at fewer frames.
    for (rate, length_s, coils, rails) in [
        (200, 10, 1, 1),
        (200, 10, 256, 2),
        (50, 600, 24, 4),
        (10, 600, 256, 5),
        (2, 7200, 24, 1),
        (1, 120, 10_000, 8),
        (200, 0, 24, 1),
    ] {
        let song = busy(rate, u64::from(rate) * length_s, coils, rails);
        assert!(song.columns().len() <= 1400 && song.coil_rows() <= 300);
        assert_eq!(song.length().0, length_s as f64);
        let bytes = png(&song, Size::default());
        assert!(bytes.len() < 3_000_000, "{} bytes", bytes.len());
        let (image, layout) = picture(&song);
        assert_eq!(image.dimensions(), (1600, 1200));
        // Every pixel of the plot says something, unless there is nothing to say.
        let known =
            layout.duty.width() * layout.duty.height() - count(&image, layout.duty, UNKNOWN);
        let expected = layout.duty.width() * layout.duty.height();
        if length_s > 0 {
            assert_eq!(known, expected, "{coils} coils, {length_s} s");
        } else {
            assert_eq!(known, 0.0);
        }
    }
}

#[test]
fn a_file_cut_short_says_so_and_so_does_heat_past_its_bound() {
    let mut builder = TimelineBuilder::new(&head(200, 2, false, 1)).unwrap();
    let mut hot = meter(16_601);
    hot.backing.now_c = 56.0;
    builder.meter(&hot);
    let song = builder.finish(Ending::CutShort);
    let said = warnings(&song);
    assert_eq!(said, ["File ends early at 1:23.", "Too warm: backing is past its bound."]);
    let (image, layout) = picture(&song);
    let header = Rect { bottom: layout.levels.top - 28.0, ..layout.page };
    assert!(count(&image, header, VERMILION) > 50.0);
}

#[test]
fn the_same_song_gives_the_same_bytes() {
    let song = ten_seconds(true);
    assert_eq!(png(&song, Size::default()), png(&song, Size::default()));
}
