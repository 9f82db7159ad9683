//! The law of one coil read backwards: current for a pull.

use super::settings::PullSettings;

/// Pull over weight against v, the current as a share of full in the direction that pulls: q = q0 + b
/// v + c2 v^2. A driver that works both ways takes the direction in which the magnet helps; one that
/// works one way has only its own, and with a magnet the wrong way round pulls from 2 |b| / (2 c2) on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Curve {
    q0: f64,
    b: f64,
    c2: f64,
    /// Most current, and the least, which is where opposing the magnet pulls least: beyond it the
    /// pull grows again.
    most: f64,
    least: f64,
    /// Whether the direction that pulls is the driver's backwards.
    pub turned: bool,
}

impl Curve {
    pub(super) fn new(settings: &PullSettings, two_way: bool) -> Self {
        let law = settings.law;
        let turned = two_way && law.c1 < 0.0;
        let b = if turned { -law.c1 } else { law.c1 };
        let most = settings.most_u;
        let least = if two_way && b > 0.0 { -most.min(b / (2.0 * law.c2)) } else { 0.0 };
        Self { q0: law.q0, b, c2: law.c2, most, least, turned }
    }

    /// Pull at a current.
    pub(super) fn pull(&self, v: f64) -> f64 {
        self.q0 + v * (self.b + v * self.c2)
    }

    /// Pull with no current.
    pub(super) fn rest(&self) -> f64 {
        self.q0
    }

    /// Pull with the most current.
    pub(super) fn highest(&self) -> f64 {
        self.pull(self.most)
    }

    /// Pull with the least.
    pub(super) fn lowest(&self) -> f64 {
        self.pull(self.least)
    }

    /// The most current.
    pub(super) fn most(&self) -> f64 {
        self.most
    }

    /// Current for a pull, on the branch that starts at rest and as far as the driver and the law go.
    /// Of the two forms of a quadratic's root the one that loses no digits.
    pub(super) fn current(&self, pull: f64) -> f64 {
        let missing = pull - self.q0;
        let root = (self.b * self.b + 4.0 * self.c2 * missing).max(0.0).sqrt();
        let v = if self.b >= 0.0 {
            let below = self.b + root;
            if below > 0.0 { 2.0 * missing / below } else { 0.0 }
        } else if missing > 0.0 {
            (root - self.b) / (2.0 * self.c2)
        } else {
            0.0
        };
        v.clamp(self.least, self.most)
    }
}
