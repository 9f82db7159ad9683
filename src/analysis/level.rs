//! What counts as quiet, and what counts as loud.
//!
//! Both are laws in dB, stepped once a frame with exact coefficients, so that the same levels give
//! the same answers at any frame rate.

/// The floor can only be within these, dBFS: below is the converter's own noise, above is sound
/// that somebody means to be heard.
const FLOOR_DBFS: (f64, f64) = (-100.0, -60.0);
/// Where the floor is thought to be before anything was heard.
const FLOOR_AT_START_DBFS: f64 = -70.0;
/// The floor falls towards a lower level with this time constant.
const FLOOR_FALLS_S: f64 = 0.2;
/// The floor rises this fast under a level that could be floor.
const FLOOR_RISES_DB_PER_S: f64 = 1.0;
/// Quiet lies this far above the floor.
const QUIET_ABOVE_FLOOR_DB: f64 = 10.0;
/// Sound wakes this far above the quiet level.
const WAKES_ABOVE_QUIET_DB: f64 = 6.0;
/// How long the sound has to stay below.
const QUIET_AFTER_S: f64 = 1.5;

/// The range follower's top stays within these, dBFS.
const TOP_DBFS: (f64, f64) = (-70.0, 0.0);
/// Where the top is thought to be before anything was heard: low, because it rises in half a
/// second and falls in a minute.
const TOP_AT_START_DBFS: f64 = -40.0;
/// Time constant of rising: two or three drum hits bring the top close to their peaks. With half a
/// second it settled ten decibels below them, and what lies between hits counted as loud too.
const TOP_RISES_S: f64 = 0.1;
/// For so long after the first sound the top rises at once: while nothing is known of the range, all
/// that is heard would count as loud.
const FRESH_S: f64 = 1.0;
/// Speed of falling.
const TOP_FALLS_DB_PER_S: f64 = 0.3;

/// Share of a gap that a first-order follower closes in `dt_s`.
fn closes(dt_s: f64, time_constant_s: f64) -> f64 {
    -libm::expm1(-dt_s / time_constant_s)
}

/// Tells whether anything plays.
///
/// The floor follows the sound down at once and up at 1 dB/s, but never up under a level above
/// -60 dBFS: that is somebody's music and says nothing about the floor. Hum at -70 dBFS after
/// digital silence therefore stirs the tank for 20 s at most, and loud music never raises the
/// floor. Music that stays below -60 dBFS for long is taken for hum.
#[derive(Debug, Clone)]
pub(super) struct QuietGate {
    fixed_dbfs: Option<f64>,
    floor_dbfs: f64,
    falls: f64,
    rises_db: f64,
    dt_s: f64,
    below_s: f64,
    quiet: bool,
}

impl QuietGate {
    /// Starts quiet: nothing has played yet.
    pub(super) fn new(fixed_dbfs: Option<f64>, dt_s: f64) -> Self {
        Self {
            fixed_dbfs,
            floor_dbfs: FLOOR_AT_START_DBFS,
            falls: closes(dt_s, FLOOR_FALLS_S),
            rises_db: dt_s * FLOOR_RISES_DB_PER_S,
            dt_s,
            below_s: 0.0,
            quiet: true,
        }
    }

    /// The level below which sound counts as quiet.
    fn quiet_dbfs(&self) -> f64 {
        self.fixed_dbfs.unwrap_or(self.floor_dbfs + QUIET_ABOVE_FLOOR_DB)
    }

    /// One frame on.
    pub(super) fn step(&mut self, overall_dbfs: f64) -> bool {
        self.follow_floor(overall_dbfs);
        if overall_dbfs >= self.quiet_dbfs() + WAKES_ABOVE_QUIET_DB {
            self.quiet = false;
        }
        if overall_dbfs >= self.quiet_dbfs() {
            self.below_s = 0.0;
        } else {
            // A hair is forgiven, so that rounding costs no whole frame at any rate.
            self.below_s += self.dt_s;
            self.quiet |= self.below_s >= QUIET_AFTER_S - 1e-9;
        }
        self.quiet
    }

    fn follow_floor(&mut self, overall_dbfs: f64) {
        let (lowest, highest) = FLOOR_DBFS;
        let heard = overall_dbfs.max(lowest);
        if heard < self.floor_dbfs {
            self.floor_dbfs += (heard - self.floor_dbfs) * self.falls;
        } else if heard <= highest {
            self.floor_dbfs = (self.floor_dbfs + self.rises_db).min(heard);
        }
    }
}

/// The slowly followed top of a band's range.
#[derive(Debug, Clone, Copy)]
pub(super) struct Follower {
    rises: f64,
    falls_db: f64,
    dt_s: f64,
    /// What is left of the first stretch of sound.
    fresh_s: f64,
}

