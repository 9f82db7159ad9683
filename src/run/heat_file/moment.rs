//! When: the wall clock, and the machine's own count of seconds since it started.
#![allow(clippy::disallowed_methods, reason = "heat files are about time that passes between runs")]

use std::time::{SystemTime, UNIX_EPOCH};

use serde::{Deserialize, Serialize};

use super::Unknown;
use crate::units::Seconds;

/// A clock that says less, ms since 1970, was never set: the start of 2024.
const SET_SINCE_MS: u64 = 1_704_067_200_000;

/// A point in time, as well as the machine knows it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Moment {
    /// Wall clock, ms since 1970 UTC; `None` where there is none or it was never set.
    pub unix_ms: Option<u64>,
    /// Which run of the machine this is, and how long it has been up; `None` where it does not say.
    pub boot: Option<Boot>,
}

/// One run of the machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Boot {
    /// Another one each time it starts.
    pub id: String,
    /// Since then, ms, sleep included. Nobody can set it.
    pub up_ms: u64,
}

impl Moment {
    /// Now.
    pub fn now() -> Self {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).ok();
        let unix_ms = since.and_then(|since| u64::try_from(since.as_millis()).ok());
        Self { unix_ms: unix_ms.filter(|&ms| ms >= SET_SINCE_MS), boot: boot() }
    }

    /// What has passed since `earlier`, or less.
    ///
    /// Within one run of the machine its own count is asked too, and the smaller counts: a wall
    /// clock that is set forward makes nothing older.
    ///
    /// # Errors
    /// [`Unknown`] when there is no clock, when it went backwards, or when a machine that started
    /// after `earlier` has been up for longer than its clock says has passed.
    pub fn since(&self, earlier: &Self) -> Result<Seconds, Unknown> {
        let (Some(now_ms), Some(then_ms)) = (self.unix_ms, earlier.unix_ms) else {
            return Err(Unknown::NoClock);
        };
        let wall_ms = now_ms.checked_sub(then_ms).ok_or(Unknown::ClockBackwards)?;
        let passed_ms = match (&self.boot, &earlier.boot) {
            (Some(now), Some(then)) if now.id == then.id => {
                let up_ms = now.up_ms.checked_sub(then.up_ms).ok_or(Unknown::ClockBackwards)?;
                up_ms.min(wall_ms)
            }
            (Some(now), Some(_)) if now.up_ms > wall_ms => return Err(Unknown::ClockBackwards),
            _ => wall_ms,
        };
        Ok(Seconds(passed_ms as f64 / 1000.0))
    }
}

/// Linux tells; elsewhere the wall clock has to do.
fn boot() -> Option<Boot> {
    let id = std::fs::read_to_string("/proc/sys/kernel/random/boot_id").ok()?.trim().to_owned();
    let up = std::fs::read_to_string("/proc/uptime").ok()?;
    let up_s: f64 = up.split_whitespace().next()?.parse().ok()?;
    Some(Boot { id, up_ms: whole(up_s * 1000.0) })
}

#[expect(clippy::cast_possible_truncation, reason = "a fraction of a millisecond does not matter")]
#[expect(clippy::cast_sign_loss, reason = "a machine is not up for less than no time")]
fn whole(ms: f64) -> u64 {
    ms as u64
}
