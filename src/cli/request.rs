//! `coilscore budget --try`: any request put through the limiter.

use coilscore::shown::Shown as _;
use std::fs::File;
use std::io::{BufReader, BufWriter, ErrorKind, Write};
use std::path::Path;

use coilscore::budget::{Budget, BudgetSettings};
use coilscore::run::request::{self, Answered, RequestError, Row};
use coilscore::sink::part::Part;

use super::{Failure, Outcome, inputs, tell};

/// Refuses an answer that would be written over what is read: the request, the duty file of the song
/// before, the display, its heat.
pub(super) fn keep_apart(display: &Path, path: &Path, start: &str, out: Option<&Path>) -> Outcome {
    let outputs: Vec<&Path> = out.into_iter().collect();
    inputs::keep_apart(&[path, Path::new(start)], &outputs)?;
    inputs::keep_off_display(display, &outputs)
}

/// Reads the request, runs it, writes the answer to `out` or to standard output.
pub(super) fn answer(path: &Path, out: Option<&Path>, settings: &BudgetSettings) -> Outcome {
    let at = |error: RequestError| format!("{}: {error}", path.shown());
    let table = File::open(path)
        .map_err(|error| Failure::Failed(format!("{}: {error}; check the path", path.shown())))?;
    // What is refused is refused before a file is made.
    Budget::new(settings).map_err(Failure::refused)?;
    let rows = request::read(BufReader::new(table), settings.coils.len());
    let rows = rows.map_err(|error| match error {
        RequestError::Read(_) => Failure::Failed(at(error)),
        _ => Failure::Refused(at(error)),
    })?;
    let answered = match out {
        Some(out) => into_file(out, &rows, settings)?,
        None => match request::answer(&rows, settings, &mut std::io::stdout().lock()) {
            // A reader that has closed the pipe has seen enough.
            Err(RequestError::Write(error)) if error.kind() == ErrorKind::BrokenPipe => {
                return Ok(());
            }
            answered => answered.map_err(Failure::failed)?,
        },
    };
    say(&answered);
    Ok(())
}

fn into_file(out: &Path, rows: &[Row], settings: &BudgetSettings) -> Result<Answered, Failure> {
    let (part, file) = Part::create(out).map_err(Failure::failed)?;
    let mut buffered = BufWriter::new(&file);
    let answered = request::answer(rows, settings, &mut buffered).and_then(|answered| {
        buffered.flush()?;
        part.settle(&file)?;
        Ok(answered)
    });
    answered.map_err(|error| {
        part.discard();
        Failure::Failed(format!("{}: {error}; is there room?", out.shown()))
    })
}

fn say(answered: &Answered) {
    let [heat, rail, driver] = answered.cut_shares.map(|share| share * 100.0);
    let first = match answered.first_cut_s {
        Some(first_s) => format!("first cut by heat or supply at {first_s:.2} s"),
        None => "heat and supply cut nothing".into(),
    };
    tell(&format!(
        "{} frames; granted {:.1} %, cut by heat {heat:.1} %, by supply {rail:.1} %, by driver \
         {driver:.1} %; {first}",
        answered.frames,
        answered.granted_share * 100.0
    ));
    if answered.unheard_rows > 0 {
        tell(&format!(
            "{} rows fell between two frames and were not heard: give a higher --rate",
            answered.unheard_rows
        ));
    }
}
