//! METER packets as a table: temperatures, rail currents, levels and cuts over time, for
//! spreadsheets and scripts. CSV as in [`table`](super::table).
//!
//! | column | what |
//! | --- | --- |
//! | `frame`, `time_s` | last frame that the row covers, and when it is due |
//! | `quiet` | 1 when the sound counted as quiet, else 0 |
//! | `wished`, `granted`, `cut_heat`, `cut_rail`, `cut_driver` | mean over the frames, added up over the coils, in coils |
//! | `winding`, `winding_c`, `winding_bound_c`, `winding_limit_c` | winding closest to its bound: coil number, now, bound, limit |
//! | `backing`, `backing_c`, `backing_bound_c`, `backing_limit_c` | backing closest to its bound: the same |
//! | `enclosure_c` | enclosure; the room where there is none |
//! | `rail_0_NAME_mean_a`, `rail_0_NAME_peak_a`, `rail_1`... | mean and highest frame current of each rail, A |
//! | `band_0_CHANNEL_LOW_HIGH_hz_dbfs`, `band_1`... | highest level of each band, dBFS |
//!
//! In the name of a rail, whatever is no letter or digit becomes `_`. Numbers have the fewest
//! digits that read back to the same single precision value.

use std::fmt::{Display, Write as _};
use std::io::Write;

use super::table::{TableError, push_number, push_time};
use super::{Head, Meter, NodeMeter};
use crate::units::Rate;

const COLUMNS: &str = "frame,time_s,quiet,wished,granted,cut_heat,cut_rail,cut_driver,\
                       winding,winding_c,winding_bound_c,winding_limit_c,\
                       backing,backing_c,backing_bound_c,backing_limit_c,enclosure_c";

/// Writes the table to anything that takes bytes. Takes no memory for a row once the longest has
/// passed.
#[derive(Debug)]
pub struct MeterTable<W> {
    out: W,
    rate: Rate,
    line: String,
}

impl<W: Write> MeterTable<W> {
    /// Writes the first line, for the rails and bands of `head`.
    ///
    /// # Errors
    ///
    /// The file under it.
    pub fn new(out: W, rate: Rate, head: &Head) -> Result<Self, TableError> {
        let mut line = String::from(COLUMNS);
        for (number, rail) in head.rails.iter().enumerate() {
            let name = plain(&rail.name);
            line.push_str(&format!(",rail_{number}_{name}_mean_a,rail_{number}_{name}_peak_a"));
        }
        for (number, band) in head.bands.iter().enumerate() {
            let (channel, low, high) = (plain(&band.channel), band.low_hz, band.high_hz);
            line.push_str(&format!(",band_{number}_{channel}_{low:.0}_{high:.0}_hz_dbfs"));
        }
        let mut table = Self { out, rate, line };
        table.end_line()?;
        Ok(table)
    }

    /// One row.
    ///
    /// # Errors
    ///
    /// The file under it.
    pub fn meter(&mut self, meter: &Meter) -> Result<(), TableError> {
        self.line.clear();
        push_number(&mut self.line, meter.frame.into(), 1);
        self.line.push(',');
        push_time(&mut self.line, self.rate, meter.frame);
        self.push(u8::from(meter.quiet));
        self.push_all(&[meter.wished, meter.granted]);
        self.push_all(&[meter.cut_heat, meter.cut_rail, meter.cut_driver]);
        self.push_node(meter.coil);
        self.push_node(meter.backing);
        self.push(meter.enclosure_c);
        for (mean, peak) in meter.rail_mean_a.iter().zip(&meter.rail_peak_a) {
            self.push_all(&[*mean, *peak]);
        }
        self.push_all(&meter.band_dbfs);
        self.end_line()
    }

    /// Flushes and gives back what lies under it.
    ///
    /// # Errors
    ///
    /// The file under it.
    pub fn finish(mut self) -> Result<W, TableError> {
        self.out.flush()?;
        Ok(self.out)
    }

    fn push_node(&mut self, node: NodeMeter) {
        self.push(node.coil);
        self.push_all(&[node.now_c, node.bound_c, node.limit_c]);
    }

