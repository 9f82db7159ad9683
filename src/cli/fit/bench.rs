//! `coilscore fit --inductance`: L from the supply current under PWM.

use coilscore::fit::inductance::{Bench, Errors, inductance};
use coilscore::units::{Amps, Hertz, Ohms, Volts};

use super::super::{Failure, Outcome, print};
use super::{Above0, Bounded};

/// Flags as typed.
#[derive(Debug, clap::Args)]
#[group(skip)]
pub(super) struct Args {
    /// Supply voltage at the driver, V
    #[arg(long, value_name = "V", requires_all = ["inductance", "ohm", "pwm_hz", "supply_a"])]
    supply_v: Option<Above0>,
    /// Resistance of the winding as warm as it was, ohm
    #[arg(long, value_name = "OHM", requires = "supply_v")]
    ohm: Option<Above0>,
    /// PWM frequency, Hz
    #[arg(long, value_name = "HZ", requires = "supply_v")]
    pwm_hz: Option<Above0>,
    /// Mean supply current of this coil, A, with what the driver draws by itself taken off
    #[arg(long, value_name = "A", requires = "supply_v")]
    supply_a: Option<Above0>,
    /// Duty, 0.05 to 0.95; a half tells most
    #[arg(long, value_name = "SHARE", default_value_t = 0.5, requires = "inductance")]
    duty: f64,
    /// Drop of the freewheel diode, V; 0 for a synchronous bridge
    #[arg(long, value_name = "V", default_value_t = 0.0, requires = "inductance")]
    diode_drop_v: f64,
    /// Error of each of the three readings, percent
    #[arg(long, value_name = "PERCENT", default_value = "1", requires = "inductance")]
    reading_error_percent: Bounded<0, 20>,
}

/// Finds, prints.
pub(super) fn run(args: &Args, json: bool) -> Outcome {
    let (Some(volts), Some(ohm), Some(pwm), Some(amps)) =
        (args.supply_v, args.ohm, args.pwm_hz, args.supply_a)
    else {
        return Err(Failure::Refused(
            "--inductance needs --supply-v, --ohm, --pwm-hz and --supply-a".into(),
        ));
    };
    let bench = Bench {
        supply: Volts(volts.0),
        resistance: Ohms(ohm.0),
        pwm: Hertz(pwm.0),
        supply_current: Amps(amps.0),
        duty: args.duty,
        freewheel_drop: Volts(args.diode_drop_v),
    };
    let each = args.reading_error_percent.0;
    let errors = Errors { volts_percent: each, ohms_percent: each, amps_percent: each };
    let found = inductance(&bench, &errors).map_err(Failure::refused)?;
    if json {
        let json = serde_json::to_value(found).map_err(Failure::failed)?;
        return print(&format!("{json:#}\n"));
    }
    let mut text = format!(
        "inductance {:.1} uH, give or take {:.1} % (each reading {each} %); PWM period over L/R {:.3}\n",
        found.microhenries, found.error_percent, found.period_over_tau
    );
    if found.is_vague() {
        text += &format!(
            "Too uncertain to rely on: at this frequency the current hardly depends on L. At about \
             {:.0} Hz the same readings would tell it within {:.1} %.\n",
            found.best_pwm_hz, found.best_error_percent
        );
    }
    text += "Measured with iron behind the coil, this is the value with iron, at this frequency. The \
             display file asks for the value in air, or the lowest known: it is the safe one for heat.\n\
             Caution: a coil at half duty warms quickly. Read, switch off, and keep your hands off \
             winding and iron.\n";
    print(&text)
}
