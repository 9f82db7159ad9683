//! What one look at the engine shows, and its bytes for pages.
//!
//! Little-endian, in this order: `u8` 1 (what follows is a look), `u8` flags (bit 0: quiet), `u16`
//! coils, `u16` numbers about routes, `u16` columns of the spectrum, `u16` rails, `u16` nodes, `u32`
//! number of the edit at work, `u32` frame, `f64` s of sound heard, `u32` late blocks, `u32` looks that
//! nobody took, `f32` longest engine time of a frame, us, `f32` level, dBFS. Then `f32` each: duty,
//! wish, fluid of every coil; its cuts by heat, by rail, by driver; temperature of every node; current
//! of every rail; input and output of every band of every route; level of every column, dBFS.

use crate::budget::Totals;
use crate::engine::Step;

/// Numbers about routes that a look has room for: 64 routes of 16 bands. Bands beyond are not shown.
const ROUTE_ROOM: usize = 2048;

/// The state of the engine at a frame, and what was cut since the look before.
#[derive(Debug, Clone, Default)]
pub(super) struct Glance {
    pub(super) frame: u32,
    pub(super) quiet: bool,
    pub(super) edit: u32,
    pub(super) heard_instants: u64,
    pub(super) worked_us: f32,
    pub(super) level_dbfs: f32,
    pub(super) missed: u32,
    pub(super) duties: Vec<f32>,
    pub(super) wishes: Vec<f32>,
    /// By heat, by rail, by driver: mean duty taken from each coil, one after the other.
    pub(super) cuts: [Vec<f32>; 3],
    pub(super) node_c: Vec<f32>,
    pub(super) rail_a: Vec<f32>,
    /// Input and output of each band of each route.
    pub(super) routes: Vec<f32>,
}

/// What a display has, for the room a look needs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sizes {
    pub(super) coils: usize,
    pub(super) nodes: usize,
    pub(super) rails: usize,
}

impl Glance {
    /// Takes all memory that it will ever need.
    pub(super) fn new(sizes: Sizes) -> Self {
        let coils = || Vec::with_capacity(sizes.coils);
        Self {
            duties: coils(),
            wishes: coils(),
            cuts: [coils(), coils(), coils()],
            node_c: Vec::with_capacity(sizes.nodes),
            rail_a: Vec::with_capacity(sizes.rails),
            routes: Vec::with_capacity(ROUTE_ROOM),
            ..Self::default()
        }
    }

    /// Looks at a frame; `steps` of the driver make a full duty, `cuts` were taken over `frames`.
    /// Takes no memory.
    pub(super) fn look(&mut self, step: &Step<'_>, steps: f32, cuts: &mut Cuts, frames: f64) {
        self.frame = step.number;
        self.quiet = step.heard.quiet;
        self.level_dbfs = step.heard.overall_dbfs;
        refill(&mut self.duties, step.duties.iter().map(|duty| code(duty.code()) / steps));
        refill(&mut self.wishes, step.wishes.iter().map(|wish| narrow(wish.get())));
        refill(&mut self.node_c, step.load.node_c.iter().map(|&it| narrow(it)));
        refill(&mut self.rail_a, step.load.rail_a.iter().map(|&it| narrow(it)));
        let each = step.mapper.inputs().zip(step.mapper.routes());
        let bands = each.flat_map(|(inputs, outputs)| inputs.iter().zip(outputs));
        refill(&mut self.routes, bands.flat_map(|(&i, &o)| [narrow(i), narrow(o)]));
        cuts.since(&step.totals, &mut self.cuts, frames);
    }

