//! Where everything lies on the page: pure geometry, so that a test can point at a pixel.

use super::PictureError;
use super::axes::ValueAxis;
use super::canvas::Rect;
use super::timeline::Timeline;

/// Size of the picture in pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// Width.
    pub width: u32,
    /// Height.
    pub height: u32,
}

impl Default for Size {
    fn default() -> Self {
        Self { width: 1600, height: 1200 }
    }
}

/// Smaller pictures cannot hold their labels.
pub const SMALLEST: Size = Size { width: 900, height: 800 };
/// Larger ones are refused: 200 megabytes of pixels.
pub const LARGEST: Size = Size { width: 8192, height: 8192 };

/// More rails than this are drawn as rows of colour instead of lines.
pub const MOST_RAIL_LINES: usize = 4;

/// Places and scales of one picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// Size of text and strokes relative to a page of 1600 by 1200.
    pub scale: f64,
    /// The page.
    pub page: Rect,
    /// Band levels.
    pub levels: Rect,
    /// Duty per coil.
    pub duty: Rect,
    /// Temperatures.
    pub heat: Rect,
    /// Supply currents.
    pub supply: Rect,
    /// Wishes and cuts.
    pub wishes: Rect,
    /// Time at the right edge, s.
    pub length_s: f64,
    /// Columns of the timeline that fill the plots, with a fraction for a part-filled last one.
    pub columns: f64,
    coil_rows: usize,
    coils_per_row: usize,
    level_rows: usize,
    bands_per_level: usize,
}

impl Layout {
    /// For this song on a page of this size.
    ///
    /// # Errors
    /// [`PictureError::Size`] for pages outside [`SMALLEST`] to [`LARGEST`].
    pub fn new(song: &Timeline, size: Size) -> Result<Self, PictureError> {
        let fits = |got: u32, low: u32, high: u32| (low..=high).contains(&got);
        if !fits(size.width, SMALLEST.width, LARGEST.width)
            || !fits(size.height, SMALLEST.height, LARGEST.height)
        {
            return Err(PictureError::Size { width: size.width, height: size.height });
        }
        let (width, height) = (f64::from(size.width), f64::from(size.height));
        let scale = (width / 1600.0).min(height / 1200.0).max(0.7);
        let page = Rect { left: 0.0, top: 0.0, right: width, bottom: height };
        let left = (118.0 * scale).round();
        let right = width - (212.0 * scale).round();
        let [levels, duty, heat, supply, wishes] =
            stack(&page, (left, right), scale, song.about().rails.len());
        let columns = song.frames() as f64 / song.frames_per_column() as f64;
        // A song without frames still gets its axes.
        let empty = song.frames() == 0;
        Ok(Self {
            scale,
            page,
            levels,
            duty,
            heat,
            supply,
            wishes,
            length_s: if empty { 1.0 } else { song.length().0 },
            columns: if empty { 1.0 } else { columns },
            coil_rows: song.coil_rows(),
            coils_per_row: song.coils_per_row(),
            level_rows: song.level_rows(),
            bands_per_level: song.bands_per_level(),
        })
    }

    /// Where a time lies.
    pub fn x_of(&self, time_s: f64) -> f64 {
        self.duty.left + time_s / self.length_s * self.duty.width()
    }

    /// Where the middle of a column lies.
    pub fn x_of_column(&self, column: usize) -> f64 {
        // The last column may be filled in part only.
        let end = (column as f64 + 1.0).min(self.columns);
        self.duty.left + (column as f64 + end) / 2.0 / self.columns * self.duty.width()
    }

    /// Middle of the row of a coil: coil 0 at the bottom.
    pub fn y_of_coil(&self, coil: usize) -> f64 {
        row_middle(&self.duty, coil / self.coils_per_row, self.coil_rows)
    }

    /// Middle of the row of a band: the first at the bottom.
    pub fn y_of_band(&self, band: usize) -> f64 {
        row_middle(&self.levels, band / self.bands_per_level, self.level_rows)
    }

    /// Scale of the temperatures, C.
    pub fn heat_axis(&self, song: &Timeline) -> ValueAxis {
        let mut low = song.about().room_c;
        let mut high = low;
        for column in song.columns() {
            let nodes = column.winding.iter().chain(&column.backing);
            let values = nodes
                .flat_map(|node| [node.now_c, node.bound_c, node.limit_c])
                .map(f64::from)
                .chain(column.enclosure_c)
                .filter(|c| c.is_finite());
            for value in values {
                low = low.min(value);
                high = high.max(value);
            }
        }
        if !(low.is_finite() && high.is_finite()) {
            (low, high) = (20.0, 30.0);
        }
        ValueAxis::new((low / 5.0 - 0.5).floor() * 5.0, (high / 5.0 + 0.5).ceil() * 5.0, self.heat)
    }
}

fn row_middle(rect: &Rect, row: usize, rows: usize) -> f64 {
    rect.bottom - (row as f64 + 0.5) / rows.max(1) as f64 * rect.height()
}

/// Panels from top to bottom, their heights by weight, on whole pixels.
fn stack(page: &Rect, (left, right): (f64, f64), scale: f64, rails: usize) -> [Rect; 5] {
    const HEADER: f64 = 104.0;
    const HEADING: f64 = 30.0;
    const TICKS: f64 = 12.0;
    const FOOTER: f64 = 50.0;
    let extra_rails = rails.clamp(1, MOST_RAIL_LINES) as f64 - 1.0;
    let weights = [0.22, 0.29, 0.21, 0.12 + 0.04 * extra_rails, 0.15];
    let fixed = (HEADER + FOOTER + 5.0 * (HEADING + TICKS)) * scale;
    let room = (page.height() - fixed) / weights.iter().sum::<f64>();
    let mut top = HEADER * scale;
    weights.map(|weight| {
        top += HEADING * scale;
        let rect = Rect { left, right, top: top.round(), bottom: (top + weight * room).round() };
        top += weight * room + TICKS * scale;
        rect
    })
}
