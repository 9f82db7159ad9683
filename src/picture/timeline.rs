//! The data of one picture: a song of any length in a bounded number of columns.
//!
//! Nobody has to say how long the song is. Columns start one frame wide; when there would be more
//! than [`MAX_COLUMNS`], neighbours are joined in pairs and every column covers twice the frames.

use crate::frame::{
    BandHead, CoilRun, Gained, Head, HeldBack, Meter, NodeMeter, RailHead, RecordedCode, Tail,
};
use crate::units::{Rate, Seconds};

use super::PictureError;
use super::column::{Asked, CoilCell, Column, closest};
use super::fluid::Fluid;

/// No timeline has more columns.
pub const MAX_COLUMNS: usize = 1400;
/// No timeline has more rows of coils or bands; beyond that neighbours share a row.
pub const MAX_ROWS: usize = 300;

/// How the file ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// With its last packet.
    Whole,
    /// Without: what is there is good, but there should be more.
    CutShort,
}

/// What the head says, as the picture needs it.
#[derive(Debug, Clone, PartialEq)]
pub struct About {
    /// Name of the display.
    pub display: String,
    /// Name of the mapping.
    pub mapping: String,
    /// Frames per second.
    pub rate: Rate,
    /// How far each frame is sent ahead of its sound.
    pub lead: Seconds,
    /// Coils with the same driver, in display order.
    pub runs: Vec<CoilRun>,
    /// Number of coils.
    pub coils: usize,
    /// True when a coil can push both ways.
    pub two_way: bool,
    /// Bands, low to high.
    pub bands: Vec<BandHead>,
    /// Rails.
    pub rails: Vec<RailHead>,
    /// Room temperature, C.
    pub room_c: f64,
    /// What the heat model assumed at the start.
    pub start: String,
}

/// A whole song, ready to be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Timeline {
    pub(super) about: About,
    pub(super) frames: u64,
    pub(super) frames_per_column: u64,
    pub(super) columns: Vec<Column>,
    pub(super) ending: Ending,
    /// How late the fluid is against the sound, s, where the file says how it follows.
    pub(super) fluid_late_s: Option<f64>,
    pub(super) gained: Option<Gained>,
    pub(super) held_back: Option<HeldBack>,
}

/// Collects a [`Timeline`] packet by packet.
#[derive(Debug, Clone)]
pub struct TimelineBuilder {
    made: Timeline,
    coils_per_row: usize,
    bands_per_level: usize,
    /// First frame that no METER has covered yet.
    unmetered: u64,
    fluid: Option<Fluid>,
    /// Duties of the frame at hand.
    duties: Vec<f64>,
}

impl TimelineBuilder {
    /// For the file that starts with this head.
    ///
    /// # Errors
    /// [`PictureError::Head`] when the frame rate it states cannot be.
    pub fn new(head: &Head) -> Result<Self, PictureError> {
        let [num, den] = head.rate;
        let rate = Rate::new(num, den).ok_or_else(|| PictureError::Head {
            reason: format!("it states {num}/{den} frames per second; 1 to 1000 can be"),
        })?;
        let coils: u64 = head.coils.iter().map(|run| u64::from(run.count)).sum();
        let coils = usize::try_from(coils).unwrap_or(usize::MAX);
        let about = About {
            display: head.display.clone(),
            mapping: head.mapping.clone(),
            rate,
            lead: Seconds(f64::from(head.lead_us) * 1e-6),
            runs: head.coils.clone(),
            coils,
            two_way: head.coils.iter().any(|run| run.two_way && run.count > 0),
            bands: head.bands.clone(),
            rails: head.rails.clone(),
            room_c: head.room_c,
            start: head.start.clone(),
        };
        Ok(Self {
            coils_per_row: coils.div_ceil(MAX_ROWS).max(1),
            bands_per_level: head.bands.len().div_ceil(MAX_ROWS).max(1),
            unmetered: 0,
            fluid: Fluid::new(head, coils, rate),
            duties: Vec::new(),
            made: Timeline {
                about,
                frames: 0,
                frames_per_column: 1,
                columns: Vec::new(),
                ending: Ending::Whole,
                fluid_late_s: None,
                gained: None,
                held_back: None,
            },
        })
    }

    /// Takes in one DUTY packet: one code per coil in display order. Missing coils count as off.
    pub fn duty(&mut self, number: u64, codes: &[RecordedCode]) {
        let coils_per_row = self.coils_per_row;
        self.duties.clear();
        // The runs are lent out while a column is borrowed from the rest.
        let runs = std::mem::take(&mut self.made.about.runs);
        let mut duties = std::mem::take(&mut self.duties);
        if let Some(column) = self.column(number) {
            column.duty_frames += 1;
            let mut rows = column.coils.iter_mut();
            let mut row = rows.next();
            let mut in_row = 0;
            let mut codes = codes.iter();
            for run in &runs {
                let (scale, lowest) =
                    (1.0 / f64::from(run.steps.max(1)), if run.two_way { -1.0 } else { 0.0 });
                for code in codes.by_ref().take(run.count as usize) {
                    if in_row == coils_per_row {
                        row = rows.next();
                        in_row = 0;
                    }
                    in_row += 1;
                    if let Some(cell) = row.as_deref_mut() {
                        let duty = (f64::from(code.0) * scale).clamp(lowest, 1.0);
                        cell.add(duty);
                        duties.push(duty);
                    }
                }
            }
        }
        self.made.about.runs = runs;
        if let Some(height) = self.fluid.as_mut().map(|fluid| fluid.step(&duties))
            && let Some(column) = self.column(number)
        {
            column.fluid.add(height, height, 1.0);
        }
        self.duties = duties;
    }

