//! The four stages in order: samples in, one permitted frame at each frame edge out.
//!
//! [`Engine`] reads no clock and owns no device. Frame `k` is made the moment it has heard every
//! sample before the frame's edge and none after, so the same samples give the same frames
//! however they are chunked. After [`Engine::new`] it allocates nothing.
//!
//! Several mappings may listen at once ([`Engine::add`]), so that changing over is seamless; one of
//! them is at work. [`Hands`] say which, and hold, turn down or switch off what it wishes.

mod grip;
mod listener;

use thiserror::Error;

use crate::analysis::{Analysis, AnalysisError, AnalysisSettings, Heard};
use crate::audio::SampleBlock;
use crate::audio::edges::FrameEdges;
use crate::budget::{Budget, BudgetError, BudgetSettings, Duty, Load};
use crate::frame::Hands;
use crate::mapper::{MapperError, MapperSettings};
use crate::units::{Rate, Share};

use grip::Grip;
pub use listener::Listener;

/// Settings of all stages, checked and agreeing with each other: same frame rate, same number of
/// coils, routes that name bands which exist.
#[derive(Debug, Clone, PartialEq)]
pub struct Prepared {
    /// Samples to levels.
    pub analysis: AnalysisSettings,
    /// Levels to wishes.
    pub mapper: MapperSettings,
    /// Wishes to duties.
    pub budget: BudgetSettings,
}

