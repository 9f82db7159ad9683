//! The command as a user runs it: log in, text, picture and display file out.

use std::path::PathBuf;
use std::process::{Command, Output};

use tempfile::TempDir;

use super::bench::Bench;

/// An invented display with remarks in it.
pub(crate) const DISPLAY: &str = r#"# ours, on the bench
schema = 1
name = "two kinds"     # invented
room_c = 28

[driver]
pwm_hz = 22000
steps = 4095
polarity = "one_way"
hold_ms = 250

[[rail]]
name = "main"
volts = 12
limit_a = 8

[[coil_type]]
name = "other"
resistance_ohm = 30
coil_j_per_k = 3
backing_j_per_k = 30
coil_to_backing_k_per_w = 2
backing_to_around_k_per_w = 10

[[coil_type]]
name = "spiral"          # the flat ones
resistance_ohm = 9.4     # by the drawing
coil_j_per_k = 5
backing_j_per_k = 20     # a guess
coil_to_backing_k_per_w = 2
backing_to_around_k_per_w = 18
# glue ends at 80
backing_limit_c = 60
trust = "estimate"       # until it is tested

[[coils]]
group = "one"
type = "other"
rail = "main"
board = 0
first_channel = 0
place.line = { count = 2, from_mm = [0, 0], to_mm = [40, 0] }

[[coils]]
group = "two"
type = "spiral"
rail = "main"
board = 0
first_channel = 2
place.line = { count = 2, from_mm = [0, 40], to_mm = [40, 40] }
"#;

pub(crate) struct Desk {
    dir: TempDir,
}

impl Desk {
    pub(crate) fn new() -> Self {
        let desk = Self { dir: TempDir::new().unwrap() };
        std::fs::write(desk.path("display.toml"), DISPLAY).unwrap();
        std::fs::write(desk.path("log.csv"), Bench::worked().csv(11)).unwrap();
        desk
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    pub(crate) fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap()
    }

