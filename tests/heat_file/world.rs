//! A display that outlives the program that drives it, with a clock of its own.

use coilscore::budget::{Budget, BudgetSettings, Start};
use coilscore::run::heat_file::{Boot, KEPT_EVERY_S, Known, Moment, Record, Unknown, read};
use coilscore::units::{Celsius, Rate, Seconds, Share};

use super::nets::{Dice, display, worked_coil};
use super::plant::Plant;

pub(crate) const DIGEST: &str = "the display of these tests";
pub(crate) const FRAMES_PER_S: u32 = 20;

/// Where a run may leave its heat.
pub(crate) struct World {
    pub(crate) settings: BudgetSettings,
    pub(crate) plant: Plant,
    bound_c: Vec<f64>,
    pub(crate) file: Option<String>,
    pub(crate) now_s: f64,
    /// What the wall clock is off by.
    pub(crate) clock_off_s: f64,
    boot: u32,
    booted_s: f64,
    /// Whether the machine restarted during the last rest.
    pub(crate) rebooted: bool,
    /// Most by which a node passed its bound.
    pub(crate) over_k: f64,
    /// Duty granted, coil frames.
    pub(crate) granted: f64,
    pub(crate) frames: u64,
}

/// Three worked coils in a row that warm each other. No margins: one that is wrong shows.
pub(crate) fn row(coil_limit_c: f64, backing_limit_c: f64) -> BudgetSettings {
    let mut settings = display(FRAMES_PER_S, vec![worked_coil(coil_limit_c, backing_limit_c); 3]);
    settings.frame_rate = Rate::new(FRAMES_PER_S, 1).unwrap();
    settings.hold_s = Seconds(0.25);
    settings.knee_s = Seconds(0.3);
    for (a, b) in [(0, 1), (1, 2)] {
        settings.neighbours.push(coilscore::budget::Neighbours {
            a: coilscore::units::CoilId(a),
            b: coilscore::units::CoilId(b),
            coils: coilscore::units::WattsPerKelvin(0.01),
            backings: coilscore::units::WattsPerKelvin(0.1),
        });
    }
    settings
}

impl World {
    pub(crate) fn new(settings: BudgetSettings) -> Self {
        let bound_c = Budget::new(&settings).unwrap().bound_c().to_vec();
        Self {
            plant: Plant::new(&settings),
            settings,
            bound_c,
            file: None,
            now_s: 1.7e9,
            clock_off_s: 0.0,
            boot: 0,
            booted_s: 1.7e9 - 60.0,
            rebooted: false,
            over_k: f64::NEG_INFINITY,
            granted: 0.0,
            frames: 0,
        }
    }

    pub(crate) fn moment(&self) -> Moment {
        let ms = |s: f64| (s * 1000.0) as u64;
        let boot = Boot { id: self.boot.to_string(), up_ms: ms(self.now_s - self.booted_s) };
        Moment { unix_ms: Some(ms(self.now_s + self.clock_off_s)), boot: Some(boot) }
    }

    pub(crate) fn known(&self) -> Result<Known, Unknown> {
        let text = self.file.as_ref().ok_or(Unknown::Missing)?;
        read(text, DIGEST, &self.settings, &self.moment())
    }

    /// What the next run starts from.
    pub(crate) fn start(&self) -> Start {
        self.known().map_or(Start::Unknown, |known| Start::Nodes(known.node_c))
    }

    fn keep(&mut self, budget: &Budget, closed: bool) {
        let hold_ms = self.settings.hold_s.0 * 1000.0;
        let node_c = budget.load().node_c;
        let record = Record::new(DIGEST, "row", hold_ms, self.moment(), node_c);
        self.file = Some(if closed { record.closed() } else { record }.to_text());
    }

    /// Drives everything in full, then comes to an end: killed, or closed in good order. The board
    /// holds the last frame of a run that was killed, then goes off by itself.
    pub(crate) fn run(&mut self, frames: u64, killed: bool) {
        let settings = BudgetSettings { start: self.start(), ..self.settings.clone() };
        let mut budget = Budget::new(&settings).unwrap();
        self.keep(&budget, false);
        let (frame_s, wishes) = (1.0 / f64::from(FRAMES_PER_S), vec![Share::ALL; 3]);
        let every = (KEPT_EVERY_S * f64::from(FRAMES_PER_S)) as u64;
        let mut codes = vec![0; 3];
        for frame in 1..=frames {
            for (code, duty) in codes.iter_mut().zip(budget.permit(&wishes)) {
                *code = duty.code();
            }
            self.granted += budget.load().granted;
            self.frames += 1;
            self.hold(&codes, frame_s);
            if frame.is_multiple_of(every) {
                self.keep(&budget, false);
            }
        }
        if killed {
            self.hold(&codes, self.settings.hold_s.0);
        } else {
            budget.settle();
            self.keep(&budget, true);
            // At worst the board misses the last word.
            self.hold(&codes, self.settings.hold_s.0);
        }
    }

    /// Nothing is driven; the machine may be switched off and on meanwhile.
    pub(crate) fn rest(&mut self, span_s: f64, reboots: bool) {
        self.hold(&[0; 3], span_s);
        self.rebooted = reboots;
        if reboots {
            self.boot += 1;
            self.booted_s = self.now_s - span_s / 2.0;
        }
    }

    fn hold(&mut self, codes: &[i32], span_s: f64) {
        let (bound_c, room_c) = (&self.bound_c, self.settings.room.0);
        let mut over_k = self.over_k;
        self.plant.hold(codes, span_s, |rise| {
            for (rise, bound_c) in rise.iter().zip(bound_c) {
                over_k = over_k.max(room_c + rise - bound_c);
            }
        });
        self.over_k = over_k;
        self.now_s += span_s;
    }

    pub(crate) fn plant_c(&self) -> Vec<f64> {
        self.plant.rise.iter().map(|rise| self.settings.room.0 + rise).collect()
    }

    /// By how much the model that starts now would be cooler than the plant, at worst.
    pub(crate) fn too_cool_k(&self) -> f64 {
        let settings = BudgetSettings { start: self.start(), ..self.settings.clone() };
        let budget = Budget::new(&settings).unwrap();
        let each = self.plant_c().into_iter().zip(budget.load().node_c.to_vec());
        each.map(|(plant, model)| plant - model).fold(f64::NEG_INFINITY, f64::max)
    }
}

/// Spans of time from `low_s` to `high_s`, short ones as likely as long ones.
pub(crate) fn span_s(dice: &mut Dice, low_s: f64, high_s: f64) -> f64 {
    low_s * (high_s / low_s).powf(dice.unit())
}

/// Any temperatures, for records.
pub(crate) fn celsius(node_c: &[f64]) -> Vec<Celsius> {
    node_c.iter().copied().map(Celsius).collect()
}
