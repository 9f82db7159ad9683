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

use coilscore::budget::{Budget, Neighbours, PullRange};
use coilscore::units::{CoilId, Share, WattsPerKelvin};

/// Set in the counted process: coils of one side of a square grid, frames, whether coils have a law
/// of pull, and whether they rest.
const TASK: &str = "COILSCORE_COST_TASK";

/// Runs in the counted process only.
#[test]
#[ignore = "run by the other test, under valgrind"]
fn counted_task() {
    let task = std::env::var(TASK).expect("the task");
    let mut task = task.split(' ').map(|part| part.parse::<u32>().unwrap());
    let [side, frames, law, at_rest] = [(); 4].map(|()| task.next().unwrap());
    let mut settings = common::prepared(common::BUSY, common::HOT_RING, 44_100, 2, "200").budget;
    let coil = *settings.coils.first().unwrap();
    settings.coils = vec![coil; (side * side) as usize];
    settings.neighbours = grid_neighbours(side);
    if law > 0 {
        common::lay_law(&mut settings, PullRange::Held { margin: 0.1, at: 0.5 });
    }
    let mut budget = Budget::new(&settings).unwrap();
    let wish = |coil| if at_rest > 0 { 0.0 } else { f64::from(1 + coil % 6) / 6.0 };
    let wishes: Vec<Share> = (0..side * side).map(|coil| Share::saturating(wish(coil))).collect();
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

fn instructions(side: u32, frames: u32, law: u32, at_rest: u32) -> f64 {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("counts");
    let run = Command::new("valgrind")
        .arg("--tool=callgrind")
        .arg(format!("--callgrind-out-file={}", out.display()))
        .arg(std::env::current_exe().unwrap())
        .args(["--ignored", "--exact", "counted_task", "--test-threads=1"])
        .env(TASK, format!("{side} {frames} {law} {at_rest}"))
        .output()
        .expect("valgrind runs; install the package of that name");
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let counts = std::fs::read_to_string(out).unwrap();
    let totals = counts.lines().find_map(|line| line.strip_prefix("totals: ")).unwrap();
    totals.trim().parse().unwrap()
}

/// Per coil and frame, without what comes before the first frame.
fn per_coil_frame(side: u32, law: u32, at_rest: u32) -> f64 {
    let coil_frames = f64::from(side * side) * 200.0;
    let counted = |frames| instructions(side, frames, law, at_rest);
    (counted(400) - counted(200)) / coil_frames
}

#[test]
fn instructions_per_coil_stay_flat_from_256_to_10_000_coils() {
    for (law, what) in [(0, "duty"), (1, "pull")] {
        let (small, large) = (per_coil_frame(16, law, 0), per_coil_frame(100, law, 0));
        println!(
            "{small:.1} instructions per coil-frame of {what} at 256 coils, {large:.1} at 10,000"
        );
        assert!((large / small - 1.0).abs() < 0.2, "{small} at 256 coils, {large} at 10,000");
    }
}

#[test]
fn a_coil_at_rest_costs_hardly_more_than_its_heat() {
    let (rest, work) = (per_coil_frame(16, 0, 1), per_coil_frame(16, 0, 0));
    println!("{rest:.1} instructions per coil-frame at rest, {work:.1} at work");
    assert!(rest < 0.7 * work, "{rest} at rest, {work} at work");
}