    /// Takes in one METER packet: it covers the frames since the one before it.
    pub fn meter(&mut self, meter: &Meter) {
        let last = u64::from(meter.frame);
        let first = self.unmetered.min(last);
        self.unmetered = last + 1;
        self.reach(last);
        let per_column = self.made.frames_per_column;
        let bands_per_level = self.bands_per_level;
        let mut from = first;
        while from <= last {
            let to = ((from / per_column + 1) * per_column).min(last + 1);
            if let Some(column) = self.column(from) {
                column.add_meter(meter, bands_per_level, (to - from) as f64);
            }
            from = to;
        }
    }

    /// Takes in what the file says of its plan, with its last packet.
    pub fn planned(&mut self, tail: &Tail) {
        self.made.gained = tail.gained;
        self.made.held_back.clone_from(&tail.held_back);
    }

    /// The finished timeline.
    pub fn finish(mut self, ending: Ending) -> Timeline {
        self.made.ending = ending;
        self.made.fluid_late_s = self.fluid.as_ref().and_then(Fluid::late_s);
        self.made
    }

    fn column(&mut self, frame: u64) -> Option<&mut Column> {
        self.reach(frame);
        let index = usize::try_from(frame / self.made.frames_per_column).ok()?;
        self.made.columns.get_mut(index)
    }

    /// Makes room up to this frame.
    fn reach(&mut self, frame: u64) {
        let made = &mut self.made;
        made.frames = made.frames.max(frame.saturating_add(1));
        while made.frames.div_ceil(made.frames_per_column) > MAX_COLUMNS as u64 {
            made.halve();
        }
        let wanted = made.frames.div_ceil(made.frames_per_column);
        let wanted = usize::try_from(wanted).unwrap_or(MAX_COLUMNS);
        if made.columns.len() < wanted {
            let (rows, levels) = (
                made.about.coils.div_ceil(self.coils_per_row),
                made.about.bands.len().div_ceil(self.bands_per_level),
            );
            let rails = made.about.rails.len();
            made.columns.resize_with(wanted, || Column::empty(rows, levels, rails));
        }
    }
}

impl Timeline {
    fn halve(&mut self) {
        self.frames_per_column = self.frames_per_column.saturating_mul(2);
        let mut columns = std::mem::take(&mut self.columns).into_iter();
        while let Some(mut earlier) = columns.next() {
            if let Some(later) = columns.next() {
                earlier.join(&later);
            }
            self.columns.push(earlier);
        }
    }

    /// What the head said.
    pub fn about(&self) -> &About {
        &self.about
    }

    /// How late the fluid is against the sound, s; below 0: early. `None` where the file does not say
    /// how its fluid follows, or nothing moved.
    pub fn fluid_late_s(&self) -> Option<f64> {
        self.fluid_late_s
    }

    /// Number of frames, from 0 to the last that any packet named.
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// How many frames a column covers.
    pub fn frames_per_column(&self) -> u64 {
        self.frames_per_column
    }

    /// Columns in time order.
    pub fn columns(&self) -> &[Column] {
        &self.columns
    }

    /// Length of the song.
    pub fn length(&self) -> Seconds {
        self.about.rate.time_of(self.frames)
    }

    /// How many neighbouring coils share a row.
    pub fn coils_per_row(&self) -> usize {
        self.about.coils.div_ceil(MAX_ROWS).max(1)
    }

    /// Number of rows of coils.
    pub fn coil_rows(&self) -> usize {
        self.about.coils.div_ceil(self.coils_per_row())
    }

    /// How many neighbouring bands share a row.
    pub fn bands_per_level(&self) -> usize {
        self.about.bands.len().div_ceil(MAX_ROWS).max(1)
    }

    /// Number of rows of bands.
    pub fn level_rows(&self) -> usize {
        self.about.bands.len().div_ceil(self.bands_per_level())
    }

    /// Mean size of the duty of a row of coils during a column, -1 to 1; the sign is that of the
    /// greater part. `None` where the file holds no duty.
    pub fn duty_at(&self, column: usize, row: usize) -> Option<f64> {
        let column = self.columns.get(column)?;
        let cell: &CoilCell = column.coils.get(row)?;
        let per_row = self.coils_per_row();
        let coils = per_row.min(self.about.coils.saturating_sub(row * per_row)).max(1);
        let mean = cell.size_sum / (column.duty_frames as f64 * coils as f64);
        (column.duty_frames > 0).then_some(if cell.signed_sum < 0.0 { -mean } else { mean })
    }

    /// Wishes and what became of them over the whole song.
    pub fn asked(&self) -> Asked {
        let mut whole = Asked::default();
        self.columns.iter().for_each(|column| whole.join(&column.asked));
        whole
    }

    /// The winding that came closest to its bound, with the column in which it did.
    pub fn closest_winding(&self) -> Option<(usize, NodeMeter)> {
        self.closest_of(|column| column.winding)
    }

    /// The backing that came closest to its bound, with the column in which it did.
    pub fn closest_backing(&self) -> Option<(usize, NodeMeter)> {
        self.closest_of(|column| column.backing)
    }

    fn closest_of(&self, node: fn(&Column) -> Option<NodeMeter>) -> Option<(usize, NodeMeter)> {
        let nodes = self.columns.iter().enumerate().filter_map(|(at, c)| Some((at, node(c)?)));
        nodes.reduce(|best, next| match closest(Some(best.1), Some(next.1)) {
            Some(node) if node != best.1 => next,
            _ => best,
        })
    }
}
