//! Cost per coil does not grow with the display: instructions, counted by `valgrind`, not time.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "tests stop at the first surprise"
)]

mod common;

use std::process::Command;

use coilscore::budget::{Budget, Neighbours};
use coilscore::units::{CoilId, Share, WattsPerKelvin};

/// Set in the counted process: coils of one side of a square grid, and frames.
const TASK: &str = "COILSCORE_COST_TASK";

/// Runs in the counted process only.
#[test]
#[ignore = "run by the other test, under valgrind"]
fn counted_task() {
    let task = std::env::var(TASK).expect("the task");
    let (side, frames) = task.split_once(' ').unwrap();
    let (side, frames): (u32, u32) = (side.parse().unwrap(), frames.parse().unwrap());
    let mut settings = common::prepared(common::BUSY, common::HOT_RING, 44_100, 2, "200").budget;
    let coil = *settings.coils.first().unwrap();
    settings.coils = vec![coil; (side * side) as usize];
    settings.neighbours = grid_neighbours(side);
    let mut budget = Budget::new(&settings).unwrap();
    let wishes: Vec<Share> =
        (0..side * side).map(|coil| Share::saturating(f64::from(coil % 7) / 6.0)).collect();
    for _ in 0..frames {
        std::hint::black_box(budget.permit(&wishes));
    }
}

/// Right and upper neighbour of every coil of a square grid.
fn grid_neighbours(side: u32) -> Vec<Neighbours> {
    let pair = |a: u32, b: u32| Neighbours {
        a: CoilId(a),
        b: CoilId(b),
        coils: WattsPerKelvin(0.01),
        backings: WattsPerKelvin(0.15),
    };
    let coils = 0..side * side;
    let right = coils.clone().filter(|n| (n + 1) % side != 0).map(|n| pair(n, n + 1));
    let up = coils.filter(|n| n + side < side * side).map(|n| pair(n, n + side));
    right.chain(up).collect()
}

fn instructions(side: u32, frames: u32) -> f64 {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("counts");
    let run = Command::new("valgrind")
        .arg("--tool=callgrind")
        .arg(format!("--callgrind-out-file={}", out.display()))
        .arg(std::env::current_exe().unwrap())
        .args(["--ignored", "--exact", "counted_task", "--test-threads=1"])
        .env(TASK, format!("{side} {frames}"))
        .output()
        .expect("valgrind runs; install the package of that name");
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let counts = std::fs::read_to_string(out).unwrap();
    let totals = counts.lines().find_map(|line| line.strip_prefix("totals: ")).unwrap();
    totals.trim().parse().unwrap()
}

#[test]
fn instructions_per_coil_stay_flat_from_256_to_10_000_coils() {
    let per_coil = |side: u32| {
        let coil_frames = f64::from(side * side) * 200.0;
        (instructions(side, 400) - instructions(side, 200)) / coil_frames
    };
    let (small, large) = (per_coil(16), per_coil(100));
    println!("{small:.1} instructions per coil-frame at 256 coils, {large:.1} at 10,000");
    assert!((large / small - 1.0).abs() < 0.2, "{small} at 256 coils, {large} at 10,000");
}