    pub(crate) fn command(&self, args: &str) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_coilscore"));
        command.args(args.split(' ')).current_dir(self.dir.path());
        command
    }

    fn run(&self, args: &str) -> Output {
        self.command(args).output().unwrap()
    }

    fn said(&self, args: &str) -> String {
        let output = self.run(args);
        assert!(output.status.success(), "{args}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }

    fn refused(&self, args: &str) -> String {
        let output = self.run(args);
        assert_eq!(output.status.code(), Some(2), "{args}");
        String::from_utf8(output.stderr).unwrap()
    }
}

const BASE: &str = "fit log.csv --display display.toml --coil-type spiral --cold-c 21.5";

#[test]
fn figures_go_into_the_display_and_comments_stay() {
    let desk = Desk::new();
    let told = desk.said(BASE);
    for part in [
        "winding to backing, K/W",
        "std error",
        "Time constants",
        "Duty for ever",
        "Heat  ",
        "over the backing",
        "234.5",
        "Nothing was written",
        "the backing to 92 C, over its limit of 60 C",
    ] {
        assert!(told.contains(part), "'{part}' is not in:\n{told}");
    }
    assert_eq!(desk.read("display.toml"), DISPLAY, "nothing may be written unasked");
    let told = desk.said(&format!("{BASE} --write --picture fit.png"));
    assert!(told.contains("- resistance_ohm = 9.4     # by the drawing"), "{told}");
    let new = desk.read("display.toml");
    let changed = new.lines().filter(|line| !DISPLAY.lines().any(|old| old == *line)).count();
    assert_eq!(changed, 8, "six figures (one new), trust and a remark:\n{new}");
    for comment in [
        "# ours, on the bench",
        "# invented",
        "# the flat ones",
        "# by the drawing",
        "# a guess",
        "# glue ends at 80",
        "# until it is tested",
    ] {
        assert!(new.contains(comment), "{comment} is lost:\n{new}");
    }
    assert!(new.contains(" to the heating test log.csv\nresistance_ohm = 10.0"), "{new}");
    let display = coilscore::preset::display::read("display.toml", &new).unwrap();
    let kind = &display.coil_types[1];
    let near = |value: f64, real: f64| (value / real - 1.0).abs() < 0.03;
    assert!(near(kind.coil_j_per_k, 4.0) && near(kind.backing_j_per_k, 25.0), "{kind:?}");
    assert!(near(kind.coil_to_backing_k_per_w, 2.5), "{kind:?}");
    assert!(near(kind.backing_to_around_k_per_w, 15.0), "{kind:?}");
    let coilscore::preset::display::Trust::Fit { margin_percent, power_percent } = kind.trust
    else {
        panic!("not trusted as fitted: {kind:?}");
    };
    assert!((2.0..8.0).contains(&margin_percent) && power_percent == 4.1, "{kind:?}");
    // A file of a picture is there and has its size.
    let png = std::fs::File::open(desk.path("fit.png")).unwrap();
    let picture =
        image::io::Reader::with_format(std::io::BufReader::new(png), image::ImageFormat::Png);
    assert_eq!(picture.into_dimensions().unwrap(), (1600, 1200));
    // Once more with what is there now: the remark does not pile up.
    desk.said(&format!("{BASE} --write"));
    assert_eq!(desk.read("display.toml"), new);
}

#[test]
fn json_says_the_same() {
    let desk = Desk::new();
    let told = desk.said("fit log.csv --display display.toml --coil 2 --cold-c 21.5 --json");
    let json: serde_json::Value = serde_json::from_str(&told).unwrap();
    assert_eq!(json["coil_type"], "spiral");
    let figure = json["coil_j_per_k"]["value"].as_f64().unwrap();
    assert!((figure / 4.0 - 1.0).abs() < 0.03, "{figure}");
    let (now, then) = (&json["duty_alone_now"], &json["duty_alone_fitted"]);
    // Over 15 K/W instead of 18, and with a margin of a few per cent instead of 25: more duty.
    assert!(then.as_f64().unwrap() > 1.2 * now.as_f64().unwrap(), "{now} {then}");
    assert!(json["duty_together_fitted"].as_f64().unwrap() > 0.0, "{json}");
    assert_eq!(json["written"], false);
    assert!(json["cautions"].as_str().unwrap().contains("hot"), "{json}");
}

#[test]
fn what_cannot_be_is_refused_in_a_sentence() {
    let desk = Desk::new();
    for (args, part) in [
        ("fit log.csv --display display.toml --cold-c 21.5", "which kind was tested"),
        (
            "fit log.csv --display display.toml --coil-type flat --cold-c 21.5",
            "has \"other\", \"spiral\"",
        ),
        ("fit log.csv --display display.toml --coil 4 --cold-c 21.5", "coils 0 to 3"),
        ("fit log.csv --display display.toml --coil-type spiral", "--cold-c"),
        ("fit log.csv --display display.toml --coil-type other --cold-c 21.5", "half to twice"),
        ("fit log.csv --display display.toml --coil-type spiral --cold-c 2000", "-30 to 60"),
        ("fit log.csv --display display.toml --picture log.csv", "would be overwritten"),
        ("fit --display display.toml", "LOG.csv"),
        ("fit --inductance --supply-v 12 --ohm 10 --pwm-hz 5000 --supply-a 0.1", "not more than"),
    ] {
        let told = desk.refused(args);
        assert!(told.contains(part), "{args} says:\n{told}");
    }
}

#[test]
fn inductance_from_the_command_line() {
    let desk = Desk::new();
    // x = 13.4 / (880e-6 * 5000) = 3.0455; h(1/2, x) = 1/2 - (1 - e^(-x/2))^2 / (x (1 - e^-x)),
    // which is 1/2 - tanh(x/4)/x = 0.287637; times 12 V / 13.4 ohm.
    let amps = (0.5 - (3.045_454_5_f64 / 4.0).tanh() / 3.045_454_5) * 12.0 / 13.4;
    let told = desk.said(&format!(
        "fit --inductance --supply-v 12 --ohm 13.4 --pwm-hz 5000 --supply-a {amps}"
    ));
    assert!(told.contains("inductance 880.0 uH"), "{told}");
    assert!(told.contains("Caution"), "{told}");
}
