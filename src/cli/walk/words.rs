//! What a walk says on its way.

use coilscore::mapper::Place;
use coilscore::preset::{CoilName, Display, Names, counted};
use coilscore::run::walk::{Mark, Measured, Said, TestStage, Verdict};

use super::Args;

/// Names and places of the coils of a display.
pub(super) struct Words {
    names: Names,
    places: Vec<Place>,
}

const TOUR: &str = "\
Keys: space next, b back, r repeat, + stronger, - weaker; d dead, s shorted, w another coil moves
(type its number first), g good after all; q ends. A coil that hums without moving, or warms at
once, is shorted: press s, which switches it off, and do not repeat it.
";

const LIFT: &str = "\
Keys: space when the fluid lifts, space again when it drops; r repeat, b back, n skip, q ends.
Look along the glass; the same eye and the same fluid for all coils.
";

const MEASURE: &str = "\
Each coil is first driven weakly, then as strongly as its heat allows. Keys: q ends.
";

const LOG: &str = "\
One coil is warmed on purpose, within its limits as the display file has them, and then cools; short
pulses read its resistance on the way. Stay with it, with a thermometer on magnet, glue and tank; q
ends it, and the log so far stays. Nothing may blow on the coil or lean on it meanwhile.
";

impl Words {
    pub(super) fn new(display: &Display, names: Names) -> Self {
        let places = display.blocks.iter().flat_map(|block| block.place.value.places()).collect();
        Self { names, places }
    }

    /// What will happen, and the keys for it.
    pub(super) fn intro(&self, args: &Args) -> String {
        let keys = match () {
            () if args.measure => MEASURE,
            () if args.log.log.is_some() => LOG,
            () if args.lift => LIFT,
            () => TOUR,
        };
        let dry =
            if args.dry_run { "dry run: nothing is driven, nothing is written\n" } else { "" };
        let coils = counted(self.places.len(), "coil");
        format!("{}: {coils}, one at a time\n{dry}{keys}", self.names.display)
    }

    /// One thing, on a line of its own; nothing for what is told elsewhere.
    pub(super) fn of(&self, said: &Said) -> String {
        let told = match said {
            Said::Turn { coil, share } => self.turn(*coil, *share),
            Said::Marked { coil, mark } => match mark {
                Some(mark) => format!("  {}: {}", self.label(*coil), mark_words(*mark)),
                None => format!("  {}: good", self.label(*coil)),
            },
            Said::Strength(share) => format!("  duty {share:.2} from here on"),
            Said::HeldBack { granted, .. } => {
                format!("  held at {granted:.3} by heat or supply: let it cool and press r")
            }
            Said::Lifted { duty, .. } => format!("  lifted at {duty:.3}; going down"),
            Said::Dropped { duty, .. } => format!("  dropped at {duty:.3}"),
            Said::Missed { lifted: false, .. } => "  not seen to lift".into(),
            Said::Missed { lifted: true, .. } => "  not seen to drop".into(),
            Said::Measured(measured) => self.measured(measured),
            Said::Test(stage) => format!("  {}", stage_words(*stage)),
            Said::Refused(_) | Said::Logged(_) => return String::new(),
        };
        told + "\n"
    }

    fn label(&self, coil: usize) -> &str {
        self.names.coils.get(coil).map_or("", |name| name.label.as_str())
    }

    fn turn(&self, coil: usize, share: f64) -> String {
        let place = self.places.get(coil).map(|place| (place.x_mm.0, place.y_mm.0));
        // Adding nothing turns -0 into 0.
        let at = place.map_or_else(String::new, |(x, y)| {
            format!("[{:.0}, {:.0}] mm", x.round() + 0.0, y.round() + 0.0)
        });
        let duty = if share > 0.0 { format!(", duty {share:.2}") } else { String::new() };
        let wire = self.names.coils.get(coil).map_or_else(String::new, wire_words);
        format!("{:<12} {wire}, at {at}{duty}", self.label(coil))
    }

    fn measured(&self, measured: &Measured) -> String {
        let Measured { coil, ohms, expected_ohms, coil_c, duty, verdict } = *measured;
        let ([cold, warm], [cold_c, warm_c]) = (expected_ohms, coil_c);
        let expected = match warm_c - cold_c {
            span_c if span_c < 5.0 => format!("expected {warm:.2} at {warm_c:.0} C"),
            _ => format!("expected {cold:.2} to {warm:.2} ({cold_c:.0} to {warm_c:.0} C)"),
        };
        let figures = match verdict {
            Verdict::Open => format!("open, {expected} ohm"),
            _ => format!("{ohms:.2} ohm, {expected}"),
        };
        let verdict = match verdict {
            Verdict::Good | Verdict::Open => "",
            Verdict::Shorted => ", SHORTED",
            Verdict::Drifting => ", DRIFTING",
        };
        // Below full duty the inductance of the file counts too.
        let duty = if duty < 0.99 { format!(" (at duty {duty:.2})") } else { String::new() };
        let wire = self.names.coils.get(coil).map_or_else(String::new, wire_words);
        format!("{:<12} {wire}: {figures}{verdict}{duty}", self.label(coil))
    }
}

/// What a stage of the heating test does.
fn stage_words(stage: TestStage) -> &'static str {
    match stage {
        TestStage::Rest => "nothing is driven: what the board draws by itself",
        TestStage::Cold => "cold: reading the resistance",
        TestStage::Surge => "heating: as much as the limits grant",
        TestStage::Steady => "heating: steady",
        TestStage::Cooling => "cooling",
    }
}

/// `board 0, channel 3`.
pub(super) fn wire_words(name: &CoilName) -> String {
    format!("board {}, channel {}", name.board, name.channel)
}

/// What a mark means.
pub(super) fn mark_words(mark: Mark) -> String {
    match mark {
        Mark::Dead => "dead".into(),
        Mark::Shorted => "shorted".into(),
        Mark::Swapped(None) => "another coil moves".into(),
        Mark::Swapped(Some(number)) => format!("number {number} moves instead"),
    }
}
