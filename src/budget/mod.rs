//! Wishes to duties: what each coil may do inside its heat, its driver and its supply.
//!
//! Nothing reaches a coil that has not passed through here: only this module can make a [`Duty`].
//! One frame goes through [`Budget::permit`] like this:
//!
//! ```text
//! wish -> drive   compare value asked for, in the driver's own steps, rounded toward off: a share of
//!                 full duty, or of the pull on the fluid where that is known; none for a pulse that
//!                 is too short, or while a bridge rests before it turns (turns)
//!      -> limiter no higher than what keeps every node of the thermal network inside its box
//!      -> rails   lowered further, by priority, where a supply is short, starts or rises too fast
//!      -> Duty    and what it heats goes into the model (heat over network)
//! ```
//!
//! No wish, however large or long, takes the model past its bounds, and a wish up to the floor is
//! always granted. That is proved for the model; the margin and the power factor of each coil
//! stand between the model and the real thing, whose figures are only known within limits.
//!
//! Before all that may stand a slow gain per coil (ease): led by the heat so far (rider), or found for
//! a whole song ([`plan()`] from a [`Rehearsal`]). It keeps the limiter from flattening what is loudest,
//! and loosens nothing.
//!
//! [`report()`] runs the same stage over a display at full wish and says what it allows; [`rested()`]
//! says how warm everything is at most after a time of which little is known.

mod check;
mod clamp;
mod drive;
mod duty;
mod ease;
mod heat;
mod limiter;
mod load;
mod network;
mod permit;
mod plan;
mod rails;
mod rehearsal;
mod report;
mod rested;
mod rider;
mod rises;
mod settings;
mod turns;

pub use check::BudgetError;
pub use clamp::Clamp;
pub use drive::{Pull, PullFault, PullRange, PullReport, PullSettings, pull_fault, pull_reports};
pub use duty::Duty;
pub use load::{Load, Totals};
pub use network::Node;
pub use permit::Budget;
pub use plan::{Plan, plan};
pub use rehearsal::Rehearsal;
pub use report::{Binds, CoilReport, InTheEnd, RailReport, Report, report};
pub use rested::rested;
pub use settings::{
    BudgetSettings, CoilBudget, CoilHeat, Enclosure, Neighbours, Polarity, Rail, Start,
};
