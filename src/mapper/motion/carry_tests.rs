//! Spots on lines and rings, against what is known by hand and what must hold everywhere.
#![allow(
    clippy::unwrap_used,
    clippy::cast_possible_truncation,
    clippy::indexing_slicing,
    clippy::float_cmp,
    reason = "tests stop at the first surprise"
)]

use proptest::prelude::*;

use super::*;
use crate::mapper::motion::group::Group;
use crate::mapper::settings::{Path, Place};
use crate::mapper::tests::place;
use crate::units::CoilId;

const AXIS: Path = Path::Axis { towards_deg: 0.0 };
const RING: Path = Path::Ring { start_deg: 90.0, clockwise: true };

/// 100 frames a second: 10 ms each.
fn carry(places: &[Place], path: Path, spot_mm: f64, fastest_mm_per_s: f64) -> Carry {
    let coils: Vec<_> = (0..places.len() as u32).map(CoilId).collect();
    let way = Group::new(&coils, places).unwrap().path(path).unwrap();
    Carry::new(&way, Millimetres(spot_mm), fastest_mm_per_s, Rate::new(100, 1).unwrap()).unwrap()
}

fn shares(carry: &Carry, coils: usize) -> Vec<f64> {
    let mut shares = vec![9.0; coils];
    carry.ask(&mut |coil, share| shares[coil] = share);
    shares
}

/// Coils every 10 mm from left to right.
fn line(coils: u32) -> Vec<Place> {
    (0..coils).map(|i| place(10.0 * f64::from(i), 7.0)).collect()
}

/// Coils clockwise from the top, `arc_mm` of circle apart.
fn ring(coils: u32, arc_mm: f64) -> Vec<Place> {
    let radius = arc_mm * f64::from(coils) / std::f64::consts::TAU;
    let angle = |i: u32| (90.0 - 360.0 * f64::from(i) / f64::from(coils)).to_radians();
    (0..coils).map(|i| place(radius * libm::cos(angle(i)), radius * libm::sin(angle(i)))).collect()
}

fn near(got: &[f64], by_hand: &[f64], what: &str) {
    assert_eq!(got.len(), by_hand.len());
    let close = got.iter().zip(by_hand).all(|(a, b)| (a - b).abs() < 1e-9);
    assert!(close, "{what}: {got:?}, by hand {by_hand:?}");
}

/// A way of 40 mm, a spot as narrow as the gap: halfway between two coils each does half, a third
/// of the way on (1 + cos 60 degrees)/2 = 3/4 and 1/4. So fast that it is there at once.
#[test]
fn one_level_says_where_and_how_strong() {
    let mut it = carry(&line(5), AXIS, 1.0, 1e6);
    for (value, of_full) in [
        (0.5, [0.0, 0.0, 1.0, 0.0, 0.0]),
        (0.25, [0.0, 1.0, 0.0, 0.0, 0.0]),
        (0.625, [0.0, 0.0, 0.5, 0.5, 0.0]),
        (7.0 / 12.0, [0.0, 0.0, 0.75, 0.25, 0.0]),
        (1.0, [0.0, 0.0, 0.0, 0.0, 1.0]),
        (0.0, [0.0; 5]),
    ] {
        it.follow(&[value]);
        near(&shares(&it, 5), &of_full.map(|part| part * value), &format!("value {value}"));
    }
}

/// A spot of 20 mm reaches two coils to each side: shares 1/2, 1, 1/2; cut off at the end.
#[test]
fn a_wider_spot_reaches_further() {
    let mut it = carry(&line(9), AXIS, 20.0, 1e6);
    it.follow(&[0.5, 0.5]);
    near(&shares(&it, 9), &[0.0, 0.0, 0.0, 0.25, 0.5, 0.25, 0.0, 0.0, 0.0], "in the middle");
    it.follow(&[0.8, 0.0]);
    near(&shares(&it, 9), &[0.8, 0.4, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0], "at the beginning");
}

