//! One coil asked for everything, minute by minute: the smallest use of the library.
//!
//! ```text
//! cargo run --release --example one_coil
//! ```

use coilscore::budget::{Budget, Start};
use coilscore::preset::{display, prepare_display};
use coilscore::units::{Rate, Share};

/// The invented bench coil that ships with the program.
const DISPLAY: &str = include_str!("../presets/displays/one.toml");

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let display = display::read("one.toml", DISPLAY)?;
    let rate: Rate = "100".parse()?;
    let (settings, _names) = prepare_display(&display, rate, Start::Cold);
    let mut budget = Budget::new(&settings)?;
    let steps = f64::from(display.driver.steps);

    println!("time    duty   winding   backing");
    for second in 0..=600_u32 {
        for _frame in 0..100 {
            budget.permit(&[Share::ALL]);
        }
        if second % 60 == 0 {
            let code = budget.duties().first().map_or(0, |duty| duty.code());
            let node_c = budget.load().node_c.to_vec();
            let [winding_c, backing_c, ..] = node_c.as_slice() else { break };
            println!(
                "{:>4} s  {:.3}  {winding_c:>6.1} C  {backing_c:>6.1} C",
                second,
                f64::from(code) / steps
            );
        }
    }
    Ok(())
}
