//! What the fluid will do: all coils of a display, stepped frame by frame.

use super::lag::{Lag, Way};
use super::response::Step;
use crate::units::{Rate, Seconds};

/// Steps within a frame are no longer than this, s: dead times are kept to half of it.
const FINEST_S: f64 = 0.001;

/// The fluid over each coil, as the lag model has it: every coil by itself, 0 at rest, 1 where full
/// pull holds it in the end. A damping below 1 overshoots.
///
/// A pull that grows acts after the dead time of the rise, one that shrinks after that of the fall.
/// All memory is taken in [`Preview::new`].
#[derive(Debug, Clone, PartialEq)]
pub struct Preview {
    /// Height and speed (1/s) per coil.
    states: Vec<[f64; 2]>,
    heights: Vec<f64>,
    /// Pulls of the last frames: `rows` of one per coil.
    pulls: Vec<f64>,
    rows: usize,
    /// Frames taken in so far.
    frames: usize,
    /// Steps in a frame.
    fine: usize,
    /// Dead times, in steps.
    dead: [usize; 2],
    rise: Step,
    fall: Step,
}

impl Preview {
    /// At rest, for so many coils and this frame rate.
    pub fn new(lag: &Lag, coils: usize, rate: Rate) -> Self {
        let period_s = rate.period().0;
        let fine = whole((period_s / FINEST_S).ceil()).max(1);
        let step_s = Seconds(period_s / fine as f64);
        let dead = [&lag.rise, &lag.fall].map(|way: &Way| whole((way.dead.0 / step_s.0).round()));
        let rows = dead.iter().max().map_or(0, |most| most / fine) + 2;
        Self {
            states: vec![[0.0; 2]; coils],
            heights: vec![0.0; coils],
            pulls: vec![0.0; rows * coils],
            rows,
            frames: 0,
            fine,
            dead,
            rise: lag.rise.response.step(step_s),
            fall: lag.fall.response.step(step_s),
        }
    }

    /// Height over each coil, now.
    pub fn heights(&self) -> &[f64] {
        &self.heights
    }

    /// One frame: its pulls, 0 to 1 per coil, act until the next. What is missing counts as 0, what
    /// is not a number too. Gives the heights at the end of the frame.
    pub fn step(&mut self, pulls: impl IntoIterator<Item = f64>) -> &[f64] {
        let coils = self.states.len();
        let row = self.frames % self.rows * coils;
        let mut pulls = pulls.into_iter();
        for pull in self.pulls.iter_mut().skip(row).take(coils) {
            *pull = pulls.next().filter(|pull| pull.is_finite()).unwrap_or(0.0).clamp(0.0, 1.0);
        }
        for coil in 0..coils {
            self.follow(coil);
        }
        self.frames += 1;
        &self.heights
    }

    fn follow(&mut self, coil: usize) {
        let Some(mut state) = self.states.get(coil).copied() else { return };
        for fine in 0..self.fine {
            let pull = self.acting(coil, self.frames * self.fine + fine);
            let step = if pull >= state[0] { &self.rise } else { &self.fall };
            state = step.next(state, pull);
        }
        if let (Some(kept), Some(height)) = (self.states.get_mut(coil), self.heights.get_mut(coil))
        {
            (*kept, *height) = (state, state[0]);
        }
    }

    /// The pull that acts on a coil's fluid in a step. Between the two dead times: the most that was
    /// there where falls come later than rises, else the least.
    fn acting(&self, coil: usize, step: usize) -> f64 {
        let [rise, fall] = self.dead;
        let (soonest, latest) = (rise.min(fall), rise.max(fall));
        let frame = |dead: usize| step.checked_sub(dead).map(|step| step / self.fine);
        let Some(newest) = frame(soonest) else { return 0.0 };
        let Some(oldest) = frame(latest) else {
            // Before the first frame the coil was off.
            let first = if fall >= rise { self.most(coil, 0, newest) } else { 0.0 };
            return first;
        };
        if fall >= rise {
            self.most(coil, oldest, newest)
        } else {
            (oldest..=newest).map(|frame| self.pull(coil, frame)).fold(1.0, f64::min)
        }
    }

