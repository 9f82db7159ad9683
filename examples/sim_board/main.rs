//! A driver board in software, on a pseudo-terminal: to try `play`, `board` and `live` without one.
//!
//! ```text
//! cargo run --example sim_board -- --channels 24
//! coilscore play song.duty --display my-display.toml --port /dev/pts/7
//! ```
//!
//! It shows its coils as text, trips its watchdog, warms up and reports, and can be made to fail.
#![allow(
    clippy::disallowed_methods,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    unreachable_pub,
    dead_code,
    missing_docs,
    reason = "an example that stands in for hardware, and is shared with tests"
)]

#[cfg(unix)]
mod board;
#[cfg(unix)]
mod pty;
#[cfg(unix)]
mod show;

#[cfg(unix)]
fn main() -> std::process::ExitCode {
    match run::main() {
        Ok(()) => std::process::ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("sim_board: {error}");
            std::process::ExitCode::FAILURE
        }
    }
}

#[cfg(not(unix))]
fn main() {
    eprintln!("sim_board needs pseudo-terminals, which this system does not have");
}

#[cfg(unix)]
mod run {
    use std::path::PathBuf;
    use std::sync::atomic::{AtomicBool, Ordering};
    use std::sync::{Arc, Mutex, PoisonError};
    use std::time::{Duration, Instant};

    use clap::Parser;

    use super::board::{Plan, Plant, SimBoard};
    use super::pty::{Pty, serve};
    use super::show;

    /// A driver board in software, on a pseudo-terminal
    #[derive(Debug, Parser)]
    struct Args {
        /// Channels
        #[arg(long, default_value_t = 12)]
        channels: u16,
        /// Compare value at full duty
        #[arg(long, default_value_t = 4095)]
        steps: u16,
        /// Bridges that push both ways
        #[arg(long)]
        two_way: bool,
        /// All off this long after the last good frame, ms
        #[arg(long, default_value_t = 250)]
        hold_ms: u16,
        /// PWM frequency that it states, Hz
        #[arg(long, default_value_t = 22_000)]
        pwm_hz: u32,
        /// Let the coils warm up: winding J/K, winding to backing K/W, backing J/K, backing to room K/W;
        /// their resistance, `--ohm` in a room of 24 C, follows
        #[arg(long, value_name = "C,R,C,R", value_parser = heat)]
        coils: Option<[f64; 4]>,
        /// Resistance of every coil, ohm; its current follows the duty, as with slow PWM or freewheel
        /// drops and inductance left out
        #[arg(long, default_value_t = 15.0, value_parser = ohm)]
        ohm: f64,
        /// Let the line be this fast; a pseudo-terminal by itself has no speed
        #[arg(long, value_name = "BAUD")]
        speed: Option<u32>,
        /// A name of your own for the port, as a symbolic link
        #[arg(long, value_name = "PATH")]
        name: Option<PathBuf>,
        /// Reset after so many seconds, over and over
        #[arg(long, value_name = "S")]
        reset_every: Option<f64>,
        /// Send noise after so many seconds, over and over
        #[arg(long, value_name = "S")]
        garbage_every: Option<f64>,
        /// Hang after so many seconds
        #[arg(long, value_name = "S")]
        silent_after: Option<f64>,
        /// End after so many seconds
        #[arg(long, value_name = "S")]
        seconds: Option<f64>,
    }

    fn ohm(text: &str) -> Result<f64, String> {
        let ohm = text.parse().ok().filter(|ohm: &f64| (0.1..=10_000.0).contains(ohm));
        ohm.ok_or_else(|| "0.1 to 10000 ohm".into())
    }

    fn heat(text: &str) -> Result<[f64; 4], String> {
        let figures: Result<Vec<f64>, _> = text.split(',').map(str::parse).collect();
        let figures = figures.ok().and_then(|figures| <[f64; 4]>::try_from(figures).ok());
        let above_0 = |heat: &[f64; 4]| heat.iter().all(|it| it.is_finite() && *it > 0.0);
        figures.filter(above_0).ok_or_else(|| "write four numbers above 0, as 5,2,28,13".into())
    }

    pub fn main() -> std::io::Result<()> {
        let args = Args::parse();
        let mut pty = Pty::new()?;
        let mut port = pty.path();
        if let Some(name) = &args.name {
            pty.name(name)?;
            port = name.display().to_string();
        }
        println!("port {port}");
        let plan = Plan {
            channels: args.channels.max(1),
            steps: args.steps.max(1),
            two_way: args.two_way,
            packing: None,
            hold_ms: args.hold_ms,
            pwm_hz: args.pwm_hz,
        };
        let steps = plan.steps;
        let mut sim = SimBoard::new(plan);
        sim.ohms.fill(args.ohm);
        if let Some(heat) = args.coils {
            sim.plant = Some(Plant::cold(args.channels.max(1), 24.0, heat));
        }
        let board = Arc::new(Mutex::new(sim));
        let stop = Arc::new(AtomicBool::new(false));
        for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM] {
            signal_hook::flag::register(signal, Arc::clone(&stop))?;
        }
        let terminal = std::io::IsTerminal::is_terminal(&std::io::stdout());
        let start = Instant::now();
        let line = {
            let (board, stop) = (Arc::clone(&board), Arc::clone(&stop));
            let how = (start, args.speed);
            std::thread::spawn(move || serve(&board, &mut pty, how, &stop))
        };
        let mut faults = Faults { reset_s: args.reset_every, garbage_s: args.garbage_every };
        while !stop.load(Ordering::Relaxed) && !line.is_finished() {
            std::thread::sleep(Duration::from_millis(50));
            let now_s = start.elapsed().as_secs_f64();
            let mut board = board.lock().unwrap_or_else(PoisonError::into_inner);
            faults.inject(&args, &mut board, now_s);
            show::line(&mut std::io::stdout(), &mut board, steps, terminal)?;
            if args.seconds.is_some_and(|end_s| now_s > end_s) {
                stop.store(true, Ordering::Relaxed);
            }
        }
        println!();
        match line.join() {
            Ok(result) => result,
            Err(_) => Err(std::io::Error::other("the line's thread failed")),
        }
    }

    /// When the next one is due, s.
    struct Faults {
        reset_s: Option<f64>,
        garbage_s: Option<f64>,
    }

    impl Faults {
        fn inject(&mut self, args: &Args, board: &mut SimBoard, now_s: f64) {
            let due = |next: &mut Option<f64>, every: Option<f64>| {
                let is_due = next.is_some_and(|next_s| now_s >= next_s);
                if is_due {
                    *next = every.map(|every_s| now_s + every_s);
                }
                is_due
            };
            if due(&mut self.reset_s, args.reset_every) {
                board.reset();
            }
            if due(&mut self.garbage_s, args.garbage_every) {
                let noise: Vec<u8> = (0..97_u32).map(|n| (n * n * 31 + 7) as u8).collect();
                board.hear(&noise);
            }
            board.mute |= args.silent_after.is_some_and(|after_s| now_s >= after_s);
        }
    }
}
