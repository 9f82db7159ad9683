//! A rendered song on one page.
//!
//! [`TimelineBuilder`] takes the packets of a duty file as they come and keeps a bounded number of
//! columns; [`Layout`] says where everything lies; [`draw()`] puts it on the page, one panel per
//! file: band levels, duty per coil, temperatures, supply currents, and what became of the wishes.
//! All panels share one time axis, so what belongs together stands in one line. [`draw_sheet()`] puts
//! the build sheet of a display on paper, [`curves::draw()`] any figures over one size,
//! [`draw_fit()`] a heating test beside its fit.
//!
//! The font is part of the program and strokes and rasters come from [`canvas`], so every machine
//! draws the same picture, byte for byte.

pub mod axes;
pub mod canvas;
pub mod colour;
pub mod column;
pub mod curves;
pub mod layout;
pub mod lift;
pub mod sheet;
pub mod text;
pub mod timeline;

mod draw;
mod fitted;
mod fluid;
mod page;
mod panel_duty;
mod panel_heat;
mod panel_levels;
mod panel_supply;
mod panel_wishes;
mod summary;

pub use draw::draw;
pub use fitted::{FitWords, draw_fit};
pub use layout::{Layout, Size};
pub use panel_duty::duty_scale;
pub use panel_levels::level_scale;
pub use sheet::draw_sheet;
pub use summary::{sentence, warnings};
pub use timeline::{Ending, Timeline, TimelineBuilder};

use thiserror::Error;

/// Why there is no picture.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PictureError {
    /// The head of the file contradicts itself.
    #[error("the head of the duty file is damaged: {reason}; render the song again")]
    Head {
        /// What it says, and what could be.
        reason: String,
    },
    /// Too small for its labels or too large.
    #[error(
        "a picture of {width} by {height} pixels cannot be drawn: choose 900 by 800 to 8192 by 8192"
    )]
    Size {
        /// As asked.
        width: u32,
        /// As asked.
        height: u32,
    },
    /// The picture could not be written.
    #[error("the picture could not be written: {0}; check that there is room where it should go")]
    Write(#[from] png::EncodingError),
}