impl Follower {
    pub(super) fn new(dt_s: f64) -> Self {
        let (rises, falls_db) = (closes(dt_s, TOP_RISES_S), dt_s * TOP_FALLS_DB_PER_S);
        Self { rises, falls_db, dt_s, fresh_s: FRESH_S }
    }

    /// The top before anything was heard.
    pub(super) fn start() -> f64 {
        TOP_AT_START_DBFS
    }

    /// Counts a frame that is not quiet; to be called before the tops are stepped.
    pub(super) fn heard(&mut self) {
        self.fresh_s -= self.dt_s;
    }

    /// The top one frame on. Not to be called while quiet: hum and speech between songs would
    /// stretch the range.
    pub(super) fn step(self, top_dbfs: f64, level_dbfs: f64) -> f64 {
        let above = level_dbfs - top_dbfs;
        let rises = if self.fresh_s > 0.0 { 1.0 } else { self.rises };
        let top = if above > 0.0 {
            top_dbfs + above * rises
        } else {
            level_dbfs.max(top_dbfs - self.falls_db)
        };
        top.clamp(TOP_DBFS.0, TOP_DBFS.1)
    }
}

#[cfg(test)]
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "tests")]
mod tests {
    use super::*;

    /// Runs levels (dBFS, seconds) through a gate; returns the times at which it changed.
    fn changes(rate: f64, fixed: Option<f64>, levels: &[(f64, f64)]) -> Vec<f64> {
        let mut gate = QuietGate::new(fixed, 1.0 / rate);
        let (mut at, mut frame, mut was) = (Vec::new(), 0.0, true);
        for &(dbfs, seconds) in levels {
            for _ in 0..(seconds * rate).round() as usize {
                frame += 1.0;
                if gate.step(dbfs) != was {
                    was = !was;
                    at.push((frame / rate * 100.0).round() / 100.0);
                }
            }
        }
        at
    }

    #[test]
    fn hum_music_hum() {
        for rate in [30.0, 200.0] {
            let near = |got: Vec<f64>, want: &[f64]| {
                assert_eq!(got.len(), want.len(), "{got:?} at {rate}");
                for (got, want) in got.iter().zip(want) {
                    assert!((got - want).abs() < 0.06, "{got} for {want} at {rate}");
                }
            };
            // Hum from the start never wakes it; music does at once, ten minutes of it raise no
            // floor; quiet again 1.5 s after it ends.
            near(
                changes(rate, None, &[(-70.0, 20.0), (-20.0, 600.0), (-70.0, 9.0)]),
                &[20.0, 621.5],
            );
            // A soft passage at -55 dBFS is music, however long the loud one before.
            near(changes(rate, None, &[(-20.0, 600.0), (-55.0, 60.0)]), &[0.0]);
            // After digital silence hum is news until the floor has come up to it: 20 s to
            // -80 dBFS, then 1.5 s.
            near(changes(rate, None, &[(-120.0, 5.0), (-70.0, 60.0)]), &[5.0, 26.5]);
            // A fixed level holds as it stands; 6 dB above wakes, 5.9 do not.
            near(
                changes(rate, Some(-40.0), &[(-34.1, 9.0), (-34.0, 9.0), (-41.0, 9.0)]),
                &[9.0, 19.5],
            );
            // Touching the level starts the wait anew.
            let touch = [(-20.0, 1.0), (-41.0, 1.4), (-40.0, 0.1), (-41.0, 1.4), (-20.0, 1.0)];
            near(changes(rate, Some(-40.0), &touch), &[0.0]);
        }
    }

    #[test]
    fn the_top_rises_in_a_tenth_of_a_second_and_falls_in_minutes() {
        for rate in [30.0, 59.94, 200.0] {
            let mut follower = Follower::new(1.0 / rate);
            assert!((follower.step(-40.0, -20.0) + 20.0).abs() < 1e-12, "at once at first");
            (0..=rate as usize).for_each(|_| follower.heard());
            let run = |mut top: f64, level: f64, seconds: f64| {
                for _ in 0..(seconds * rate).round() as usize {
                    top = follower.step(top, level);
                }
                top
            };
            let risen = run(-40.0, -20.0, 0.1);
            let by_hand = -40.0 + 20.0 * (1.0 - libm::exp(-1.0));
            assert!((risen - by_hand).abs() < 0.3, "{risen} for {by_hand}");
            assert!((run(-20.0, -120.0, 10.0) + 23.0).abs() < 0.01);
            assert!((run(-20.0, -21.0, 10.0) + 21.0).abs() < 1e-9, "it stops at the level");
            assert!((run(-20.0, -120.0, 1000.0) + 70.0).abs() < 1e-9);
            assert!(run(-20.0, 40.0, 10.0).abs() < 1e-9);
        }
    }
}