/// Bands stand at 0, 20 and 40 mm: 0.4 at the first and 0.4 at the last balance in the middle.
#[test]
fn several_bands_pull_the_spot_to_their_balance() {
    let mut it = carry(&line(5), AXIS, 1.0, 1e6);
    for (values, at) in [([0.4, 0.0, 0.4], 2), ([0.0, 0.0, 0.1], 4), ([0.6, 0.6, 0.0], 1)] {
        it.follow(&values);
        let strongest = values.into_iter().fold(0.0, f64::max);
        let mut by_hand = [0.0; 5];
        by_hand[at] = strongest;
        near(&shares(&it, 5), &by_hand, &format!("bands {values:?}"));
    }
    // Squares pull: 0.8 at the last against 0.4 at the first is 4 to 1, 32 mm, past coil 3 by 2 mm:
    // (1 + cos 36 degrees)/2 = 0.904508.
    it.follow(&[0.4, 0.0, 0.8]);
    near(&shares(&it, 5)[3..], &[0.8 * 0.904_508_497_2, 0.8 * 0.095_491_502_8], "4 to 1");
    // Around a ring of 8 the four bands stand a quarter turn apart.
    let mut it = carry(&ring(8, 10.0), RING, 1.0, 1e6);
    it.follow(&[0.0, 0.0, 0.0, 1.0]);
    near(&shares(&it, 8), &[0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0], "the last of four");
}

/// A way of 80 mm, a spot of 30 mm, 200 mm/s: about 2 mm a frame, and less because the middle of a
/// spot between coils can go faster than what drives it.
#[test]
fn it_travels_no_faster_than_it_may_and_arrives() {
    let mut it = carry(&line(9), AXIS, 30.0, 200.0);
    assert!(it.step_mm <= 2.0 && it.step_mm > 1.5, "{} mm a frame", it.step_mm);
    for frame in 1..=20 {
        it.follow(&[0.0, 1.0]);
        assert!((it.at_mm - it.step_mm * f64::from(frame)).abs() < 1e-9, "frame {frame}");
    }
    (0..40).for_each(|_| it.follow(&[0.0, 1.0]));
    assert_eq!(it.at_mm, 80.0);
    it.follow(&[0.0, 0.0]);
    assert_eq!((it.at_mm, shares(&it, 9)), (80.0, vec![0.0; 9]), "silence leaves it there, unseen");
}

/// From a tenth of a ring of 200 mm to nine tenths lie 40 mm backwards and 160 mm forwards.
#[test]
fn around_a_ring_it_takes_the_shorter_way() {
    let mut it = carry(&ring(20, 10.0), RING, 30.0, 1e6);
    it.follow(&[0.1]);
    assert!((it.at_mm - 20.0).abs() < 1e-9);
    it.step_mm = 5.0;
    let stops: Vec<f64> = (0..9)
        .map(|_| {
            it.follow(&[0.9]);
            it.at_mm.round() % 200.0
        })
        .collect();
    assert_eq!(stops, [15.0, 10.0, 5.0, 0.0, 195.0, 190.0, 185.0, 180.0, 180.0]);
    it.follow(&[0.4]);
    assert!((it.at_mm - 175.0).abs() < 1e-9, "exactly opposite it goes either way, steadily");
}

#[test]
fn a_ring_begins_and_runs_as_said() {
    for (path, coil) in [
        (RING, 2),
        (Path::Ring { start_deg: 90.0, clockwise: false }, 6),
        (Path::Ring { start_deg: 0.0, clockwise: true }, 4),
        (Path::Ring { start_deg: -270.0, clockwise: true }, 2),
    ] {
        let mut it = carry(&ring(8, 10.0), path, 1.0, 1e6);
        it.follow(&[0.25]);
        assert!((shares(&it, 8)[coil] - 0.25).abs() < 1e-9, "{path:?}");
    }
}

#[test]
fn one_coil_and_coils_in_one_place_of_the_way_follow_the_level() {
    let level = [place(3.0, 0.0), place(3.0, 50.0)];
    for (places, path) in [(&level[..1], AXIS), (&level[..1], RING), (&level[..], AXIS)] {
        let mut it = carry(places, path, 40.0, 100.0);
        it.follow(&[0.6]);
        near(&shares(&it, places.len()), &vec![0.6; places.len()], "alone");
    }
}

