//! One mapping at work: sound in, wishes out.

use super::{EngineError, Prepared};
use crate::analysis::{Analysis, AnalysisSettings, Heard};
use crate::audio::SampleBlock;
use crate::mapper::Mapper;

/// The first two stages of a line. Built anywhere, on any thread; an engine takes it in between two
/// frames without taking memory.
pub struct Listener {
    settings: AnalysisSettings,
    coils: usize,
    analysis: Analysis,
    mapper: Mapper,
}

impl Listener {
    /// Takes all memory that it will ever need.
    ///
    /// # Errors
    /// When a stage refuses its settings, or they do not fit each other.
    pub fn new(prepared: &Prepared) -> Result<Self, EngineError> {
        super::agree(prepared)?;
        Ok(Self {
            settings: prepared.analysis.clone(),
            coils: prepared.mapper.places.len(),
            analysis: Analysis::new(&prepared.analysis)?,
            mapper: Mapper::new(&prepared.mapper)?,
        })
    }

    /// What measures the sound.
    pub fn analysis(&self) -> &Analysis {
        &self.analysis
    }

    pub(super) fn push(&mut self, sound: SampleBlock<'_>) {
        self.analysis.push(sound);
    }

    /// Lets it hear what was played lately, so that it is not taken in as at the start of a song:
    /// one frame for each `frame_instants` of `sound`. Before it is taken in, on any thread.
    pub fn warm(&mut self, sound: SampleBlock<'_>, frame_instants: usize) {
        let mut rest = sound;
        while rest.instants() > 0 {
            let (now, later) = rest.split_at(frame_instants.max(1));
            self.push(now);
            self.frame();
            rest = later;
        }
    }

    pub(super) fn frame(&mut self) -> (Heard<'_>, &Mapper) {
        let heard = self.analysis.measure();
        self.mapper.wish(&heard);
        (heard, &self.mapper)
    }

    /// Changes places with `other`. Where both measure the same, only the mapping changes: what
    /// was heard so far goes on counting.
    pub(super) fn swap(&mut self, other: &mut Self) {
        std::mem::swap(self, other);
        if self.settings == other.settings {
            std::mem::swap(&mut self.analysis, &mut other.analysis);
        }
    }

    /// Refuses one that hears another sound, at other times or for other coils.
    pub(super) fn check(&self, coils: usize, like: &AnalysisSettings) -> Result<(), EngineError> {
        if self.settings.sound != like.sound {
            return Err(EngineError::Disagree("the mappings are made for different sounds"));
        }
        if self.settings.frame_rate != like.frame_rate {
            return Err(EngineError::Disagree("the mappings are made for different frame rates"));
        }
        if self.coils != coils {
            return Err(EngineError::Disagree("the mappings are made for different displays"));
        }
        Ok(())
    }

    pub(super) fn settings(&self) -> &AnalysisSettings {
        &self.settings
    }
}
