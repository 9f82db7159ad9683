//! Packed files: FLAC, Ogg (Vorbis or FLAC inside), MP3, AAC, MP4, AIFF, the less common kinds of
//! WAV, and WAV from a pipe.
//!
//! [`super::unpack`] turns the file into runs of samples with their place in time; here they are
//! laid end to end, and what is missing between two of them becomes silence.

use std::fs::File;

use super::super::{SampleBlock, SoundError, SoundFormat, Source};
use super::sniff::Kind;
use super::unpack::{Step, Unpacker};
use super::{FETCH, Place, REFILL, remark};

/// Longest gap that is filled with silence, seconds. A wider one is not believed.
const MOST_SILENCE_S: u32 = 60;

const OTHER_LAYOUT: &str = "from there on the file has another sampling rate or other channels";

/// Instants of silence handed out at once.
const SILENCE_BLOCK: usize = 4_096;

/// An open packed file.
pub(super) struct Packed {
    place: Place,
    kind: Kind,
    unpacker: Unpacker,
    sound: SoundFormat,
    /// The run decoded last.
    run: Vec<f32>,
    /// True while `run` has still to be handed out.
    waiting: bool,
    silence: Vec<f32>,
    /// Instants of silence to be handed out before `run`.
    gap: u64,
    /// Instants handed out, the gap before the waiting run and that run counted in.
    laid: u64,
    /// Place in time, on the file's own scale, where the next run belongs.
    due: i64,
    /// Damage: how often, where first, and the silence that stands in for it.
    damage: Damage,
    odd: (u64, u64),
    remarks: Vec<String>,
    ended: bool,
}

#[derive(Debug, Default)]
struct Damage {
    count: u64,
    first_at: u64,
    silence: u64,
}

impl Packed {
    pub(super) fn open(file: File, kind: Kind, place: Place) -> Result<Self, SoundError> {
        let unpacker =
            Unpacker::open(file, kind).map_err(|trouble| trouble.report(&place, kind))?;
        Self::new(unpacker, kind, place)
    }

    /// Decodes as far as the first samples: only they tell for certain what the file holds.
    pub(super) fn new(
        mut unpacker: Unpacker,
        kind: Kind,
        place: Place,
    ) -> Result<Self, SoundError> {
        let remarks = unpacker.take_notes();
        let mut new = Self {
            place,
            kind,
            due: unpacker.start(),
            unpacker,
            sound: SoundFormat { rate_hz: 0, channels: 0 },
            run: Vec::new(),
            waiting: false,
            silence: Vec::new(),
            gap: 0,
            laid: 0,
            damage: Damage::default(),
            odd: (0, 0),
            remarks,
            ended: false,
        };
        new.advance()?;
        if !new.waiting {
            let reason = format!("no sound could be decoded from this {}", kind.name());
            let advice = if kind == Kind::Wav { REFILL } else { FETCH };
            return Err(new.place.undecodable(&reason, advice));
        }
        new.silence = vec![0.0; SILENCE_BLOCK * usize::from(new.sound.channels)];
        Ok(new)
    }

    /// Decodes the next run that holds samples, or ends the sound.
    fn advance(&mut self) -> Result<(), SoundError> {
        while !self.waiting && !self.ended {
            match self.unpacker.step(&mut self.run) {
                Step::Run { at, rate_hz, channels } => self.lay(at, rate_hz, channels)?,
                Step::Damaged => self.note_damage(),
                Step::NewStream => self.due = self.unpacker.start(),
                Step::NewLayout => self.stop(OTHER_LAYOUT),
                Step::Fault => {
                    self.remarks.push(remark::undecodable(self.laid, self.sound.rate_hz));
                    self.end(true);
                }
                Step::End => self.end(false),
                Step::Io(error) => {
                    self.end(true);
                    return Err(self.place.io(error));
                }
            }
        }
        Ok(())
    }

    fn lay(&mut self, at: i64, rate_hz: u32, channels: u64) -> Result<(), SoundError> {
        if self.sound.channels == 0 {
            self.sound = self.place.accept(rate_hz, channels)?;
        } else if (rate_hz, channels) != (self.sound.rate_hz, self.sound.channels.into()) {
            self.stop(OTHER_LAYOUT);
            return Ok(());
        }
        let channels = usize::from(self.sound.channels);
        let instants = (self.run.len() / channels) as u64;
        if instants == 0 {
            return Ok(());
        }
        let late = u64::try_from(at.saturating_sub(self.due)).unwrap_or(0);
        if late > 0 && late <= u64::from(MOST_SILENCE_S) * u64::from(rate_hz) {
            if self.damage.count == 0 {
                self.note_damage();
            }
            self.damage.silence += late;
            self.gap = late;
            self.laid += late;
        }
        let (count, first) = remark::silence_non_numbers(&mut self.run);
        if count > 0 && self.odd.0 == 0 {
            self.odd.1 = self.laid + (first / channels) as u64;
        }
        self.odd.0 += count;
        self.laid += instants;
        self.due = at.saturating_add_unsigned(instants);
        self.waiting = true;
        Ok(())
    }

    /// Ends the sound before the file does.
    fn stop(&mut self, why: &str) {
        let at = remark::seconds(self.laid, self.sound.rate_hz);
        self.remarks.push(format!("the sound stops at {at}: {why}"));
        self.end(true);
    }

    fn note_damage(&mut self) {
        if self.damage.count == 0 {
            self.damage.first_at = self.laid;
        }
        self.damage.count += 1;
    }

    /// Says what was missing, once. `explained`: the reason why there is no more was given already.
    fn end(&mut self, explained: bool) {
        self.ended = true;
        let rate_hz = self.sound.rate_hz;
        let damage = &self.damage;
        if damage.count > 0 {
            let text = remark::damaged(damage.count, damage.first_at, damage.silence, rate_hz);
            self.remarks.push(text);
        }
        let lost = self.unpacker.lost_share();
        if let Some(share) = lost {
            let seconds = share * self.laid as f64 / f64::from(rate_hz);
            self.remarks.push(remark::left_out(seconds, self.kind.coding()));
        }
        if !explained {
            let announced = self.unpacker.announced().filter(|&all| all > self.laid);
            if self.unpacker.is_cut_short() || (announced.is_some() && lost.is_none()) {
                self.remarks.push(remark::cut_short(self.laid, announced, rate_hz));
            }
            if self.unpacker.is_open_ended() {
                self.remarks.push(remark::open_length(self.laid, rate_hz));
            }
        }
        if self.odd.0 > 0 {
            self.remarks.push(remark::not_numbers(self.odd.0, self.odd.1, rate_hz));
        }
    }
}

impl Source for Packed {
    fn format(&self) -> SoundFormat {
        self.sound
    }

    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        self.advance()?;
        let channels = self.sound.channels;
        if self.gap > 0 {
            let instants = usize::try_from(self.gap).unwrap_or(usize::MAX).min(SILENCE_BLOCK);
            self.gap -= instants as u64;
            let silence = self.silence.get(..instants * usize::from(channels));
            return Ok(silence.and_then(|block| SampleBlock::new(block, channels)));
        }
        if !self.waiting {
            return Ok(None);
        }
        self.waiting = false;
        Ok(SampleBlock::new(&self.run, channels))
    }

    fn expected_instants(&self) -> Option<u64> {
        Some(self.unpacker.expected()?.saturating_sub(self.laid))
    }

    fn remarks(&self) -> &[String] {
        &self.remarks
    }
}
