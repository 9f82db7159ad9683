//! What the program costs, as ratios: processor time of each task over that of a plain one, measured
//! in turns in the same process. Machines differ; the ratios do less.
//!
//! `cargo bench --bench cost` prints the whole table; a word after `--` (`permit` or `song`) prints
//! that part only. Where `COILSCORE_PYTHON` names a Python that has some of the analysis libraries in
//! `peers.py`, the same song goes through those too.

#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::cast_possible_truncation,
    clippy::indexing_slicing,
    reason = "a bench reads clocks and stops at the first surprise"
)]

#[path = "../../common/mod.rs"]
mod common;

mod clock;
mod peers;
mod permit;
mod song;

fn main() {
    let part = std::env::args().skip(1).find(|word| !word.starts_with('-'));
    let wanted = |name: &str| part.as_deref().is_none_or(|part| part == name);
    if wanted("permit") {
        permit::print();
    }
    if wanted("song") {
        let dir = tempfile::tempdir().unwrap();
        let song = dir.path().join("song.wav");
        song::write(&song);
        let (minutes, rows) = song::print(&song);
        peers::print(&song, minutes, &rows);
    }
}
