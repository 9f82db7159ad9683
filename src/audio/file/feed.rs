//! Where packets come from: a reader of the `symphonia` crate or one of our own.

use std::collections::VecDeque;

use symphonia::core::codecs::audio::{AudioCodecParameters, AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::packet::Packet;
use symphonia::default::get_codecs;

use super::guard::guarded;
use super::unpack::{Trouble, inner_fault, trouble};

/// Packets of one sound, in order.
pub(super) trait Packets: Send {
    /// The next one; `None` at the end.
    fn step(&mut self) -> Result<Option<Packet>, Error>;

    /// Bytes amid the packets that belong to none, so far.
    fn stray(&self) -> u64 {
        0
    }

    /// True once it is known that the file stops in the middle of its data.
    fn is_cut(&self) -> bool {
        false
    }

    /// What comes next, after an error that asks to start anew.
    fn renew(&mut self) -> Option<Renewed> {
        None
    }
}

/// The next stream of a chain.
pub(super) struct Renewed {
    pub(super) decoder: Box<dyn AudioDecoder>,
    /// Where its first sample belongs on its own scale.
    pub(super) start: i64,
    /// Instants.
    pub(super) length: Option<u64>,
}

/// Which part of the decoded samples is the sound; the rest is what encoders put around it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Window {
    pub(super) start: u64,
    pub(super) end: Option<u64>,
}

/// A file that is ready to be decoded.
pub(super) struct Opened {
    pub(super) packets: Box<dyn Packets>,
    pub(super) decoder: Box<dyn AudioDecoder>,
    /// Where the first sample belongs on the file's own scale.
    pub(super) start: i64,
    /// Where what lies around the sound has still to be cut off.
    pub(super) window: Option<Window>,
    /// Instants that the file says it holds.
    pub(super) announced: Option<u64>,
    /// The same, estimates included.
    pub(super) expected: Option<u64>,
    /// Bits that the file takes for a sample of known size, padding counted in.
    pub(super) sample_bits: Option<u64>,
    /// What a listener should know.
    pub(super) notes: Vec<String>,
}

impl Opened {
    /// For a reader of our own. `announced`: instants in the window.
    pub(super) fn own(
        packets: impl Packets + 'static,
        parameters: &AudioCodecParameters,
        window: Window,
        announced: Option<u64>,
    ) -> Result<Self, Trouble> {
        let options = AudioDecoderOptions::default();
        let decoder =
            guarded(|| get_codecs().make_audio_decoder(parameters, &options).map_err(trouble));
        Ok(Self {
            packets: Box::new(packets),
            decoder: decoder.unwrap_or_else(inner_fault)?,
            start: i64::try_from(window.start).unwrap_or(0),
            window: Some(window),
            announced,
            expected: announced,
            sample_bits: None,
            notes: Vec::new(),
        })
    }
}

/// Packets of which the first few were looked at already.
pub(super) struct Peeked<P> {
    ready: VecDeque<Result<Option<Packet>, Error>>,
    rest: P,
}

impl<P: Packets> Peeked<P> {
    pub(super) fn new(mut rest: P, count: usize) -> Self {
        let mut ready = VecDeque::with_capacity(count);
        while ready.len() < count {
            let next = rest.step();
            let ended = matches!(next, Ok(None) | Err(Error::IoError(_)));
            ready.push_back(next);
            if ended {
                break;
            }
        }
        Self { ready, rest }
    }

    /// The bytes of those packets.
    pub(super) fn bytes(&self) -> impl Iterator<Item = &[u8]> {
        self.ready.iter().filter_map(|next| Some(&next.as_ref().ok()?.as_ref()?.data[..]))
    }
}

impl<P: Packets> Packets for Peeked<P> {
    fn step(&mut self) -> Result<Option<Packet>, Error> {
        self.ready.pop_front().unwrap_or_else(|| self.rest.step())
    }

    fn stray(&self) -> u64 {
        self.rest.stray()
    }

    fn is_cut(&self) -> bool {
        self.rest.is_cut()
    }
}
