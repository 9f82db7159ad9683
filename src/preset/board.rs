//! A display as its driver boards see it.

use super::display::Display;
use crate::frame::Packing;
use crate::frame::pack::NoPacking;
use crate::frame::wire::limits::Limit;
use crate::sink::board::{BoardSettings, Wiring};
use crate::units::Rate;

/// Which channel of which board drives which coil, and what boards must be like to be driven.
///
/// Channels without a coil are held to 0 by their limits too; the others are not tightened.
///
/// # Errors
///
/// When no packing holds the driver's codes.
pub fn board_settings(display: &Display, rate: Rate) -> Result<BoardSettings, NoPacking> {
    let driver = &display.driver;
    let mut boards: Vec<Wiring> = display
        .boards()
        .into_iter()
        .map(|(number, channels)| {
            let channels = usize::try_from(channels).unwrap_or(0);
            Wiring { number, coils: vec![None; channels], limits: vec![Limit::OFF; channels] }
        })
        .collect();
    let wired = display.blocks.iter().flat_map(|block| {
        block.channels.value.iter().map(move |channel| (block.board, usize::from(*channel)))
    });
    let open = Limit { most: driver.steps, mean_most: driver.steps };
    for (coil, (number, channel)) in (0..).zip(wired) {
        let Some(board) = boards.iter_mut().find(|board| board.number == number) else { continue };
        let slots = board.coils.get_mut(channel).zip(board.limits.get_mut(channel));
        if let Some((slot, limit)) = slots {
            (*slot, *limit) = (Some(coil), open);
        }
    }
    Ok(BoardSettings {
        rate,
        steps: driver.steps,
        two_way: driver.two_way(),
        packing: Packing::narrowest(&display.coil_runs())?,
        pwm_hz: driver.pwm_hz.as_ref().map_or(0, |pwm| whole(pwm.value)),
        hold_ms: u16::try_from(whole(driver.hold_ms)).unwrap_or(u16::MAX),
        baud: display.link.as_ref().map(|link| whole(link.baud.value)),
        window_s: 0,
        block_s: None,
        late_s: BoardSettings::late_for(driver.hold_ms),
        boards,
    })
}

/// Rounded down: a board may hold a frame for less, and be slower, than was written.
#[expect(clippy::cast_possible_truncation, reason = "saturates")]
#[expect(clippy::cast_sign_loss, reason = "quantities of a display are not negative")]
fn whole(value: f64) -> u32 {
    value as u32
}
