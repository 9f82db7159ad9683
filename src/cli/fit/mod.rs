//! `coilscore fit`: what a heating test says about a coil, and into the display file with it.

mod bench;
mod hand;
mod report;
mod write;

use coilscore::shown::Shown as _;
use std::path::{Path, PathBuf};

use coilscore::coil::copper::resistance_at;
use coilscore::fit::log::Cold;
use coilscore::fit::{Fitted, Log, Settings, Systematic, TwoNodes, fit, table};
use coilscore::picture::{FitWords, draw_fit};
use coilscore::preset::Display;
use coilscore::preset::display::CoilType;
use coilscore::units::{Celsius, Ohms};

use super::{Failure, Outcome, inputs, print, tell, write_whole};

/// Flags as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Logged step test: cold, then steady power, then cooling; columns time_s, voltage_v and
    /// current_a (or resistance_ohm), ambient_c if logged
    #[arg(value_name = "LOG.csv", required_unless_present_any = ["by_hand", "inductance"])]
    log: Option<PathBuf>,
    /// Display file that holds the kind of coil (TOML)
    #[arg(long, value_name = "FILE", required_unless_present = "inductance")]
    display: Option<PathBuf>,
    /// The kind of coil that was tested; left out where there is only one
    #[arg(long, value_name = "NAME", conflicts_with = "coil")]
    coil_type: Option<String>,
    /// The coil that was tested, by its number in the display
    #[arg(long, value_name = "N")]
    coil: Option<usize>,
    /// Temperature of the cold coil, C, by a thermometer; left out: ambient_c before the drive
    #[arg(long, value_name = "C", allow_negative_numbers = true,
          value_parser = clap::value_parser!(Bounded<-30, 60>))]
    cold_c: Option<Bounded<-30, 60>>,
    /// Resistance of the cold coil, ohm, where the log does not begin with it
    #[arg(long, value_name = "OHM")]
    cold_ohm: Option<Above0>,
    /// How far the volt meter and the rail may differ, percent
    #[arg(long, value_name = "PERCENT", default_value = "2")]
    volts_error_percent: Bounded<0, 20>,
    /// How far the thermometer for the cold coil may be off, K
    #[arg(long, value_name = "K", default_value = "1")]
    cold_error_k: Bounded<0, 10>,
    /// Draw readings, fit and residuals
    #[arg(long, value_name = "FILE.png")]
    picture: Option<PathBuf>,
    /// Print the figures as JSON
    #[arg(long)]
    json: bool,
    /// Write the figures into the display file; comments stay
    #[arg(long, conflicts_with = "inductance")]
    write: bool,
    /// Type the readings of two meters and a clock instead of a log
    #[arg(long, conflicts_with_all = ["log", "inductance"])]
    by_hand: bool,
    /// Keep what is typed, line by line; a file that is there is continued
    #[arg(long, value_name = "LOG.csv", requires = "by_hand")]
    save: Option<PathBuf>,
    /// Find the inductance from the supply current under PWM
    #[arg(long, conflicts_with = "log", requires = "supply_v")]
    inductance: bool,
    #[command(flatten)]
    bench: bench::Args,
}

/// A number within whole bounds.
#[derive(Debug, Clone, Copy)]
struct Bounded<const LOW: i32, const HIGH: i32>(f64);

impl<const LOW: i32, const HIGH: i32> std::str::FromStr for Bounded<LOW, HIGH> {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let value = text.parse().ok().filter(|v| (f64::from(LOW)..=f64::from(HIGH)).contains(v));
        value.map(Self).ok_or_else(|| format!("write a number from {LOW} to {HIGH}"))
    }
}

/// A number above nothing.
#[derive(Debug, Clone, Copy)]
struct Above0(f64);

impl std::str::FromStr for Above0 {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let value = text.parse().ok().filter(|value: &f64| value.is_finite() && *value > 0.0);
        value.map(Self).ok_or_else(|| "write a number above 0".to_owned())
    }
}

/// What was tested, from where, and what came out.
struct Tested<'a> {
    display: &'a Display,
    kind: &'a CoilType,
    index: usize,
    source: String,
    fitted: Fitted,
}

impl Tested<'_> {
    /// The name alone: where the log lay on this machine is nobody's business.
    fn log_name(&self) -> String {
        let name = Path::new(&self.source).file_name();
        name.map_or_else(|| self.source.clone(), |name| name.to_string_lossy().into_owned())
    }
}

/// Fits, prints, draws, writes.
pub(super) fn run(args: &Args) -> Outcome {
    if args.inductance {
        return bench::run(&args.bench, args.json);
    }
    let Some(path) = &args.display else {
        return Err(Failure::Refused("name the display file with --display".into()));
    };
    let inputs: Vec<&Path> =
        [Some(path), args.log.as_ref()].into_iter().flatten().map(PathBuf::as_path).collect();
    let outputs: Vec<&Path> = [args.picture.as_ref(), args.save.as_ref()]
        .into_iter()
        .flatten()
        .map(PathBuf::as_path)
        .collect();
    inputs::keep_apart(&inputs, &outputs)?;
    inputs::keep_off_display(path, &outputs)?;
    let display = inputs::read_display(path, args.json)?;
    let index = kind_of(args, &display)?;
    let Some(kind) = display.coil_types.get(index) else {
        return Err(Failure::Refused(format!("{} holds no kind of coil", path.shown())));
    };
    let (text, source) = match &args.log {
        Some(log) => (read(log)?, log.shown()),
        None => match hand::readings(args.save.as_deref())? {
            Some(typed) => typed,
            None => return Ok(()),
        },
    };
    let fitted = fit_text(args, &text, &source, kind)
        .map_err(|why| Failure::Refused(format!("{source}: {why}")))?;
    let tested = Tested { display: &display, kind, index, source, fitted };
    let after = write::fitted_type(&tested);
    let new_text = write::with_figures(&display, &after)?;
    let duties = report::duties(&tested, &path.shown(), &new_text)?;
    if let Some(out) = &args.picture {
        let mut png = Vec::new();
        let words: FitWords = report::words(&tested, duties);
        draw_fit(&tested.fitted, &words, &mut png).map_err(Failure::failed)?;
        write_whole(out, &png)?;
    }
    let written = if args.write { Some(write::save(path, &display, &new_text)?) } else { None };
    if args.json {
        return print(&report::json(&tested, duties, written.is_some())?);
    }
    print(&report::text(&tested, duties))?;
    match written {
        Some(changes) => print(&format!("\nWritten into {}:\n{changes}", path.shown())),
        None => print("\nNothing was written; --write puts these figures into the display file.\n"),
    }
}

