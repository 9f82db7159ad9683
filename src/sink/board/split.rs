//! One frame of a display to codes for the channels of each board.

use super::settings::Wiring;
use crate::budget::Duty;

/// Codes for the channels of one board, from duties in display order. Channels without a coil, and
/// coils without a duty, get 0.
pub fn codes<'a>(
    board: &'a Wiring,
    duties: &'a [Duty],
) -> impl ExactSizeIterator<Item = i32> + Clone + 'a {
    board.coils.iter().map(|coil| {
        let duty = coil.and_then(|coil| duties.get(usize::try_from(coil).unwrap_or(usize::MAX)));
        duty.map_or(0, |duty| duty.code())
    })
}
