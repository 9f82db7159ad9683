//! The whole stage: from levels to wishes, over time.
#![allow(
    clippy::unwrap_used,
    clippy::float_cmp,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    reason = "tests stop at the first surprise"
)]

use proptest::prelude::*;

use super::*;
use crate::analysis::SILENCE_DBFS;
use crate::units::{CoilId, Millimetres, Rate, Seconds};

pub(super) fn place(x_mm: f64, y_mm: f64) -> Place {
    Place { x_mm: Millimetres(x_mm), y_mm: Millimetres(y_mm) }
}

/// A route over the first bands and the first coils. Levels of -40 to 0 dBFS read 0 to 1 in the
/// very frame they are heard.
pub(super) fn route(motion: MotionSettings, bands: usize, coils: usize) -> RouteSettings {
    RouteSettings {
        hears: Hears::Levels,
        bands: (0..bands).collect(),
        range: RangeShape::Fixed { floor_dbfs: -40.0, full_dbfs: 0.0 },
        curve: Curve::Straight,
        envelope: EnvelopeSettings {
            attack_s: Seconds(0.0),
            release_s: Seconds(0.0),
            hold_s: Seconds(0.0),
        },
        motion,
        coils: (0..coils as u32).map(CoilId).collect(),
        weight: 1.0,
        priority: 0,
    }
}

pub(super) fn settings(
    coils: usize,
    combine: Combine,
    routes: Vec<RouteSettings>,
) -> MapperSettings {
    MapperSettings {
        frame_rate: Rate::new(200, 1).unwrap(),
        places: (0..coils).map(|i| place(10.0 * i as f64, 0.0)).collect(),
        routes,
        combine,
        passages: Passages::Even,
        rest_s: Seconds(0.5),
        idle: IdleSettings::NONE,
        trims: vec![1.0; coils],
        master: 1.0,
    }
}

pub(super) fn wishes(mapper: &mut Mapper, band_dbfs: &[f32], quiet: bool) -> Vec<f64> {
    let top_dbfs = vec![-10.0; band_dbfs.len()];
    let heard = Heard { band_dbfs, top_dbfs: &top_dbfs, senses: &[], overall_dbfs: -10.0, quiet };
    mapper.wish(&heard).iter().map(|wish| wish.get()).collect()
}

/// Two routes on one band each (levels of -40 to 0 dBFS) over one coil.
#[test]
fn routes_on_one_coil_combine_as_written() {
    // combine, weights, band levels, wish by hand
    for (combine, weights, levels, by_hand) in [
        (Combine::Max, [1.0, 1.0], [-30.0, -10.0], 0.75),
        (Combine::Max, [1.0, -1.0], [-30.0, -10.0], -0.75),
        (Combine::Max, [1.0, -1.0], [-10.0, -30.0], 0.75),
        (Combine::Max, [1.0, -1.0], [-20.0, -20.0], 0.5),
        (Combine::Max, [-1.0, 1.0], [-20.0, -20.0], -0.5),
        (Combine::Max, [0.5, 1.0], [0.0, -30.0], 0.5),
        (Combine::Add, [1.0, 1.0], [-30.0, -30.0], 0.5),
        (Combine::Add, [1.0, -1.0], [-10.0, -30.0], 0.5),
        (Combine::Add, [1.0, 1.0], [-10.0, -10.0], 1.0),
        (Combine::Add, [-1.0, -1.0], [-10.0, -10.0], -1.0),
        (Combine::Add, [0.5, -0.25], [0.0, 0.0], 0.25),
        (Combine::Add, [0.0, -0.0], [0.0, 0.0], 0.0),
    ] {
        let mut routes =
            [route(MotionSettings::LevelAll, 1, 1), route(MotionSettings::LevelAll, 1, 1)];
        routes[1].bands = vec![1];
        routes[0].weight = weights[0];
        routes[1].weight = weights[1];
        let mut mapper = Mapper::new(&settings(1, combine, routes.into())).unwrap();
        let got = wishes(&mut mapper, &levels, false);
        assert_eq!(got, [by_hand], "{combine:?} {weights:?} {levels:?}");
        assert!(got[0].is_sign_positive() || by_hand < 0.0, "no negative zero");
    }
}

