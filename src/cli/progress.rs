//! Long work shows how far it is, on a terminal; Ctrl-C ends it in good order.

use std::io::IsTerminal;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use coilscore::run::Flow;
use indicatif::{ProgressBar, ProgressStyle};

use super::Failure;
use super::signals::SIGNALS;

/// A bar that counts seconds of sound, and the wish of the user to stop.
pub(super) struct Progress {
    bar: ProgressBar,
    instants_per_second: u32,
    stop: Arc<AtomicBool>,
}

impl Progress {
    /// Shows nothing when `quiet` or when standard error is not a terminal.
    pub(super) fn over(
        expected_instants: Option<u64>,
        instants_per_second: u32,
        quiet: bool,
    ) -> Result<Self, Failure> {
        let stop = Arc::new(AtomicBool::new(false));
        for &signal in SIGNALS {
            // The second one ends the program at once: work after the render does not ask the flag.
            signal_hook::flag::register_conditional_shutdown(signal, 130, Arc::clone(&stop))
                .map_err(Failure::failed)?;
            signal_hook::flag::register(signal, Arc::clone(&stop)).map_err(Failure::failed)?;
        }
        let shown = !quiet && std::io::stderr().is_terminal();
        let bar = match (shown, expected_instants) {
            (false, _) => ProgressBar::hidden(),
            (true, Some(instants)) => {
                let template = "{bar:30} {pos} of {len} s of sound, {eta} to go";
                ProgressBar::new(instants / u64::from(instants_per_second)).with_style(
                    ProgressStyle::with_template(template)
                        .unwrap_or_else(|_| ProgressStyle::default_bar()),
                )
            }
            (true, None) => ProgressBar::new_spinner().with_message("rendering"),
        };
        bar.enable_steady_tick(Duration::from_millis(200));
        Ok(Self { bar, instants_per_second, stop })
    }

    /// To be called now and then with the instants heard so far.
    pub(super) fn at(&self, instants: u64) -> Flow {
        self.bar.set_position(instants / u64::from(self.instants_per_second));
        if self.stop.load(Ordering::Relaxed) { Flow::Break(()) } else { Flow::Continue(()) }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
