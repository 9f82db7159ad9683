//! What a heating test says about a coil: a log goes in, a thermal network with its errors comes out.
//!
//! The maker lets a coil warm under steady power and cool again, and logs time, voltage and current.
//! [`table`] reads what was logged, [`log`] makes readings of it: the winding is its own thermometer,
//! as copper's resistance says how warm it is. [`fit()`] looks for the heat capacities and thermal
//! resistances of winding and backing ([`network`]) that follow the readings best under the power that
//! was measured, and says how sure they are; [`mod@margin`] turns that into what the budget must leave as
//! a margin. [`inductance`] finds L from the supply current under PWM.
//!
//! Nothing here touches a file or knows about displays.

mod assess;
mod error;
mod fitting;
pub mod inductance;
mod least;
pub mod log;
pub mod margin;
mod model;
pub mod network;
mod starts;
pub mod table;

pub use error::FitError;
pub use fitting::{Curve, Fitted, Point, Settings, Value, fit};
pub use log::Log;
pub use margin::{Margin, Systematic, margin};
pub use network::TwoNodes;
