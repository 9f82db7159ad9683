//! A short song of the program's own, to try things with when no music is at hand.
//!
//! Invented for this purpose and written as code: nobody else's tune, recording or name is in it.
//! Half a minute at 112 beats a minute, 44.1 kHz, stereo, four chords. It holds what a display has
//! to cope with: a kick and a bass line for the slow coils, snare and hats for the quick ones, a
//! pad that is different left and right, a break in which nothing plays for three seconds, and an
//! ending loud and dense enough to run into the heat limit.

mod voices;

use super::{SampleBlock, SoundError, SoundFormat, Source};
use voices::Band;

/// Sampling rate of the song, Hz.
const RATE_HZ: u32 = 44_100;

/// Instants in a bar of four beats: 4 * 60/112 s, a whole number at this rate.
const BAR: u64 = 94_500;

/// Sixteenths in a bar.
const STEPS: u64 = 16;

/// Instants over which the very end fades, so that it does not click.
const FADE: u64 = 2_205;

/// Instants per block.
const BLOCK: usize = 2_048;

/// A stretch of bars that repeat one pattern. A pattern has one letter per sixteenth, `x` is a hit.
struct Part {
    bars: u64,
    kick: &'static [u8; 16],
    snare: &'static [u8; 16],
    hat: &'static [u8; 16],
    bass: &'static [u8; 16],
    pad: bool,
    drive: f64,
}

const NONE: &[u8; 16] = b"................";

const SONG: [Part; 6] = [
    Part {
        bars: 2,
        kick: b"x...x...x...x...",
        snare: NONE,
        hat: b"..x...x...x...x.",
        bass: b"x.......x..x....",
        pad: false,
        drive: 0.8,
    },
    Part {
        bars: 4,
        kick: b"x.....x.x.......",
        snare: b"....x.......x...",
        hat: b"x.x.x.x.x.x.x.x.",
        bass: b"x..x..x.x..x..x.",
        pad: true,
        drive: 0.9,
    },
    Part { bars: 1, kick: NONE, snare: NONE, hat: NONE, bass: NONE, pad: false, drive: 0.9 },
    Part {
        bars: 1,
        kick: NONE,
        snare: b"............x.xx",
        hat: NONE,
        bass: NONE,
        pad: false,
        drive: 0.9,
    },
    Part {
        bars: 2,
        kick: b"x.....x.x..x....",
        snare: b"....x.......x..x",
        hat: b"x.xxx.xxx.xxx.xx",
        bass: b"x..x..x.x..x..x.",
        pad: true,
        drive: 1.0,
    },
    Part {
        bars: 4,
        kick: b"x...x...x...x.x.",
        snare: b"....x.......x...",
        hat: b"xxxxxxxxxxxxxxxx",
        bass: b"xxxxxxxxxxxxxxxx",
        pad: true,
        drive: 2.4,
    },
];

/// A chord: its bass note and the notes of the pad, in semitones above the A of 55 Hz.
#[derive(Debug, Clone, Copy)]
struct Chord {
    bass: i32,
    pad: [i32; 3],
}

/// F, C, G and home to A minor, one bar each.
const CHORDS: [Chord; 4] = [
    Chord { bass: -4, pad: [20, 24, 27] },
    Chord { bass: 3, pad: [22, 27, 31] },
    Chord { bass: -2, pad: [22, 26, 29] },
    Chord { bass: 0, pad: [24, 27, 31] },
];

/// The song as a [`Source`]. See the module for what is in it.
#[derive(Debug, Clone)]
pub struct DemoSong {
    band: Band,
    /// Instants given.
    at: u64,
    length: u64,
    block: Vec<f32>,
}

impl DemoSong {
    /// The song from its beginning. Takes all its memory here.
    pub fn new() -> Self {
        let bars: u64 = SONG.iter().map(|part| part.bars).sum();
        let block = Vec::with_capacity(2 * BLOCK);
        Self { band: Band::new(RATE_HZ), at: 0, length: bars * BAR, block }
    }

    /// Plays instant `at`; the band hears of a new sixteenth exactly when it begins.
    fn play(&mut self, at: u64) -> [f64; 2] {
        let bar = at / BAR;
        let step = (at % BAR) * STEPS / BAR;
        let begins = (step * BAR).div_ceil(STEPS) == at % BAR;
        if let Some(part) = part_of(bar).filter(|_| begins) {
            self.read(part, chord_of(bar), step);
        }
        let fade = ((self.length - at) as f64 / FADE as f64).min(1.0);
        self.band.next_instant().map(|side| side * fade)
    }

    fn read(&mut self, part: &Part, chord: Chord, step: u64) {
        let hit =
            |line: &[u8; 16]| usize::try_from(step).ok().and_then(|s| line.get(s)) == Some(&b'x');
        if hit(part.kick) {
            self.band.kick.hit();
        }
        if hit(part.snare) {
            self.band.snare.hit();
        }
        if hit(part.hat) {
            self.band.hat.hit();
        }
        if hit(part.bass) {
            self.band.bass.hit(chord.bass);
        } else if part.bass == NONE {
            self.band.bass.stop();
        }
        self.band.pad.hold(part.pad.then_some(chord.pad));
        self.band.drive = part.drive;
    }
}

impl Default for DemoSong {
    fn default() -> Self {
        Self::new()
    }
}

impl Source for DemoSong {
    fn format(&self) -> SoundFormat {
        SoundFormat { rate_hz: RATE_HZ, channels: 2 }
    }

    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        self.block.clear();
        while self.at < self.length && self.block.len() < 2 * BLOCK {
            let sides = self.play(self.at).map(narrow);
            self.block.extend_from_slice(&sides);
            self.at += 1;
        }
        Ok(SampleBlock::new(&self.block, 2).filter(|block| block.instants() > 0))
    }

    fn expected_instants(&self) -> Option<u64> {
        Some(self.length - self.at)
    }
}

fn part_of(bar: u64) -> Option<&'static Part> {
    let mut first = 0;
    SONG.iter().find(|part| {
        first += part.bars;
        bar < first
    })
}

fn chord_of(bar: u64) -> Chord {
    // The two bars before the first full part lead up to the first chord.
    let [first, second, third, fourth] = CHORDS;
    match (bar + 2) % 4 {
        0 => first,
        1 => second,
        2 => third,
        _ => fourth,
    }
}

#[expect(clippy::cast_possible_truncation, reason = "the nearest f32 is what is wanted")]
fn narrow(sample: f64) -> f32 {
    sample as f32
}

#[cfg(test)]
mod tests;
