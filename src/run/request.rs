//! Any request, not music, put through the budget: for finding out what a display can stand.
//!
//! A request is a table: time in seconds, then one duty per coil, -1 to 1. Each row holds until
//! the next; the last holds for one frame. The answer is a table with one row per frame.

use std::io::{Read, Write};

use thiserror::Error;

use crate::budget::{Budget, BudgetError, BudgetSettings};
use crate::units::Share;

/// Far above any request written by hand or script; keeps a wrong path from filling the memory.
const LARGEST_BYTES: u64 = 64 << 20;

/// Why a request could not be run.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum RequestError {
    /// A row or field is not what it should be.
    #[error("line {line}: {problem}")]
    Row {
        /// Line in the table, from 1.
        line: u64,
        /// What is wrong and what would be accepted.
        problem: String,
    },
    /// No row at all.
    #[error("the request holds no row: write the time in s, then one duty per coil")]
    Empty,
    /// Longer than any request, or not a table at all.
    #[error("the request is longer than 64 MiB: ask for less at a time")]
    TooLong,
    /// The coils' limits make no sense.
    #[error(transparent)]
    Budget(#[from] BudgetError),
    /// The table could not be read.
    #[error("reading the request: {0}")]
    Read(std::io::Error),
    /// The answer could not be written.
    #[error("writing the answer: {0}")]
    Write(#[from] std::io::Error),
}

/// One row of a request.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// From when it holds, s.
    pub time_s: f64,
    /// One per coil.
    pub wishes: Vec<Share>,
}

/// What was answered, in short.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Answered {
    /// Frames, each a row of the answer.
    pub frames: u32,
    /// Of all duty asked, the share that was granted, 0 to 1; 1 when nothing was asked.
    pub granted_share: f64,
    /// Of all duty asked, the shares taken by heat, by a rail and by the driver.
    pub cut_shares: [f64; 3],
    /// Rows that no frame fell on: the next one came sooner than a frame lasts.
    pub unheard_rows: usize,
    /// First frame time at which heat or a rail took something, s.
    pub first_cut_s: Option<f64>,
}

/// Reads a request for `coils` coils. A first line of names, with no number in it, is skipped.
///
/// # Errors
/// Names the line and the column for the first row that is not a time and `coils` duties, or
/// whose time does not come after the one before.
pub fn read(table: impl Read, coils: usize) -> Result<Vec<Row>, RequestError> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(table.take(LARGEST_BYTES));
    let mut rows: Vec<Row> = Vec::new();
    for (index, record) in reader.records().enumerate() {
        let record = record.map_err(unreadable)?;
        let line = record.position().map_or(0, csv::Position::line);
        // A row with a number in it is a row, perhaps one with a slip of the pen.
        let is_number = |field: &str| field.parse::<f64>().is_ok();
        let names =
            index == 0 && !record.iter().any(|field| is_number(field) || field.contains(';'));
        if !names {
            rows.push(row(&record, line, coils, rows.last())?);
        }
    }
    if reader.get_ref().limit() == 0 {
        return Err(RequestError::TooLong);
    }
    if rows.is_empty() { Err(RequestError::Empty) } else { Ok(rows) }
}

fn unreadable(error: csv::Error) -> RequestError {
    let line = error.position().map_or(0, csv::Position::line);
    match error.into_kind() {
        csv::ErrorKind::Io(error) => RequestError::Read(error),
        _ => RequestError::Row { line, problem: "not text in UTF-8; save the table as CSV".into() },
    }
}

fn row(
    record: &csv::StringRecord,
    line: u64,
    coils: usize,
    before: Option<&Row>,
) -> Result<Row, RequestError> {
    let refuse = |problem| Err(RequestError::Row { line, problem });
    if record.len() != coils + 1 {
        return refuse(format!(
            "{} fields; the display's number of coils is {coils}: a time and as many duties make {}",
            record.len(),
            coils + 1
        ));
    }
    let mut fields = record.iter();
    let time = fields.next().unwrap_or_default();
    let Some(time_s) = time.parse::<f64>().ok().filter(|t| (0.0..=86_400.0).contains(t)) else {
        let first = if before.is_none() { "; a first line of names holds no numbers" } else { "" };
        return refuse(format!("time '{time}' is not 0 to 86400 s{first}"));
    };
    if before.is_some_and(|row| row.time_s >= time_s) {
        return refuse(format!("time {time_s} s does not come after the row before"));
    }
    let mut wishes = Vec::with_capacity(coils);
    for (coil, field) in fields.enumerate() {
        match field.parse::<f64>().ok().and_then(Share::new) {
            Some(share) => wishes.push(share),
            None => {
                return refuse(format!(
                    "duty '{field}' of coil {coil} (counted from 0) is not -1 to 1"
                ));
            }
        }
    }
    Ok(Row { time_s, wishes })
}