    fn most(&self, coil: usize, oldest: usize, newest: usize) -> f64 {
        (oldest..=newest).map(|frame| self.pull(coil, frame)).fold(0.0, f64::max)
    }

    fn pull(&self, coil: usize, frame: usize) -> f64 {
        let at = frame % self.rows * self.states.len() + coil;
        self.pulls.get(at).copied().unwrap_or(0.0)
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "times of a second or so, in steps; a cast of what is no number gives 0"
)]
fn whole(steps: f64) -> usize {
    steps.min(100_000.0) as usize
}

#[cfg(test)]
#[allow(
    clippy::disallowed_methods,
    clippy::float_cmp,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "tests stop at the first surprise"
)]
mod tests {
    use super::*;

    fn rate() -> Rate {
        Rate::new(200, 1).unwrap()
    }

    /// Height over time of one coil that is pulled from frame 0 to frame `until`.
    fn pulled(lag: &Lag, until: usize, frames: usize) -> Vec<f64> {
        let mut preview = Preview::new(lag, 1, rate());
        (0..frames).map(|k| preview.step([if k < until { 1.0 } else { 0.0 }])[0]).collect()
    }

    /// The unit step response of a second-order lag (any control handbook):
    /// 1 - exp(-zeta w t) (cos wd t + zeta w / wd sin wd t).
    #[test]
    fn a_rise_is_the_closed_form_after_the_dead_time() {
        let way = Way::new(Seconds(0.042), 3.0, 0.5);
        let heights = pulled(&Lag { rise: way, fall: way }, usize::MAX, 200);
        let (w, zeta) = (way.response.natural_rad_per_s, 0.5_f64);
        let wd = w * (1.0 - zeta * zeta).sqrt();
        for (frame, height) in heights.iter().enumerate() {
            let t = (frame + 1) as f64 / 200.0 - 0.042;
            let exact = match t > 0.0 {
                true => {
                    1.0 - (-zeta * w * t).exp() * ((wd * t).cos() + zeta * w / wd * (wd * t).sin())
                }
                false => 0.0,
            };
            // Above 1 the fluid sinks back by the way of the fall, which is the same here.
            assert!((height - exact).abs() < 1e-9, "frame {frame}: {height}, {exact}");
        }
    }

    #[test]
    fn each_way_has_its_own_dead_time() {
        let quick = Way::new(Seconds(0.01), 200.0, 1.0);
        let slow = Way::new(Seconds(0.05), 200.0, 1.0);
        let above = |lag: &Lag| {
            let heights = pulled(lag, 20, 60);
            let first = heights.iter().position(|h| *h > 0.5).unwrap();
            let last = heights.iter().rposition(|h| *h > 0.5).unwrap();
            (first, last)
        };
        // 10 ms are 2 frames, 50 ms are 10; a height is that of a frame's end.
        assert_eq!(above(&Lag { rise: quick, fall: quick }), (2, 21));
        assert_eq!(above(&Lag { rise: quick, fall: slow }), (2, 29));
        assert_eq!(above(&Lag { rise: slow, fall: quick }), (10, 21));
        assert_eq!(above(&Lag { rise: slow, fall: slow }), (10, 29));
    }

    #[test]
    fn strange_pulls_count_as_what_can_be() {
        let way = Way::new(Seconds(0.0), 50.0, 1.0);
        let mut preview = Preview::new(&Lag { rise: way, fall: way }, 4, rate());
        for _ in 0..100 {
            preview.step([f64::NAN, 7.0, -3.0]);
        }
        let heights = preview.heights();
        assert!((heights[1] - 1.0).abs() < 1e-9, "{heights:?}");
        assert_eq!([heights[0], heights[2], heights[3]], [0.0; 3]);
    }
}
