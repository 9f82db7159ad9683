//! Processor time, which other programs on the machine disturb less than they do time on the wall.

/// Processor time of this process so far, all threads, s.
#[cfg(unix)]
fn cpu_s() -> f64 {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::ProcessCPUTime);
    now.tv_sec as f64 + now.tv_nsec as f64 * 1e-9
}

/// Time since the first call, s: where a process cannot be asked for its own.
#[cfg(not(unix))]
fn cpu_s() -> f64 {
    static BEGAN: std::sync::OnceLock<std::time::Instant> = std::sync::OnceLock::new();
    BEGAN.get_or_init(std::time::Instant::now).elapsed().as_secs_f64()
}

/// A task and the least that it took.
pub(crate) struct Timed<'a> {
    task: Box<dyn FnMut() + 'a>,
    pub(crate) least_s: f64,
}

impl<'a> Timed<'a> {
    pub(crate) fn new(task: impl FnMut() + 'a) -> Self {
        Self { task: Box::new(task), least_s: f64::INFINITY }
    }
}

/// Runs all tasks in turns, `rounds` times, so that a slow spell of the machine meets them all.
pub(crate) fn in_turns(rounds: u32, tasks: &mut [Timed<'_>]) {
    for _ in 0..rounds {
        for timed in &mut *tasks {
            let began = cpu_s();
            (timed.task)();
            timed.least_s = timed.least_s.min(cpu_s() - began);
        }
    }
}
