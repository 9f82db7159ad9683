//! One channel of a sound instead of all of them.

use std::fmt;
use std::str::FromStr;

use thiserror::Error;

use super::{SampleBlock, SoundError, SoundFormat, Source};

/// What is heard of a sound before anything else. All but [`Pick::All`] gives one channel, which
/// then counts as the same sound on both sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pick {
    /// Every channel, as it is.
    All,
    /// The first channel; the only one of a mono sound.
    Left,
    /// The second channel; the only one of a mono sound.
    Right,
    /// Half the sum of the first two; the only one of a mono sound.
    Mid,
    /// Half the difference of the first two.
    Side,
    /// A channel by its number, from 1, in the order of WAV files.
    Number(u16),
}

impl fmt::Display for Pick {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::All => f.write_str("all"),
            Self::Left => f.write_str("left"),
            Self::Right => f.write_str("right"),
            Self::Mid => f.write_str("mid"),
            Self::Side => f.write_str("side"),
            Self::Number(number) => number.fmt(f),
        }
    }
}

/// No such word.
#[derive(Debug, Error, PartialEq, Eq)]
#[error("accepted are all, left, right, mid, side, or the number of a channel from 1")]
pub struct NoPick;

impl FromStr for Pick {
    type Err = NoPick;

    fn from_str(text: &str) -> Result<Self, NoPick> {
        match text {
            "all" => Ok(Self::All),
            "left" => Ok(Self::Left),
            "right" => Ok(Self::Right),
            "mid" => Ok(Self::Mid),
            "side" => Ok(Self::Side),
            _ => text.parse().ok().filter(|&number| number > 0).map(Self::Number).ok_or(NoPick),
        }
    }
}

/// A sound has not what is to be heard of it.
#[derive(Debug, Error, PartialEq, Eq)]
#[non_exhaustive]
pub enum NoChannel {
    /// The number is too high.
    #[error("the sound has {channels} channel{}, so there is no channel {number}; name one from 1 to {channels}", if *.channels == 1 { "" } else { "s" })]
    Number {
        /// As asked for, from 1.
        number: u16,
        /// How many there are.
        channels: u16,
    },
    /// The side of a mono sound.
    #[error(
        "the sound has one channel, and its side, half the difference of left and right, is silence; use all"
    )]
    Silence,
}

/// `source` with what `pick` leaves of its channels.
///
/// # Errors
/// When there is no such channel.
pub fn pick(
    source: Box<dyn Source + Send>,
    pick: Pick,
) -> Result<Box<dyn Source + Send>, NoChannel> {
    let channels = source.format().channels;
    let weights = match pick {
        Pick::All => return Ok(source),
        Pick::Side if channels < 2 => return Err(NoChannel::Silence),
        Pick::Number(number) if number > channels => {
            return Err(NoChannel::Number { number, channels });
        }
        Pick::Left => Weights::only(0),
        Pick::Right => Weights::only(u16::from(channels > 1)),
        Pick::Mid if channels < 2 => Weights::only(0),
        Pick::Mid => Weights { first: 0, of_first: 0.5, of_next: 0.5 },
        Pick::Side => Weights { first: 0, of_first: 0.5, of_next: -0.5 },
        Pick::Number(number) => Weights::only(number.saturating_sub(1)),
    };
    Ok(Box::new(Picked { source, weights, room: Vec::new() }))
}

/// A channel, and how much of it and of the one after it are added up.
#[derive(Debug, Clone, Copy)]
struct Weights {
    first: usize,
    of_first: f32,
    of_next: f32,
}

impl Weights {
    fn only(channel: u16) -> Self {
        Self { first: channel.into(), of_first: 1.0, of_next: 0.0 }
    }
}

struct Picked {
    source: Box<dyn Source + Send>,
    weights: Weights,
    room: Vec<f32>,
}

impl Source for Picked {
    fn format(&self) -> SoundFormat {
        SoundFormat { channels: 1, ..self.source.format() }
    }

    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        let Some(block) = self.source.next_block()? else { return Ok(None) };
        let Weights { first, of_first, of_next } = self.weights;
        self.room.clear();
        let instants = block.interleaved().chunks_exact(usize::from(block.channels()));
        self.room.extend(instants.map(|instant| {
            let sample = |channel: usize| instant.get(channel).copied().unwrap_or(0.0);
            // A channel that is not asked for must not come in, not even as what is no number.
            if of_next == 0.0 {
                sample(first)
            } else {
                of_first * sample(first) + of_next * sample(first + 1)
            }
        }));
        Ok(SampleBlock::new(&self.room, 1))
    }

    fn expected_instants(&self) -> Option<u64> {
        self.source.expected_instants()
    }

    fn remarks(&self) -> &[String] {
        self.source.remarks()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::super::collect;
    use super::super::tone::Samples;
    use super::*;

    fn heard(channels: u16, samples: &[f32], word: &str) -> Result<Vec<f32>, NoChannel> {
        let source = Samples::new(8_000, channels, samples.to_vec()).unwrap();
        let mut picked = pick(Box::new(source), word.parse().unwrap())?;
        Ok(collect(picked.as_mut()).unwrap())
    }

    #[test]
    fn each_word_leaves_what_it_says() {
        let stereo = [0.5, 0.25, -0.5, 1.0];
        assert_eq!(heard(2, &stereo, "all").unwrap(), stereo);
        assert_eq!(heard(2, &stereo, "left").unwrap(), [0.5, -0.5]);
        assert_eq!(heard(2, &stereo, "right").unwrap(), [0.25, 1.0]);
        assert_eq!(heard(2, &stereo, "mid").unwrap(), [0.375, 0.25]);
        assert_eq!(heard(2, &stereo, "side").unwrap(), [0.125, -0.75]);
        assert_eq!(heard(2, &stereo, "2").unwrap(), [0.25, 1.0]);
        let three = [0.5, 0.25, -1.0, 0.0, 0.0, 2.0];
        assert_eq!(heard(3, &three, "3").unwrap(), [-1.0, 2.0]);
        assert_eq!(heard(3, &three, "mid").unwrap(), [0.375, 0.0]);
    }

    #[test]
    fn mono_is_the_same_on_both_sides_and_has_no_side() {
        for word in ["all", "left", "right", "mid", "1"] {
            assert_eq!(heard(1, &[0.5, -0.25], word).unwrap(), [0.5, -0.25], "{word}");
        }
        assert_eq!(heard(1, &[0.5], "side"), Err(NoChannel::Silence));
        let error = heard(1, &[0.5], "2").unwrap_err().to_string();
        assert!(error.starts_with("the sound has 1 channel, so there is no channel 2"), "{error}");
    }

    #[test]
    fn words_read_as_they_are_written() {
        for word in ["all", "left", "right", "mid", "side", "7"] {
            assert_eq!(word.parse::<Pick>().unwrap().to_string(), word);
        }
        for word in ["", "0", "-1", "both", "Left", "1.5", "70000"] {
            assert_eq!(word.parse::<Pick>(), Err(NoPick), "{word}");
        }
    }
}