/// Why an engine could not be built.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum EngineError {
    /// A band cannot be measured.
    #[error(transparent)]
    Analysis(#[from] AnalysisError),
    /// The stages do not fit each other.
    #[error("the settings of the stages do not fit each other: {0}")]
    Disagree(&'static str),
    /// A route makes no sense.
    #[error(transparent)]
    Mapper(#[from] MapperError),
    /// The coils' limits make no sense.
    #[error(transparent)]
    Budget(#[from] BudgetError),
}

/// Each stage checks its own settings; this is what lies between them.
fn agree(prepared: &Prepared) -> Result<(), EngineError> {
    let Prepared { analysis, mapper, budget } = prepared;
    mapper.check_bands(analysis.bands.len())?;
    mapper.check_ears(analysis.ears.len())?;
    let rate = analysis.frame_rate;
    if mapper.frame_rate != rate || budget.frame_rate != rate {
        return Err(EngineError::Disagree("they name different frame rates"));
    }
    if mapper.places.len() != budget.coils.len() {
        return Err(EngineError::Disagree("they name different numbers of coils"));
    }
    Ok(())
}

/// One frame and everything that led to it. Borrowed from the engine until its next step.
#[derive(Debug, Clone, Copy)]
pub struct Step<'a> {
    /// Frame number, from 0. Its time is `number / rate` on the sound's clock; it has heard the lead
    /// more.
    pub number: u32,
    /// What was heard, by the bands of the first mapping.
    pub heard: Heard<'a>,
    /// What was asked, per coil: by the mapping at work, after the hands.
    pub wishes: &'a [Share],
    /// What is permitted, per coil.
    pub duties: &'a [Duty],
    /// What it costs.
    pub load: Load<'a>,
}

/// Sound to permitted duty.
pub struct Engine {
    edges: FrameEdges,
    first: Listener,
    others: Vec<Listener>,
    grip: Grip,
    budget: Budget,
    next_frame: u32,
    instants: u64,
}

impl Engine {
    /// Builds every stage; all memory is taken here.
    ///
    /// # Errors
    /// When a stage refuses its settings; the sentence names the band, route or coil.
    pub fn new(prepared: &Prepared) -> Result<Self, EngineError> {
        let sound = prepared.analysis.sound;
        Ok(Self {
            edges: FrameEdges::new(sound, prepared.analysis.frame_rate),
            first: Listener::new(prepared)?,
            others: Vec::new(),
            grip: Grip::new(prepared.budget.coils.len()),
            budget: Budget::new(&prepared.budget)?,
            next_frame: 0,
            instants: 0,
        })
    }

    /// Lets one more mapping listen, under the next number. Before the first frame.
    ///
    /// # Errors
    /// When it was made for another sound, frame rate or number of coils.
    pub fn add(&mut self, listener: Listener) -> Result<(), EngineError> {
        listener.check(self.budget.duties().len(), self.first.settings())?;
        self.others.push(listener);
        Ok(())
    }

    /// Takes `listener` in for the mapping at work and gives that one back, from the next frame on:
    /// heat and frame numbers go on. Where both hear the same bands, what was heard goes on too;
    /// else it listens from here on, as at the start of a song. Takes no memory.
    ///
    /// # Errors
    /// When it was made for another sound, frame rate or number of coils; nothing changes then.
    pub fn swap(&mut self, listener: &mut Listener) -> Result<(), EngineError> {
        listener.check(self.budget.duties().len(), self.first.settings())?;
        let at_work = usize::from(self.grip.hands().mapping);
        match at_work.checked_sub(1).and_then(|other| self.others.get_mut(other)) {
            Some(other) => other.swap(listener),
            None => self.first.swap(listener),
        }
        Ok(())
    }

    /// Lets every frame hear so many instants beyond its time, for a fluid that follows late. Before
    /// the first sample.
    pub fn lead(&mut self, instants: u64) {
        self.edges = self.edges.ahead(instants);
    }

    /// What hands have set.
    pub fn hands(&self) -> Hands {
        self.grip.hands()
    }

    /// Sets hands from the next frame on. A mapping that is not there counts as the first.
    pub fn set_hands(&mut self, hands: Hands) {
        self.grip.set(hands);
    }

    /// Hears `block` up to the next frame edge and returns what is left of it, with the frame
    /// when the edge was reached. Call again with the rest until it is empty and no frame comes.
    ///
    /// Frame numbers end after 2^32 frames, 49 days at the highest rate; then no frame comes any
    /// more.
    pub fn step<'b>(&mut self, block: SampleBlock<'b>) -> (SampleBlock<'b>, Option<Step<'_>>) {
        let edge = self.edges.edge(u64::from(self.next_frame));
        let wanted = match self.next_frame {
            u32::MAX => u64::MAX,
            _ => edge - self.instants,
        };
        let (now, rest) = block.split_at(usize::try_from(wanted).unwrap_or(usize::MAX));
        self.first.push(now);
        for other in &mut self.others {
            other.push(now);
        }
        let heard = now.instants() as u64;
        self.instants += heard;
        (rest, (heard == wanted).then(|| self.frame()))
    }

    /// The last frame, when the sound ended between two edges. Call once, after the last sample;
    /// then comes OFF.
    pub fn finish(&mut self) -> Option<Step<'_>> {
        let last = self.edges.last_frame(self.instants);
        (u64::from(self.next_frame) <= last).then(|| self.frame())
    }

    /// Brings the heat model up to the last frame. For the end, before its temperatures are read.
    pub fn settle(&mut self) {
        self.budget.settle();
    }

    /// Frames per second.
    pub fn rate(&self) -> Rate {
        self.first.settings().frame_rate
    }

    /// Number of the frame that comes next.
    pub fn next_frame(&self) -> u32 {
        self.next_frame
    }

    /// Instants of sound heard so far.
    pub fn instants(&self) -> u64 {
        self.instants
    }

    /// The first stage of the first mapping, for the report of its bands.
    pub fn analysis(&self) -> &Analysis {
        self.first.analysis()
    }

    /// The last stage, for its bounds and running totals.
    pub fn budget(&self) -> &Budget {
        &self.budget
    }

    fn frame(&mut self) -> Step<'_> {
        let number = self.next_frame;
        self.next_frame = number.saturating_add(1);
        let Hands { mapping: at_work, all_off, .. } = self.grip.hands();
        let (heard, mut wishes) = self.first.frame();
        for (index, other) in (1_u8..).zip(&mut self.others) {
            let (_, asked) = other.frame();
            if index == at_work {
                wishes = asked;
            }
        }
        let wishes = self.grip.on(wishes);
        if all_off {
            self.budget.all_off();
        } else {
            self.budget.permit(wishes);
        }
        let (duties, load) = (self.budget.duties(), self.budget.load());
        Step { number, heard, wishes, duties, load }
    }
}
