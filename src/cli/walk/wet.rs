//! The part of `walk` that drives something.

use coilscore::budget::Start;
use coilscore::preset::{Display, prepare_display};
use coilscore::run::walk::Reading;
use coilscore::sink::board::{LineState, Watch};

use super::{Args, Floor, Stand, conclude, found, walk};
use crate::cli::driving::{Stop, greet, line_settings, not_off};
use crate::cli::{Outcome, heat};

pub(super) fn wet(args: &Args, display: &Display) -> Outcome {
    let mut line = line_settings(&args.line, display, args.rate)?;
    // There is no sound to be spread: a frame is due when it comes.
    line.block_s = Some(0.0);
    let stop = Stop::new()?;
    // Declared first and so dropped last, on a panic too: coils are off before the last word on heat.
    let warmth;
    let mut board = greet(&line, &args.line.ports, &stop, false)?;
    warmth = heat::open(&args.heat, &args.display, display, args.rate, false)?;
    let numbers: Vec<u16> = line.boards.iter().map(|board| board.number).collect();
    let (_, names) = prepare_display(display, args.rate, Start::Unknown);
    let of_coil = names.coils.iter().map(|coil| numbers.iter().position(|n| *n == coil.board));
    let of_coil: Vec<usize> = of_coil.map(|at| at.unwrap_or(0)).collect();
    let watch = board.watch();
    let stand = Stand::new(args, display, &warmth)?;
    let mut floor = Floor {
        sink: &mut board,
        reading: &|coil| reading(&watch, of_coil.get(coil).copied().unwrap_or(0)),
        stop: &|| stop.is_wished(),
    };
    let walked = walk(args, stand, &mut floor);
    // All off before anything is written or told, and before the last word on heat.
    board.off_now();
    drop(board);
    let walked = walked.and_then(|(round, end)| {
        found::tell(args, display, &round, Some(&warmth))?;
        Ok(end)
    });
    drop(warmth);
    conclude(walked, not_off(&watch, &args.line.ports))
}

/// What the board with this place in the row of ports says.
fn reading(watch: &Watch, board: usize) -> Result<Reading, String> {
    let reports = watch.reports();
    if let Some(bad) = reports.iter().find(|report| report.state != LineState::Ready) {
        return Err(bad.sentence.as_deref().unwrap_or("it does not answer").to_owned());
    }
    let report = reports.get(board);
    let status = report.and_then(|report| report.status);
    Ok(Reading {
        count: report.map_or(0, |report| report.statuses),
        supply_v: status.and_then(|status| status.supply_v),
        supply_a: status.and_then(|status| status.supply_a),
        held: status
            .is_some_and(|status| status.clamping || status.too_hot || status.off_by_watchdog),
    })
}