    fn push_all(&mut self, values: &[f32]) {
        values.iter().for_each(|&value| self.push(value));
    }

    fn push(&mut self, value: impl Display) {
        // Writing to a String cannot fail.
        let _ = write!(self.line, ",{value}");
    }

    fn end_line(&mut self) -> Result<(), TableError> {
        self.line.push('\n');
        self.out.write_all(self.line.as_bytes())?;
        Ok(())
    }
}

/// A name that needs no quotes in a table and that scripts can use as it is.
fn plain(name: &str) -> String {
    name.chars().map(|c| if c.is_alphanumeric() { c } else { '_' }).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;
    use crate::frame::{BandHead, CoilRun, Packing, RailHead};

    fn head() -> Head {
        let rail = |name: &str| RailHead { name: name.into(), volts: 12.0, limit_a: 4.0 };
        let band = |low_hz, high_hz| BandHead {
            low_hz,
            high_hz,
            channel: "mid".into(),
            weighting: crate::frame::UNWEIGHTED.into(),
            delay_s: 0.02,
        };
        Head {
            version: crate::frame::record::FORMAT,
            rate: [200, 1],
            lead_us: 0,
            lag: None,
            arith: "native".into(),
            coils: vec![CoilRun { count: 9, steps: 255, two_way: false }],
            packing: Packing::Byte,
            display: "invented".into(),
            mapping: "invented".into(),
            display_digest: String::new(),
            mapping_digest: String::new(),
            sound_rate_hz: 48_000,
            sound_channels: 2,
            room_c: 25.0,
            start: "cold".into(),
            gains: Vec::new(),
            bands: vec![band(40.0, 120.4), band(120.4, 1000.0)],
            rails: vec![rail("left, \"12 V\""), rail("größer")],
        }
    }

    #[test]
    fn every_field_has_its_column() {
        let mut table = MeterTable::new(Vec::new(), Rate::new(200, 1).unwrap(), &head()).unwrap();
        let node = |coil, now_c| NodeMeter { coil, now_c, bound_c: 51.5, limit_c: 60.0 };
        let meter = Meter {
            frame: 11,
            quiet: true,
            band_dbfs: vec![-3.25, f32::NEG_INFINITY],
            coil: node(3, 40.1),
            backing: node(8, 33.0),
            enclosure_c: 25.5,
            rail_mean_a: vec![1.0, 2.0],
            rail_peak_a: vec![1.5, 2.5],
            wished: 6.5,
            granted: 3.0,
            cut_heat: 2.0,
            cut_rail: 1.0,
            cut_driver: 0.5,
        };
        table.meter(&meter).unwrap();
        let text = String::from_utf8(table.finish().unwrap()).unwrap();
        let mut rows = text.lines().map(|line| line.split(',').collect::<Vec<_>>());
        let (names, cells) = (rows.next().unwrap(), rows.next().unwrap());
        let read: Vec<_> = names.into_iter().zip(cells).collect();
        let expected = [
            ("frame", "11"),
            ("time_s", "0.055000"),
            ("quiet", "1"),
            ("wished", "6.5"),
            ("granted", "3"),
            ("cut_heat", "2"),
            ("cut_rail", "1"),
            ("cut_driver", "0.5"),
            ("winding", "3"),
            ("winding_c", "40.1"),
            ("winding_bound_c", "51.5"),
            ("winding_limit_c", "60"),
            ("backing", "8"),
            ("backing_c", "33"),
            ("backing_bound_c", "51.5"),
            ("backing_limit_c", "60"),
            ("enclosure_c", "25.5"),
            ("rail_0_left___12_V__mean_a", "1"),
            ("rail_0_left___12_V__peak_a", "1.5"),
            ("rail_1_größer_mean_a", "2"),
            ("rail_1_größer_peak_a", "2.5"),
            ("band_0_mid_40_120_hz_dbfs", "-3.25"),
            ("band_1_mid_120_1000_hz_dbfs", "-inf"),
        ];
        assert_eq!(read, expected);
        assert_eq!(rows.next(), None);
    }
}