/// Runs `rows` through a budget built from `settings` and writes the answer as CSV: `time_s`,
/// `duty_N` per coil, `coil_c_N`, `backing_c_N`, `enclosure_c` where there is one, `rail_a_N` per
/// rail, and what was cut from all coils together: `cut_heat`, `cut_rail`, `cut_driver`. Temperatures are the model's as the frame was granted; it advances every heat tick (up to
/// four frames, no more than 20 ms).
///
/// # Errors
/// When the settings are refused or `answer` cannot be written.
pub fn answer(
    rows: &[Row],
    settings: &BudgetSettings,
    answer: &mut dyn Write,
) -> Result<Answered, RequestError> {
    let mut budget = Budget::new(settings)?;
    let end_s = rows.last().map_or(0.0, |row| row.time_s);
    let mut out = csv::Writer::from_writer(answer);
    write_names(&mut out, settings)?;
    let (mut asked, mut granted, mut first_cut_s) = (0.0, 0.0, None);
    let (mut cuts, mut unheard_rows) = ([0.0; 3], 0);
    let mut frames = 0;
    let mut row = 0;
    loop {
        let time_s = settings.frame_rate.time_of(u64::from(frames)).0;
        if time_s > end_s + 1e-9 {
            break;
        }
        let due = rows.iter().skip(row).take_while(|next| next.time_s <= time_s + 1e-9).count();
        unheard_rows += due.saturating_sub(1);
        row += due;
        let wishes = row.checked_sub(1).and_then(|now| rows.get(now));
        budget.permit(wishes.map_or(&[], |row| row.wishes.as_slice()));
        let load = budget.load();
        asked += load.wished;
        granted += load.granted;
        for (cut, now) in cuts.iter_mut().zip([load.cut_heat, load.cut_rail, load.cut_driver]) {
            *cut += now;
        }
        if first_cut_s.is_none() && load.cut_heat + load.cut_rail > 0.0 {
            first_cut_s = Some(time_s);
        }
        write_frame(&mut out, time_s, &budget, settings)?;
        frames += 1;
    }
    out.flush()?;
    let granted_share = if asked > 0.0 { granted / asked } else { 1.0 };
    let cut_shares = cuts.map(|cut| if asked > 0.0 { cut / asked } else { 0.0 });
    Ok(Answered { frames, granted_share, cut_shares, unheard_rows, first_cut_s })
}

type Csv<'a> = csv::Writer<&'a mut dyn Write>;

fn write_names(out: &mut Csv<'_>, settings: &BudgetSettings) -> Result<(), RequestError> {
    let numbered = |name: &str, count: usize| {
        let name = name.to_owned();
        (0..count).map(move |index| format!("{name}_{index}"))
    };
    let coils = settings.coils.len();
    out.write_field("time_s").map_err(unwritable)?;
    let columns = numbered("duty", coils)
        .chain(numbered("coil_c", coils))
        .chain(numbered("backing_c", coils))
        .chain(settings.enclosure.is_some().then(|| "enclosure_c".to_owned()))
        .chain(numbered("rail_a", settings.rails.len()))
        .chain(["cut_heat", "cut_rail", "cut_driver"].map(str::to_owned));
    for column in columns {
        out.write_field(column).map_err(unwritable)?;
    }
    out.write_record(None::<&[u8]>).map_err(unwritable)
}

fn write_frame(
    out: &mut Csv<'_>,
    time_s: f64,
    budget: &Budget,
    settings: &BudgetSettings,
) -> Result<(), RequestError> {
    let load = budget.load();
    let duties = budget.duties().iter().zip(&settings.coils);
    let duties = duties.map(|(duty, coil)| f64::from(duty.code()) / f64::from(coil.steps));
    out.write_field(format!("{time_s:.6}")).map_err(unwritable)?;
    for duty in duties {
        out.write_field(format!("{duty:.6}")).map_err(unwritable)?;
    }
    for celsius in load.node_c {
        out.write_field(format!("{celsius:.4}")).map_err(unwritable)?;
    }
    for amps in load.rail_a {
        out.write_field(format!("{amps:.5}")).map_err(unwritable)?;
    }
    for cut in [load.cut_heat, load.cut_rail, load.cut_driver] {
        out.write_field(format!("{cut:.5}")).map_err(unwritable)?;
    }
    out.write_record(None::<&[u8]>).map_err(unwritable)
}

fn unwritable(error: csv::Error) -> RequestError {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => RequestError::Write(error),
        other => RequestError::Write(std::io::Error::other(format!("{other:?}"))),
    }
}
