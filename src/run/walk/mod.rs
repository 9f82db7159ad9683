//! One coil at a time, for whoever stands in front of the display and looks.
//!
//! Four rounds, each a state machine without clock, keys or board: time, the
//! last key and the board's readings are arguments, and what comes back is a wish for one coil and
//! things to say. Like any wish it passes the budget before it reaches a coil.
//!
//! - [`Tour`] pulses each coil: which one moves? Marks dead, shorted and swapped ones.
//! - [`LiftRound`] raises each coil slowly until the fluid lifts, then lowers it until it drops.
//!   [`save`] writes what was found into the display file.
//! - [`MeasureRound`] reads each winding's resistance off what the board reports.
//! - [`LogRound`] warms one coil and lets it cool, and logs what `fit` makes heat figures of.

mod lift;
mod log;
mod log_row;
mod measure;
mod save;
mod spread;
mod tour;

pub use lift::LiftRound;
pub use log::LogRound;
pub use log_row::{HeatingTest, LogRow, TestStage};
pub use measure::{MeasureRound, Measured, Probe, Verdict, probes};
pub use save::{SaveError, save};
pub use spread::{FAR, median, off_median};
pub use tour::{Mark, Tour};

use crate::units::Share;

/// What a person, or a script, asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    /// On to the next coil.
    Next,
    /// Back to the one before.
    Back,
    /// This one again.
    Repeat,
    /// A higher duty.
    Stronger,
    /// A lower duty.
    Weaker,
    /// It lifts, or it drops: now.
    Now,
    /// Part of the number of the coil that moved instead.
    Digit(u32),
    /// Nothing moves.
    Dead,
    /// It gets hot, hums or blows its fuse.
    Shorted,
    /// Another one moves.
    Swapped,
    /// Nothing is wrong after all.
    Unmark,
    /// Enough.
    Stop,
}

/// What a round sees before each frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen<'a> {
    /// Since the round began, s.
    pub now_s: f64,
    /// What was asked for since the last frame.
    pub action: Option<Action>,
    /// Duty that the coil under test had in the last frame, 0 to 1.
    pub granted: f64,
    /// Modelled temperatures of the windings, C.
    pub coil_c: &'a [f64],
    /// The board's last report.
    pub reading: Reading,
}

/// What a board reports of its supply.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Reading {
    /// How many reports came so far.
    pub count: u64,
    /// V, where it knows it.
    pub supply_v: Option<f64>,
    /// Current of all its coils, A, where it knows it.
    pub supply_a: Option<f64>,
    /// It drives less than it was sent: a limit of its own, too hot, or off by its watchdog.
    pub held: bool,
}

/// What to drive in this frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Next {
    /// This coil, counted from 0, and no other.
    Drive(usize, Share),
    /// None; this coil is up.
    Rest(usize),
    /// None, and it is over.
    Done,
}

/// What a round has to say.
#[derive(Debug, Clone, PartialEq)]
pub enum Said {
    /// This coil's turn.
    Turn {
        /// From 0.
        coil: usize,
        /// Duty that it is wished, 0 to 1.
        share: f64,
    },
    /// It was marked.
    Marked {
        /// From 0.
        coil: usize,
        /// As what; `None`: it is good after all.
        mark: Option<Mark>,
    },
    /// The duty of the rest of the tour.
    Strength(f64),
    /// Heat or supply allow no more for now.
    HeldBack {
        /// From 0.
        coil: usize,
        /// What is granted.
        granted: f64,
    },
    /// The fluid lifted at this duty; now it goes down.
    Lifted {
        /// From 0.
        coil: usize,
        /// Duty.
        duty: f64,
    },
    /// It dropped at this duty.
    Dropped {
        /// From 0.
        coil: usize,
        /// Duty.
        duty: f64,
    },
    /// Nobody saw it lift, or drop.
    Missed {
        /// From 0.
        coil: usize,
        /// True: it did lift.
        lifted: bool,
    },
    /// Its resistance.
    Measured(Measured),
    /// The heating test goes on to this.
    Test(TestStage),
    /// A row for the log.
    Logged(LogRow),
    /// The board does not report what is needed: over.
    Refused(&'static str),
}

/// A round over the coils.
pub trait Round {
    /// One frame. `say` gets what is new.
    fn step(&mut self, seen: &Seen<'_>, say: &mut dyn FnMut(Said)) -> Next;
}
