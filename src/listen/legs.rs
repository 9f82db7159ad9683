//! Left against right: a dead leg, a reversed one, one louder than the other.

use super::db;
use serde::Serialize;

/// Running sums of two channels.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct LegSums {
    left: f64,
    right: f64,
    product: f64,
    count: u64,
}

/// How the first two channels stand to each other.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Legs {
    /// Left, dBFS as in AES17; `None` in silence.
    pub left_dbfs: Option<f64>,
    /// Right, likewise.
    pub right_dbfs: Option<f64>,
    /// Correlation, -1 to 1; 0 when a leg is silent. Two copies give 1, a reversed leg -1.
    pub correlation: f64,
}

impl LegSums {
    pub(super) fn push(&mut self, left: f64, right: f64) {
        if left.is_finite() && right.is_finite() {
            self.left += left * left;
            self.right += right * right;
            self.product += left * right;
            self.count += 1;
        }
    }

    pub(super) fn weigh(self) -> Legs {
        let count = self.count.max(1) as f64;
        let both = (self.left * self.right).sqrt();
        Legs {
            left_dbfs: db(2.0 * self.left / count),
            right_dbfs: db(2.0 * self.right / count),
            correlation: if both > 0.0 { self.product / both } else { 0.0 },
        }
    }
}
