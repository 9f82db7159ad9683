//! The frames of all songs once more, from the spool, under gains.

use super::first::{Made, Song, Songs};
use super::spool::{Frame, Reading};
use super::tally::Tally;
use super::{RenderError, RenderJob};
use crate::budget::{Budget, BudgetSettings, Plan, Rehearsal, Start};
use crate::engine::EngineError;
use crate::frame::Head;
use crate::run::ends::{start_word, tail_of};
use crate::run::meter::Metering;
use crate::run::pump::Flow;
use crate::sink::Sink;
use crate::sink::file::DutyFile;
use crate::units::{Celsius, Share};

/// Frames between two looks at the hook.
const FRAMES_PER_LOOK: u32 = 4096;

/// Makes every file anew under `plan`, from the heat with which `job` starts.
pub(super) fn make(
    songs: &mut Songs,
    job: &RenderJob<'_>,
    plan: &Plan,
    hook: &mut dyn FnMut(usize, u64) -> Flow,
) -> Result<(), RenderError> {
    songs.forget();
    let mut start = job.start.clone();
    let Songs { songs: list, spool, rehearsal, tally, whole, .. } = songs;
    let mut reading = spool.read().map_err(RenderError::Spool)?;
    for (number, song) in list.iter_mut().enumerate() {
        // A file that is open cannot be begun anew.
        song.made.file = None;
        song.head.gains.clone_from(&plan.gains);
        song.head.start = start_word(&start).into();
        song.settings.start = start;
        let pass = Pass { reading: &mut reading, rehearsal, tally };
        let hook = &mut || hook(number, song.instants);
        let (made, done) = one(song, plan, pass, hook)?;
        start = Start::Nodes(made.tail.node_c.iter().copied().map(Celsius).collect());
        song.made = made;
        if !done {
            *whole = false;
            break;
        }
    }
    rehearsal.end();
    Ok(())
}

/// What one pass over the songs reads from and adds to.
struct Pass<'a, 'b> {
    reading: &'a mut Reading<'b>,
    rehearsal: &'a mut Rehearsal,
    tally: &'a mut Tally,
}

/// One song; false when the hook stopped it.
fn one(
    song: &Song,
    plan: &Plan,
    pass: Pass<'_, '_>,
    hook: &mut dyn FnMut() -> Flow,
) -> Result<(Made, bool), RenderError> {
    let Song { head, settings, .. } = song;
    let mut budget = Budget::new(settings).map_err(EngineError::from)?;
    budget.set_gains(&plan.gains);
    let mut metering = Metering::new(settings, head.bands.len());
    let mut file = DutyFile::create(&song.out, head)?;
    let mut frame = room_for(head, settings);
    let mut next = 0;
    let mut done = true;
    while next < song.frames {
        pass.reading.next(&mut frame).map_err(RenderError::Spool)?;
        file.duty(next, budget.permit(&frame.wishes))?;
        metering.take(next, frame.quiet, &frame.band_dbfs, &budget.load());
        pass.rehearsal.add(&budget);
        pass.tally.add(&frame.wishes, &budget);
        next += 1;
        // The last frame between two edges has its meter after it, as in the loop of all runs.
        if next < song.frames
            && let Some(meter) = metering.due(&budget)
        {
            file.meter(meter)?;
        }
        if next.is_multiple_of(FRAMES_PER_LOOK) && hook().is_break() {
            done = false;
            break;
        }
    }
    budget.settle();
    if let Some(meter) = metering.rest(&budget) {
        file.meter(meter)?;
    }
    file.off(next)?;
    let made = Made {
        tail: tail_of(&budget, next, song.instants, song.digest.clone()),
        eased: budget.totals().eased.to_vec(),
        peaks: metering.peaks(),
        file: Some(file),
    };
    Ok((made, done))
}

fn room_for(head: &Head, settings: &BudgetSettings) -> Frame {
    Frame {
        quiet: false,
        band_dbfs: vec![0.0; head.bands.len()],
        wishes: vec![Share::NONE; settings.coils.len()],
    }
}