#[test]
fn coils_outside_every_group_are_left_alone() {
    let mut low = route(MotionSettings::LevelAll, 1, 2);
    low.coils = vec![CoilId(3), CoilId(1)];
    let mut mapper = Mapper::new(&settings(5, Combine::Max, vec![low])).unwrap();
    assert_eq!(wishes(&mut mapper, &[0.0], false), [0.0, 1.0, 0.0, 1.0, 0.0]);
    assert_eq!(mapper.routes().map(<[f64]>::len).collect::<Vec<_>>(), [1]);
    let mut nothing = Mapper::new(&settings(2, Combine::Add, vec![])).unwrap();
    assert_eq!(wishes(&mut nothing, &[0.0], false), [0.0, 0.0]);
}

/// Range, curve, envelope, motion, weight and rest in one trace. Level -20 dBFS reads 0.5, its
/// square is 0.25; attack 10 ms at 5 ms a frame covers 1 - exp(-1/2) = 0.39346934 of what is left.
#[test]
fn the_steps_follow_each_other() {
    let mut it = route(MotionSettings::LevelAll, 1, 1);
    it.curve = Curve::Power(2.0);
    it.envelope.attack_s = Seconds(0.010);
    it.weight = -0.5;
    let mut mapper = Mapper::new(&settings(1, Combine::Max, vec![it])).unwrap();
    let by_hand = [(-0.049183667, 0.098367335), (-0.079015070, 0.158030140)];
    for (wish, value) in by_hand {
        let got = wishes(&mut mapper, &[-20.0], false)[0];
        let meter = mapper.routes().next().unwrap()[0];
        assert!((got - wish).abs() < 1e-9 && (meter - value).abs() < 1e-9, "{got}, {meter}");
    }
}

/// Steady hum that the analysis calls quiet: 0.5 s to 1/e, exactly off after 6.91 * 0.5 s, all back
/// with the first frame of returning sound.
#[test]
fn hum_between_songs_comes_to_rest() {
    let it = route(MotionSettings::LevelAll, 1, 2);
    let mut mapper = Mapper::new(&settings(2, Combine::Add, vec![it])).unwrap();
    let mut time_s = 0.0;
    let mut run = |seconds: f64, quiet: bool| {
        let mut last = vec![];
        let end_s = time_s + seconds - 0.0025;
        while time_s < end_s {
            last = wishes(&mut mapper, &[-20.0], quiet);
            time_s += 0.005;
        }
        last[0]
    };
    assert_eq!(run(1.0, false), 0.5);
    assert!((run(0.5, true) - 0.5 * 0.36788).abs() < 1e-5);
    assert!(run(2.95, true) > 0.0, "still moving after 3.45 s");
    assert_eq!(run(0.005, true), 0.0, "at rest after 3.455 s");
    assert_eq!(run(0.005, false), 0.5);
    assert_eq!(mapper.rest_gain(), 1.0);
}

/// Two full wishes add up to one, which a fade of a second takes to 1 - 1/e of the way in a second.
#[test]
fn a_saturated_sum_fades_from_one() {
    let full = route(MotionSettings::LevelAll, 1, 1);
    let mut all = settings(1, Combine::Add, vec![full.clone(), full]);
    all.rest_s = Seconds(1.0);
    let mut mapper = Mapper::new(&all).unwrap();
    let faded = (0..200).map(|_| wishes(&mut mapper, &[0.0], true)[0]).last().unwrap();
    assert!((faded - 0.367_879).abs() < 1e-5, "{faded} after one time constant");
}

#[test]
fn bands_that_are_not_there_are_silent() {
    let mut it = route(MotionSettings::LevelAll, 1, 1);
    it.bands = vec![7];
    it.range = RangeShape::Follow { floor_db: -30.0, full_db: -6.0 };
    let all = settings(1, Combine::Max, vec![it]);
    assert_eq!(wishes(&mut Mapper::new(&all).unwrap(), &[0.0], false), [0.0]);
    assert!(all.check_bands(8).is_ok());
    assert_eq!(
        all.check_bands(2).unwrap_err().to_string(),
        "route 1: it listens to band number 7, but 2 are measured (numbered from 0); measure it or \
         name another"
    );
}

