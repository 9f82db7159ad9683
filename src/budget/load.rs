//! What the budget did, for meters, pictures and reports.

#![expect(clippy::indexing_slicing, reason = "all arrays hold one entry per coil or rail")]

/// What happened at the last frame, for meters, pictures and reports.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load<'a> {
    /// Modelled temperature of every node: coils, backings, enclosure where there is one.
    pub node_c: &'a [f64],
    /// Mean supply current per rail, A, counted as its limit is: with windings at 10 C (or the room,
    /// if colder) and each coil's power factor, so that the real current is no higher.
    pub rail_a: &'a [f64],
    /// Sizes of all wishes added up (in coils: 3.5 means three and a half coils' worth). The wish of
    /// a coil whose pull is known counts as the duty that it asks for.
    pub wished: f64,
    /// Sizes of all granted duties added up.
    pub granted: f64,
    /// Duty taken by heat, added up.
    pub cut_heat: f64,
    /// Duty taken by the rails.
    pub cut_rail: f64,
    /// Duty taken by the driver: wrong way for it, or finer than its steps.
    pub cut_driver: f64,
}

/// What every coil was wished, granted and denied so far: per coil, the sum over frames of the
/// size of its duty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Totals<'a> {
    /// Wished.
    pub wished: &'a [f64],
    /// Granted.
    pub granted: &'a [f64],
    /// Taken by heat: by slow gains, and by the limiter.
    pub cut_heat: &'a [f64],
    /// The part of that which slow gains took.
    pub eased: &'a [f64],
    /// Taken by the rails.
    pub cut_rail: &'a [f64],
    /// Taken by the driver: wrong way for it, or finer than its steps.
    pub cut_driver: &'a [f64],
}

/// What [`Load`] and [`Totals`] show.
#[derive(Debug, Clone)]
pub(super) struct Meters {
    pub(super) node_c: Vec<f64>,
    pub(super) rail_a: Vec<f64>,
    pub(super) frame: Sums,
    pub(super) counts: Counts<Vec<f64>>,
}

/// Duty added up over the coils of one frame.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sums {
    pub(super) wished: f64,
    pub(super) granted: f64,
    pub(super) cut_heat: f64,
    pub(super) cut_rail: f64,
    pub(super) cut_driver: f64,
}

/// Duty of each coil added up over all frames: lists that are kept, or such lists cut to one length.
#[derive(Debug, Clone)]
pub(super) struct Counts<L> {
    pub(super) wished: L,
    pub(super) granted: L,
    pub(super) cut_heat: L,
    pub(super) eased: L,
    pub(super) cut_rail: L,
    pub(super) cut_driver: L,
}

impl Meters {
    pub(super) fn new(node_c: Vec<f64>, coils: usize, rails: usize) -> Self {
        let zeros = vec![0.0; coils];
        let counts = Counts {
            wished: zeros.clone(),
            granted: zeros.clone(),
            cut_heat: zeros.clone(),
            eased: zeros.clone(),
            cut_rail: zeros.clone(),
            cut_driver: zeros,
        };
        Self { node_c, rail_a: vec![0.0; rails], frame: Sums::default(), counts }
    }
}

impl Counts<Vec<f64>> {
    /// For a loop over the first `coils` coils, which must be there.
    pub(super) fn cut_to(&mut self, coils: usize) -> Counts<&mut [f64]> {
        Counts {
            wished: &mut self.wished[..coils],
            granted: &mut self.granted[..coils],
            cut_heat: &mut self.cut_heat[..coils],
            eased: &mut self.eased[..coils],
            cut_rail: &mut self.cut_rail[..coils],
            cut_driver: &mut self.cut_driver[..coils],
        }
    }
}

/// Always inlined: so the sums of the frame stay in registers.
impl Counts<&mut [f64]> {
    /// Counts one coil that was granted what it asked of its driver: the size of its wish, and that
    /// duty. As [`cut`](Self::cut) with five times the same.
    #[inline(always)]
    pub(super) fn granted(&mut self, frame: &mut Sums, coil: usize, wished: f64, granted: f64) {
        let cut_driver = (wished - granted).max(0.0);
        frame.wished += wished;
        frame.granted += granted;
        frame.cut_driver += cut_driver;
        self.wished[coil] += wished;
        self.granted[coil] += granted;
        self.cut_driver[coil] += cut_driver;
    }

    /// Counts one coil: the size of its wish, and its duty as asked of the driver, as heat allows,
    /// as the driver makes that, as its rail feeds, as granted.
    #[inline(always)]
    pub(super) fn cut(&mut self, frame: &mut Sums, coil: usize, wished: f64, duties: [f64; 5]) {
        let [asked, cool, made, fed, granted] = duties;
        let cut_driver = (wished - asked).max(0.0) + (cool - made) + (fed - granted);
        frame.wished += wished;
        frame.granted += granted;
        frame.cut_driver += cut_driver;
        self.wished[coil] += wished;
        self.granted[coil] += granted;
        self.cut_driver[coil] += cut_driver;
        if granted < asked {
            frame.cut_heat += asked - cool;
            frame.cut_rail += made - fed;
            self.cut_heat[coil] += asked - cool;
            self.cut_rail[coil] += made - fed;
        }
    }

    /// Counts what a gain took before the driver was asked.
    #[inline(always)]
    pub(super) fn eased(&mut self, frame: &mut Sums, coil: usize, taken: f64) {
        if taken > 0.0 {
            frame.wished += taken;
            frame.cut_heat += taken;
            self.wished[coil] += taken;
            self.cut_heat[coil] += taken;
            self.eased[coil] += taken;
        }
    }
}
