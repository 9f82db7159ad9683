//! Which coils stand close to each other, found in time proportional to their number.

use std::collections::HashMap;

use crate::mapper::Place;

/// Pairs of places no further apart than a distance.
pub(super) struct Pairs {
    /// Indices, the lower first, sorted; each pair once.
    pub(super) list: Vec<(usize, usize)>,
    /// Whether there were more than asked for.
    pub(super) cut: bool,
}

/// Pairs at most `within_mm` apart; gives up after `most` of them.
pub(super) fn pairs_within(places: &[Place], within_mm: f64, most: usize) -> Pairs {
    // Whoever is near a place stands in its cell or in one of the eight around it.
    #[expect(clippy::cast_possible_truncation, reason = "a saturated cell is still one cell")]
    let cell = |mm: f64| libm::floor(mm / within_mm) as i64;
    let mut cells: HashMap<(i64, i64), Vec<usize>> = HashMap::new();
    let mut list = Vec::new();
    for (here, place) in places.iter().enumerate() {
        let (column, row) = (cell(place.x_mm.0), cell(place.y_mm.0));
        let around = (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| (column + dx, row + dy)));
        let earlier = around.filter_map(|key| cells.get(&key)).flatten().copied();
        let near = |other: &usize| places.get(*other).is_some_and(|o| apart(place, o) <= within_mm);
        list.extend(earlier.filter(near).map(|other| (other, here)));
        if list.len() > most {
            return Pairs { list, cut: true };
        }
        cells.entry((column, row)).or_default().push(here);
    }
    list.sort_unstable();
    Pairs { list, cut: false }
}

fn apart(a: &Place, b: &Place) -> f64 {
    libm::hypot(a.x_mm.0 - b.x_mm.0, a.y_mm.0 - b.y_mm.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Millimetres;

    fn scattered(count: usize) -> Vec<Place> {
        // A full-period generator (multiplier and increment from memory): the same every time.
        let mut state = 1_u64;
        let mut next = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 40) as f64 / 65_536.0 - 128.0
        };
        (0..count).map(|_| Place { x_mm: Millimetres(next()), y_mm: Millimetres(next()) }).collect()
    }

    #[test]
    fn finds_what_looking_at_every_pair_finds() {
        let places = scattered(300);
        for within_mm in [1.0, 7.5, 40.0, 500.0] {
            let mut all = Vec::new();
            for (b, second) in places.iter().enumerate() {
                for (a, first) in places.iter().enumerate().take(b) {
                    if apart(first, second) <= within_mm {
                        all.push((a, b));
                    }
                }
            }
            all.sort_unstable();
            assert_eq!(pairs_within(&places, within_mm, usize::MAX).list, all, "{within_mm} mm");
        }
    }

    #[test]
    fn gives_up_when_there_are_too_many() {
        let heap = vec![Place { x_mm: Millimetres(0.0), y_mm: Millimetres(0.0) }; 10_000];
        let pairs = pairs_within(&heap, 10.0, 160_000);
        assert!(pairs.cut && pairs.list.len() < 200_000);
    }
}