fn fit_text(
    args: &Args,
    text: &str,
    source: &str,
    kind: &CoilType,
) -> Result<Fitted, coilscore::fit::FitError> {
    let table = table::read(text)?;
    if !table.ignored.is_empty() {
        tell(&format!("not used: column {}", table.ignored.join(", ")));
    }
    let cold = Cold { celsius: args.cold_c.map(|c| c.0), ohm: args.cold_ohm.map(|ohm| ohm.0) };
    let (ohm, reference) = (Ohms(kind.resistance_ohm), Celsius(kind.reference_c));
    let log = Log::new(&table, cold, |c| Some(resistance_at(ohm, reference, Celsius(c)).0))?;
    if let Some(sentence) = left_out(&log.unusable) {
        tell(&format!("{source}: {sentence}"));
    }
    let direct = kind.coil_to_around_k_per_w.map_or(0.0, f64::recip);
    let settings = Settings {
        coil_to_around_w_per_k: direct,
        known: Some(TwoNodes {
            coil_j_per_k: kind.coil_j_per_k,
            coil_to_backing_k_per_w: kind.coil_to_backing_k_per_w,
            backing_j_per_k: kind.backing_j_per_k,
            backing_to_around_k_per_w: kind.backing_to_around_k_per_w,
            coil_to_around_w_per_k: direct,
        }),
        systematic: Systematic {
            volts_percent: args.volts_error_percent.0,
            cold_k: args.cold_error_k.0,
        },
    };
    fit(&log, &settings)
}

/// Lines of a log that are told one by one.
const LINES_TOLD: usize = 5;

fn left_out(lines: &[usize]) -> Option<String> {
    let told: Vec<String> = lines.iter().take(LINES_TOLD).map(usize::to_string).collect();
    let told = told.join(", ");
    let more = match lines.len().saturating_sub(LINES_TOLD) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    match lines {
        [] => None,
        [line] => Some(format!("line {line} holds no usable numbers and is left out")),
        _ => Some(format!("lines {told}{more} hold no usable numbers and are left out")),
    }
}

/// Index of the kind of coil that was tested.
fn kind_of(args: &Args, display: &Display) -> Result<usize, Failure> {
    let names: Vec<&str> = display.coil_types.iter().map(|kind| kind.name.value.as_str()).collect();
    let listed = names.join("\", \"");
    if let Some(number) = args.coil {
        let mut first = 0;
        for block in &display.blocks {
            first += block.channels.value.len();
            if number < first {
                return Ok(block.coil_type);
            }
        }
        return Err(Failure::Refused(format!(
            "--coil {number}: \"{}\" has coils 0 to {}",
            display.name,
            first.saturating_sub(1)
        )));
    }
    match &args.coil_type {
        Some(name) => names.iter().position(|known| known == name).ok_or_else(|| {
            Failure::Refused(format!(
                "--coil-type \"{name}\": \"{}\" has \"{listed}\"",
                display.name
            ))
        }),
        None if names.len() == 1 => Ok(0),
        None => Err(Failure::Refused(format!(
            "say with --coil-type which kind was tested: \"{}\" has \"{listed}\"",
            display.name
        ))),
    }
}

/// Far above any log that is taken.
const LARGEST_BYTES: u64 = 32 << 20;

fn read(path: &Path) -> Result<String, Failure> {
    use std::io::Read;
    let failed = |why: String| Failure::Failed(format!("{}: {why}", path.shown()));
    let mut bytes = Vec::new();
    let file = std::fs::File::open(path).map_err(|why| failed(format!("{why}; check the path")))?;
    let read = file.take(LARGEST_BYTES + 1).read_to_end(&mut bytes);
    read.map_err(|why| failed(why.to_string()))?;
    if bytes.len() as u64 > LARGEST_BYTES {
        return Err(Failure::Refused(format!(
            "{}: larger than 32 MiB: no log of a heating test needs that",
            path.shown()
        )));
    }
    // A degree sign in another code is no reason to refuse numbers.
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

#[cfg(test)]
mod tests {
    use super::left_out;

    #[test]
    fn lines_that_are_left_out_are_named() {
        assert_eq!(left_out(&[]), None);
        let one = left_out(&[7]);
        assert_eq!(one.as_deref(), Some("line 7 holds no usable numbers and is left out"));
        let two = left_out(&[7, 9]);
        assert_eq!(two.as_deref(), Some("lines 7, 9 hold no usable numbers and are left out"));
        let many = left_out(&[1, 2, 3, 4, 5, 6, 8]);
        let words = "lines 1, 2, 3, 4, 5 and 2 more hold no usable numbers and are left out";
        assert_eq!(many.as_deref(), Some(words));
    }
}