    /// As pages read it.
    pub(super) fn bytes(&self, more: &More<'_>) -> Vec<u8> {
        let short = |length: usize| u16::try_from(length).unwrap_or(u16::MAX).to_le_bytes();
        let mut out =
            Vec::with_capacity(64 + 4 * (7 * self.duties.len() + self.routes.len() + 256));
        out.extend([1, u8::from(self.quiet)]);
        out.extend(short(self.duties.len()));
        out.extend(short(self.routes.len()));
        out.extend(short(more.spectrum.len()));
        out.extend(short(self.rail_a.len()));
        out.extend(short(self.node_c.len()));
        out.extend(self.edit.to_le_bytes());
        out.extend(self.frame.to_le_bytes());
        out.extend(more.heard_s.to_le_bytes());
        out.extend(more.late.to_le_bytes());
        out.extend(self.missed.to_le_bytes());
        out.extend(self.worked_us.to_le_bytes());
        out.extend(self.level_dbfs.to_le_bytes());
        let [heat, rail, driver] = &self.cuts;
        let lists: [&[f32]; 10] = [
            &self.duties,
            &self.wishes,
            more.fluid,
            heat,
            rail,
            driver,
            &self.node_c,
            &self.rail_a,
            &self.routes,
            more.spectrum,
        ];
        out.extend(lists.into_iter().flatten().flat_map(|value| value.to_le_bytes()));
        out
    }
}

/// What is added to a look on its way to the pages.
#[derive(Debug, Clone, Copy)]
pub(super) struct More<'a> {
    pub(super) heard_s: f64,
    pub(super) late: u32,
    pub(super) fluid: &'a [f32],
    pub(super) spectrum: &'a [f32],
}

/// Running totals of what was cut, as of the last look.
#[derive(Debug)]
pub(super) struct Cuts {
    before: [Vec<f64>; 3],
}

impl Cuts {
    pub(super) fn new(coils: usize) -> Self {
        Self { before: std::array::from_fn(|_| vec![0.0; coils]) }
    }

    fn since(&mut self, totals: &Totals<'_>, out: &mut [Vec<f32>; 3], frames: f64) {
        let now = [totals.cut_heat, totals.cut_rail, totals.cut_driver];
        for ((before, now), out) in self.before.iter_mut().zip(now).zip(out) {
            let taken = before.iter_mut().zip(now).map(|(before, &now)| {
                let taken = now - *before;
                *before = now;
                narrow(taken / frames.max(1.0))
            });
            refill(out, taken);
        }
    }
}

/// Within the room there is.
fn refill(list: &mut Vec<f32>, values: impl Iterator<Item = f32>) {
    list.clear();
    let room = list.capacity();
    list.extend(values.take(room));
}

#[expect(clippy::cast_possible_truncation, reason = "for eyes")]
fn narrow(value: f64) -> f32 {
    value as f32
}

fn code(code: i32) -> f32 {
    code as f32
}

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::disallowed_methods,
    reason = "tests stop at the first surprise"
)]
mod tests {
    use super::*;

    #[test]
    fn bytes_lie_where_the_description_says() {
        let glance = Glance {
            frame: 7,
            quiet: true,
            edit: 3,
            duties: vec![0.5, -0.25],
            wishes: vec![1.0, 0.0],
            cuts: [vec![0.1, 0.0], vec![0.0, 0.2], vec![0.0, 0.0]],
            node_c: vec![30.0; 4],
            rail_a: vec![1.5],
            routes: vec![0.25, 0.75],
            ..Glance::default()
        };
        let more =
            More { heard_s: 1.25, late: 9, fluid: &[0.4, 0.3], spectrum: &[-20.0, -30.0, -40.0] };
        let bytes = glance.bytes(&more);
        let at = |from: usize| bytes.get(from..from + 4).map(|it| [it[0], it[1], it[2], it[3]]);
        let float = |index: usize| at(44 + 4 * index).map(f32::from_le_bytes);
        assert_eq!(bytes[..12], [1, 1, 2, 0, 2, 0, 3, 0, 1, 0, 4, 0]);
        assert_eq!(at(12).map(u32::from_le_bytes), Some(3));
        assert_eq!(at(16).map(u32::from_le_bytes), Some(7));
        assert_eq!(bytes[20..28], 1.25_f64.to_le_bytes());
        assert_eq!(at(28).map(u32::from_le_bytes), Some(9));
        assert_eq!(
            (float(0), float(1), float(2), float(4)),
            (Some(0.5), Some(-0.25), Some(1.0), Some(0.4))
        );
        assert_eq!((float(6), float(9)), (Some(0.1), Some(0.2)));
        assert_eq!((float(12), float(16), float(17)), (Some(30.0), Some(1.5), Some(0.25)));
        assert_eq!(float(21), Some(-40.0));
        assert_eq!(bytes.len(), 44 + 22 * 4);
    }
}
