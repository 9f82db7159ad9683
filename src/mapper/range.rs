//! Level in dB to 0..1: nothing below the floor, everything above full, straight between.

use super::error::{RouteFault, within};
use super::settings::RangeShape;
use crate::analysis::SILENCE_DBFS;

/// A difference of levels, and a level, that makes sense: wider than any sound.
const LEVEL_LIMITS_DB: (f64, f64) = (-200.0, 200.0);

/// A [`RangeShape`] with its numbers checked.
#[derive(Debug, Clone, Copy)]
pub(super) struct Range {
    /// True when levels are read against the followed top.
    follows: bool,
    /// dBFS, or dB re the top.
    floor_db: f64,
    /// Full less floor, above 0.
    span_db: f64,
}

impl Range {
    pub(super) fn new(shape: RangeShape) -> Result<Self, RouteFault> {
        let (follows, floor_db, full_db, names) = match shape {
            RangeShape::Follow { floor_db, full_db } => {
                (true, floor_db, full_db, ["floor_db", "full_db"])
            }
            RangeShape::Fixed { floor_dbfs, full_dbfs } => {
                (false, floor_dbfs, full_dbfs, ["floor_dbfs", "full_dbfs"])
            }
        };
        let [floor_name, full_name] = names;
        within(floor_name, floor_db, LEVEL_LIMITS_DB, " dB")?;
        within(full_name, full_db, LEVEL_LIMITS_DB, " dB")?;
        let span_db = full_db - floor_db;
        if span_db <= 0.0 {
            return Err(RouteFault::Range { floor_db, full_db });
        }
        Ok(Self { follows, floor_db, span_db })
    }

    /// 0 to 1. Digital silence, or a level that is no number, reads 0 whatever the range: at the
    /// start of a song the followed top may be as low as silence itself.
    pub(super) fn read(self, level_dbfs: f32, top_dbfs: f32) -> f64 {
        if level_dbfs.is_nan() || level_dbfs <= SILENCE_DBFS {
            return 0.0;
        }
        let level = f64::from(level_dbfs);
        let level = if self.follows { level - f64::from(top_dbfs) } else { level };
        let share = (level - self.floor_db) / self.span_db;
        if share.is_nan() { 0.0 } else { share.clamp(0.0, 1.0) }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::float_cmp, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn levels_read_straight_between_floor_and_full() {
        let range = Range::new(RangeShape::Fixed { floor_dbfs: -60.0, full_dbfs: -20.0 }).unwrap();
        let by_hand = [(-90.0, 0.0), (-60.0, 0.0), (-50.0, 0.25), (-30.0, 0.75), (-20.0, 1.0)];
        for (level, value) in by_hand {
            assert_eq!(range.read(level, 0.0), value, "{level} dBFS");
            assert_eq!(range.read(level, -40.0), value, "a fixed range must not see the top");
        }
        assert_eq!(range.read(3.0, 0.0), 1.0);
    }

    #[test]
    fn a_following_range_reads_against_the_top() {
        let range = Range::new(RangeShape::Follow { floor_db: -30.0, full_db: -6.0 }).unwrap();
        for (level, top, value) in
            [(-46.0, -40.0, 1.0), (-58.0, -40.0, 0.5), (-70.0, -40.0, 0.0), (-18.0, 0.0, 0.5)]
        {
            assert_eq!(range.read(level, top), value, "{level} dBFS under a top of {top}");
        }
    }

    #[test]
    fn silence_and_what_is_no_number_read_zero() {
        let follow = Range::new(RangeShape::Follow { floor_db: -30.0, full_db: -6.0 }).unwrap();
        let deep = Range::new(RangeShape::Fixed { floor_dbfs: -150.0, full_dbfs: -130.0 }).unwrap();
        for range in [follow, deep] {
            assert_eq!(range.read(SILENCE_DBFS, SILENCE_DBFS), 0.0);
            assert_eq!(range.read(f32::NEG_INFINITY, SILENCE_DBFS), 0.0);
            assert_eq!(range.read(f32::NAN, -20.0), 0.0);
        }
        assert_eq!(follow.read(-20.0, f32::NAN), 0.0);
        assert_eq!(deep.read(-119.0, SILENCE_DBFS), 1.0);
    }

    #[test]
    fn floors_not_below_full_are_refused() {
        for (floor_db, full_db) in [(-6.0, -6.0), (0.0, -30.0), (f64::NAN, 0.0), (-30.0, 1e9)] {
            assert!(Range::new(RangeShape::Follow { floor_db, full_db }).is_err());
            let fixed = RangeShape::Fixed { floor_dbfs: floor_db, full_dbfs: full_db };
            assert!(Range::new(fixed).is_err());
        }
    }
}