#[test]
fn refusals_say_where_what_and_what_would_do() {
    let refusal = |change: &dyn Fn(&mut MapperSettings)| {
        let mut all = settings(3, Combine::Max, vec![route(MotionSettings::LevelAll, 1, 3); 2]);
        change(&mut all);
        Mapper::new(&all).unwrap_err().to_string()
    };
    for (sentence, part) in [
        (refusal(&|it| it.places.clear()), "the display has no coils; describe at least one"),
        (refusal(&|it| it.places[1].y_mm.0 = f64::NAN), "coil 1 stands at 10 mm, NaN mm;"),
        (refusal(&|it| it.rest_s.0 = -1.0), "rest_s is -1 s; a fade to rest takes 0 to 60 s"),
        (refusal(&|it| it.routes[1].coils.clear()), "route 2: it moves no coil;"),
        (
            refusal(&|it| it.routes[0].coils[2].0 = 3),
            "moves coil 3, but the display has 3 (coil 0 to coil 2)",
        ),
        (refusal(&|it| it.routes[0].coils[2].0 = 0), "route 1: it names coil 0 twice;"),
        (refusal(&|it| it.routes[0].bands.clear()), "level_all takes one band, not 0"),
        (
            refusal(&|it| it.routes[1].weight = 1.5),
            "route 2: weight is 1.5; it must be from -1 to 1",
        ),
        (
            refusal(&|it| it.routes[1].curve = Curve::Power(0.0)),
            "power is 0; it must be from 0.1 to 10",
        ),
        (
            refusal(&|it| it.routes[0].range = RangeShape::Follow { floor_db: 0.0, full_db: -3.0 }),
            "its range runs from 0 dB up to -3 dB; full must be above floor",
        ),
        (
            refusal(&|it| it.routes[0].hears = Hears::Between { ear: 0, low: 400.0, high: 90.0 }),
            "what it hears is read from 400 to 90 (Hz for a centroid,",
        ),
        (
            refusal(&|it| it.routes[0].envelope.hold_s = Seconds(61.0)),
            "hold_s is 61 s; it must be from 0 to 60 s",
        ),
    ] {
        assert!(sentence.contains(part), "{sentence}");
    }
}

const BANDS: usize = 4;
const COILS: usize = 6;

fn any_motion() -> impl Strategy<Value = MotionSettings> {
    prop_oneof![
        Just(MotionSettings::LevelAll),
        (-400.0..400.0, 0.0..80.0).prop_map(|(towards_deg, edge)| MotionSettings::Column {
            towards_deg,
            edge_mm: Millimetres(edge)
        }),
        // Not 90 degrees: the coils stand in a row.
        (-80.0..80.0).prop_map(|towards_deg| MotionSettings::Along { towards_deg }),
        (-50.0..100.0, 6.0..1000.0, 0.0..0.9).prop_map(|(x_mm, speed_mm_per_s, fade_per_m)| {
            MotionSettings::Outward {
                from: place(x_mm, 4.0),
                speed_mm_per_s: speed_mm_per_s * 3.0,
                fade_per_m,
            }
        }),
    ]
}

/// A carried spot is elsewhere when the sound is louder, so it has properties of its own.
fn any_carry() -> impl Strategy<Value = MotionSettings> {
    let ring = (-360.0..360.0, any::<bool>())
        .prop_map(|(start_deg, clockwise)| Path::Ring { start_deg, clockwise });
    let axis = (-400.0..400.0).prop_map(|towards_deg| Path::Axis { towards_deg });
    (prop_oneof![ring, axis], 0.0..80.0, 1.0..5000.0).prop_map(|(path, spot, fastest_mm_per_s)| {
        MotionSettings::Carry { path, spot_mm: Millimetres(spot), fastest_mm_per_s }
    })
}

fn any_route() -> impl Strategy<Value = RouteSettings> {
    let range = prop_oneof![
        (-80.0..-20.0, 1.0..30.0)
            .prop_map(|(floor_db, span)| RangeShape::Follow { floor_db, full_db: floor_db + span }),
        (-130.0..-20.0, 1.0..60.0).prop_map(|(floor_dbfs, span)| RangeShape::Fixed {
            floor_dbfs,
            full_dbfs: floor_dbfs + span
        }),
    ];
    let curve =
        prop_oneof![Just(Curve::Straight), Just(Curve::Soft), (0.1..10.0).prop_map(Curve::Power)];
    let coils = proptest::sample::subsequence((0..COILS as u32).collect::<Vec<_>>(), 2..=COILS);
    let times = (0.0..0.1, 0.0..0.3, 0.0..0.1);
    (range, curve, any_motion(), coils, times, 0.0..=1.0, 0..BANDS - 1).prop_map(
        |(range, curve, motion, coils, (attack, release, hold), weight, band)| RouteSettings {
            hears: Hears::Levels,
            bands: match motion {
                MotionSettings::Along { .. } => (band..BANDS).collect(),
                _ => vec![band],
            },
            range,
            curve,
            envelope: EnvelopeSettings {
                attack_s: Seconds(attack),
                release_s: Seconds(release),
                hold_s: Seconds(hold),
            },
            motion,
            coils: coils.into_iter().map(CoilId).collect(),
            weight,
            priority: 0,
        },
    )
}