fn any_way() -> impl Strategy<Value = (Vec<Place>, Path)> {
    let scattered = proptest::collection::vec(1.0..30.0_f64, 3..24).prop_map(|gaps| {
        let mut x = 0.0;
        let at = |gap| {
            x += gap;
            place(x, 0.0)
        };
        (gaps.into_iter().map(at).collect(), AXIS)
    });
    let even = (4_u32..40, 5.0..40.0).prop_map(|(coils, arc_mm)| (ring(coils, arc_mm), RING));
    prop_oneof![scattered, even]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    /// Wherever the spot is and whatever it does, the length it covers stays the same, away from
    /// open ends; no coil does more than the level; and its middle keeps to the speed.
    #[test]
    fn what_is_handed_on_stays_whole_and_slow(
        (places, path) in any_way(),
        spot_mm in 1.0..120.0,
        fastest in 20.0..2000.0,
        pulls in proptest::collection::vec((0.0..1.0_f64, 1..60), 1..8),
    ) {
        let mut it = carry(&places, path, spot_mm, fastest);
        let mut before: Option<f64> = None;
        for (pull, frames) in pulls {
            for _ in 0..frames {
                it.follow(&[1.0 - pull, pull, 1.0]);
                let (mut cover, mut off, mut weight) = (0.0, 0.0, 0.0);
                for (station, share) in it.way.list.iter().zip(&it.shares) {
                    prop_assert!((0.0..=1.0).contains(share));
                    cover += station.stretch_mm * share;
                    let mut apart = station.at_mm - it.at_mm;
                    if it.way.closed && apart.abs() > it.way.length_mm / 2.0 {
                        apart -= it.way.length_mm.copysign(apart);
                    }
                    off += station.stretch_mm * share * apart;
                    weight += station.stretch_mm * share;
                }
                let inside = it.way.closed
                    || (it.at_mm >= it.way.spot_mm && it.at_mm <= it.way.length_mm - it.way.spot_mm);
                if inside {
                    let whole = it.way.covers_mm;
                    prop_assert!((cover / whole - 1.0).abs() < 2e-3, "{cover} of {whole} mm");
                }
                prop_assert!(weight > 0.0, "lost between two coils");
                let middle = it.at_mm + off / weight;
                if let Some(before) = before {
                    let mut moved = (middle - before).abs();
                    if it.way.closed {
                        moved = moved.min(it.way.length_mm - moved);
                    }
                    prop_assert!(moved <= fastest * 0.01 * 1.01 + 1e-9, "{moved} mm in 10 ms");
                }
                before = Some(middle);
            }
        }
    }
}

/// On even gaps the plain sum of shares is what stays, for any width of whole and half gaps exactly.
#[test]
fn on_even_gaps_the_sum_of_shares_stays() {
    for half_gaps in 2..=10_u32 {
        let mut it = carry(&ring(24, 10.0), RING, 5.0 * f64::from(half_gaps), 37.0);
        for frame in 0..1000_u32 {
            it.follow(&[1.0, if frame % 200 < 120 { 1.0 } else { 0.0 }, 1.0]);
            let sum: f64 = shares(&it, 24).iter().sum();
            let whole = f64::from(half_gaps) / 2.0;
            assert!((sum - whole).abs() < 1e-9, "{sum} is not {whole} at {} mm", it.at_mm);
        }
    }
}

#[test]
fn widths_and_speeds_outside_their_range_are_refused() {
    let way = Way { coils: vec![(0, 0.0), (1, 5.0)], length_mm: 5.0, closed: false };
    let rate = Rate::new(100, 1).unwrap();
    for (spot_mm, fastest) in [(-1.0, 10.0), (f64::NAN, 10.0), (10.0, 0.0), (10.0, f64::INFINITY)] {
        assert!(Carry::new(&way, Millimetres(spot_mm), fastest, rate).is_err());
    }
}