/// Per frame and band a level, how much louder the louder sound is, and whether it is quiet.
fn any_sound() -> impl Strategy<Value = Vec<([f32; BANDS], [f32; BANDS], bool)>> {
    let levels = proptest::array::uniform4(SILENCE_DBFS..0.0_f32);
    let extra = proptest::array::uniform4(prop_oneof![Just(0.0_f32), 0.0..40.0_f32]);
    proptest::collection::vec((levels, extra, proptest::bool::weighted(0.2)), 1..60)
}

proptest! {
    /// Also over time: no sound that is louder throughout moves a coil less at any frame.
    #[test]
    fn louder_never_lowers_a_wish(routes in proptest::collection::vec(any_route(), 1..4), sound in any_sound()) {
        let all = settings(COILS, Combine::Max, routes);
        let (mut soft, mut loud) = (Mapper::new(&all).unwrap(), Mapper::new(&all).unwrap());
        for (frame, (levels, extra, quiet)) in sound.iter().enumerate() {
            let louder: Vec<f32> = levels.iter().zip(extra).map(|(a, b)| a + b).collect();
            let soft = wishes(&mut soft, levels, *quiet);
            let loud = wishes(&mut loud, &louder, *quiet);
            for (soft, loud) in soft.iter().zip(&loud) {
                prop_assert!(loud - soft > -1e-12, "frame {frame}: {soft} when soft, {loud} when loud");
            }
        }
    }

    #[test]
    fn the_same_sound_gives_the_same_bits(mut routes in proptest::collection::vec(any_route(), 1..4), carry in any_carry(), sound in any_sound()) {
        routes[0].motion = carry;
        let all = settings(COILS, Combine::Over, routes);
        let bits = || {
            let mut mapper = Mapper::new(&all).unwrap();
            let per_frame = sound.iter().map(|(levels, _, quiet)| wishes(&mut mapper, levels, *quiet));
            per_frame.flatten().map(f64::to_bits).collect::<Vec<_>>()
        };
        prop_assert_eq!(bits(), bits());
    }

    /// Settings of any numbers are used or refused, and what is heard may be any number too.
    #[test]
    fn no_number_breaks_it(mut it in any_route(), numbers in proptest::array::uniform10(proptest::num::f64::ANY), which in 0..14_usize, coil in 0..9_u32, levels in proptest::array::uniform4(proptest::num::f32::ANY)) {
        let [a, b, c, d, e, f, g, h, i, j] = numbers;
        match which {
            0 => it.range = RangeShape::Follow { floor_db: a, full_db: b },
            1 => it.range = RangeShape::Fixed { floor_dbfs: a, full_dbfs: b },
            2 => it.curve = Curve::Power(c),
            3 => it.envelope.attack_s.0 = d,
            4 => it.envelope.hold_s.0 = e,
            5 => it.motion = MotionSettings::Column { towards_deg: f, edge_mm: Millimetres(g) },
            6 => it.motion = MotionSettings::Along { towards_deg: f },
            7 => it.weight = h,
            8 => it.coils.push(CoilId(coil)),
            10 => it.motion = MotionSettings::Outward { from: place(a, b), speed_mm_per_s: c, fade_per_m: d },
            11 => it.motion = MotionSettings::Carry {
                path: Path::Ring { start_deg: a, clockwise: coil % 2 == 0 },
                spot_mm: Millimetres(b),
                fastest_mm_per_s: c,
            },
            12 => it.motion = MotionSettings::Outward { from: place(0.0, 0.0), speed_mm_per_s: 70.0, fade_per_m: d },
            _ => {}
        }
        let mut all = settings(COILS, Combine::Add, vec![it]);
        if which == 9 {
            all.places[0].x_mm.0 = i;
            all.rest_s.0 = j;
        }
        if which == 13 {
            all.idle = IdleSettings { level: a, period_s: Seconds(b), wander: true, coils: vec![CoilId(coil)] };
            (all.trims[0], all.master) = (c, d);
        }
        if let Ok(mut mapper) = Mapper::new(&all) {
            for _ in 0..3 {
                let got = wishes(&mut mapper, &levels, false);
                prop_assert!(got.iter().all(|wish| (-1.0..=1.0).contains(wish)));
            }
        }
    }
}
