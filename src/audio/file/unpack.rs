//! Decoding by the `symphonia` crate, behind a face that cannot panic.
//!
//! A decoder that meets hostile bytes may fail an assertion of its own. Such a panic is caught
//! here, the decoder is not touched again, and the sound ends with a remark: one broken file must
//! not take a whole library of songs, or a running show, down with it.

use std::fs::File;
use std::io::{self, Seek, SeekFrom};

use symphonia::core::codecs::audio::AudioDecoder;
use symphonia::core::errors::Error;
use symphonia::core::packet::Packet;

use super::super::SoundError;
use super::ending::Extent;
use super::feed::{Opened, Packets, Window};
use super::guard::{guarded, is_of_the_system};
use super::sniff::Kind;
use super::{FETCH, NAME, Place, adts, aiff, library, mp4, mpeg};

/// Packets that may fail one after the other before the rest counts as undecodable.
const MOST_FAILURES: u32 = 10_000;

/// MP3 frames of another layout, one after the other, that make a change and not an accident.
const LAYOUT_CHANGE: u32 = 4;

/// What the next packets brought.
pub(super) enum Step {
    /// Samples that belong at instant `at` on the file's own scale.
    Run { at: i64, rate_hz: u32, channels: u64 },
    /// Something was lost.
    Damaged,
    /// The next stream of a chain begins; its scale is its own.
    NewStream,
    /// What follows has another rate or other channels.
    NewLayout,
    /// The end of the data.
    End,
    /// Nothing more can be decoded.
    Fault,
    /// Nothing more can be read.
    Io(io::Error),
}

/// Why a file could not be opened.
pub(super) enum Trouble {
    Io(io::Error),
    /// What is wrong with it.
    Broken(String),
    /// Nothing is wrong, but its sound cannot be decoded here.
    Foreign,
    /// The same, and its coding has a name.
    Coding(&'static str),
    /// The same, and what it holds instead has a name.
    Holds(&'static str),
    /// So many channels in a coding of which more than two are not decoded, or wrongly.
    Surround(usize, &'static str),
    /// There is no sound in it at all.
    NoSound,
}

impl Trouble {
    /// As a message that names the file and its kind.
    pub(super) fn report(self, place: &Place, kind: Kind) -> SoundError {
        let name = kind.name();
        match self {
            Self::Io(error) => place.io(error),
            Self::Broken(what) => {
                place.undecodable(&format!("this {name} is damaged: {what}"), FETCH)
            }
            Self::Foreign => place
                .foreign(&format!("the sound in this {name} is of a kind that is not known here")),
            Self::Coding(coding) => place.foreign(&format!("this {name} holds {coding} samples")),
            Self::Holds(what) => place.foreign(&format!("this {name} holds {what}")),
            Self::Surround(channels, coding) => SoundError::Unsuitable {
                path: place.0.clone(),
                reason: format!("it has {channels} channels, in {coding} accepted are 1 and 2"),
                advice: place.convert(),
            },
            Self::NoSound => place.undecodable(&format!("there is no sound in this {name}"), NAME),
        }
    }
}

/// A file being unpacked.
pub(super) struct Unpacker {
    kind: Kind,
    packets: Box<dyn Packets>,
    decoder: Box<dyn AudioDecoder>,
    start: i64,
    window: Option<Window>,
    announced: Option<u64>,
    expected: Option<u64>,
    sample_bits: Option<u64>,
    notes: Vec<String>,
    extent: Extent,
    /// Bytes of packets so far.
    unpacked: u64,
    /// Packets that failed since the last good one.
    failures: u32,
    /// MP3 frames of another layout since the last good one, and the layout of that.
    strangers: u32,
    layout: Option<(u32, u16)>,
}

impl Unpacker {
    /// Reads as far as the first packet.
    pub(super) fn open(mut file: File, kind: Kind) -> Result<Self, Trouble> {
        let length = file.metadata().map_err(Trouble::Io)?.len();
        let extent = Extent::of(&mut file, kind).map_err(Trouble::Io)?;
        file.seek(SeekFrom::Start(0)).map_err(Trouble::Io)?;
        let opened = match kind {
            Kind::Mp4 => mp4::open(file),
            Kind::Aac(at) => adts::open(file, at),
            Kind::Aiff => aiff::open(file),
            _ => library::open(&file, kind, length, extent.counted),
        };
        Ok(Self::of(opened?, kind, extent))
    }

    pub(super) fn of(opened: Opened, kind: Kind, extent: Extent) -> Self {
        Self {
            kind,
            packets: opened.packets,
            decoder: opened.decoder,
            start: opened.start,
            window: opened.window,
            announced: opened.announced,
            expected: opened.expected,
            sample_bits: opened.sample_bits,
            notes: opened.notes,
            extent,
            unpacked: 0,
            failures: 0,
            strangers: 0,
            layout: None,
        }
    }

    /// What was found worth saying while the file was opened.
    pub(super) fn take_notes(&mut self) -> Vec<String> {
        std::mem::take(&mut self.notes)
    }

    /// Where the first sample of the present stream belongs on the file's own scale.
    pub(super) fn start(&self) -> i64 {
        self.start
    }

    /// Instants that the file says it holds.
    pub(super) fn announced(&self) -> Option<u64> {
        self.announced
    }

    /// The same, estimates included.
    pub(super) fn expected(&self) -> Option<u64> {
        self.expected
    }

    /// True where a file that should say how long it is leaves that open.
    pub(super) fn is_open_ended(&self) -> bool {
        matches!(self.kind, Kind::Wav | Kind::Aiff) && self.announced.is_none()
    }

    /// Bits that the file takes for a sample of known size, padding counted in.
    pub(super) fn sample_bits(&self) -> Option<u64> {
        self.sample_bits
    }

    /// True where the data stop before their end.
    pub(super) fn is_cut_short(&self) -> bool {
        self.extent.cut_short || self.packets.is_cut()
    }

    /// Share of the data that was in no packet, where that can be told. Asked at the end.
    pub(super) fn lost_share(&self) -> Option<f64> {
        let lost = match self.extent.frames {
            Some(frames) => frames.saturating_sub(self.unpacked),
            None => self.packets.stray(),
        };
        (lost > 0 && self.unpacked > 0).then(|| lost as f64 / self.unpacked as f64)
    }

    /// Decodes into `run` until there is something to tell.
    pub(super) fn step(&mut self, run: &mut Vec<f32>) -> Step {
        while self.failures < MOST_FAILURES {
            let told = match guarded(|| self.packets.step()) {
                None => Some(Step::Fault),
                Some(Ok(Some(packet))) => self.decode(&packet, run),
                Some(Ok(None)) => Some(Step::End),
                Some(Err(Error::ResetRequired)) => Some(self.next_stream()),
                Some(Err(Error::IoError(error))) => Some(self.no_packet(error)),
                Some(Err(_)) => {
                    self.failures += 1;
                    Some(Step::Damaged)
                }
            };
            if let Some(step) = told {
                return step;
            }
        }
        Step::Fault
    }

    fn decode(&mut self, packet: &Packet, run: &mut Vec<f32>) -> Option<Step> {
        self.unpacked += packet.data.len() as u64;
        let decoder = &mut self.decoder;
        let decoded = guarded(|| {
            decoder.decode(packet).map(|samples| {
                samples.copy_to_vec_interleaved(run);
                (samples.spec().rate(), samples.spec().channels().count() as u64)
            })
        });
        match decoded {
            None => Some(Step::Fault),
            Some(Ok((rate_hz, channels))) => {
                (self.failures, self.strangers) = (0, 0);
                self.layout = u16::try_from(channels).ok().map(|channels| (rate_hz, channels));
                let mut at = packet.pts.get().saturating_add_unsigned(packet.trim_start.get());
                if let (Some(window), Ok(stride)) = (self.window, usize::try_from(channels)) {
                    at = trim(run, at, packet.dur.get(), stride, window);
                }
                (!run.is_empty()).then_some(Step::Run { at, rate_hz, channels })
            }
            Some(Err(_)) if self.is_stranger(packet) => {
                self.strangers += 1;
                (self.strangers >= LAYOUT_CHANGE).then_some(Step::NewLayout)
            }
            Some(Err(_)) => {
                self.failures += 1;
                Some(Step::Damaged)
            }
        }
    }

    /// The MP3 decoder refuses frames of another layout without saying that this is the reason.
    fn is_stranger(&self, packet: &Packet) -> bool {
        let header = mpeg::Header::read(&packet.data).filter(|_| matches!(self.kind, Kind::Mp3(_)));
        header.zip(self.layout).is_some_and(|(it, layout)| (it.rate_hz, it.channels) != layout)
    }

    /// The system's errors have a number; the others are made up while parsing and mean damage.
    fn no_packet(&mut self, error: io::Error) -> Step {
        if error.kind() == io::ErrorKind::UnexpectedEof {
            Step::End
        } else if is_of_the_system(&error) {
            Step::Io(error)
        } else {
            self.failures += 1;
            Step::Damaged
        }
    }

    fn next_stream(&mut self) -> Step {
        let Some(Some(renewed)) = guarded(|| self.packets.renew()) else { return Step::Fault };
        let sum = |before: Option<u64>| Some(before?.saturating_add(renewed.length?));
        (self.announced, self.expected) = (sum(self.announced), sum(self.expected));
        (self.start, self.decoder) = (renewed.start, renewed.decoder);
        Step::NewStream
    }
}

pub(super) fn trouble(error: Error) -> Trouble {
    match error {
        Error::IoError(error) if is_of_the_system(&error) => Trouble::Io(error),
        Error::IoError(error) if error.kind() == io::ErrorKind::UnexpectedEof => {
            Trouble::Broken("it ends before any sound".into())
        }
        Error::Unsupported(what) if what.ends_with("missing data chunk") => {
            Trouble::Broken("there is no sound in it".into())
        }
        Error::Unsupported(_) => Trouble::Foreign,
        Error::DecodeError(what) | Error::LimitError(what) => Trouble::Broken(what.into()),
        other => Trouble::Broken(other.to_string()),
    }
}

pub(super) fn inner_fault<T>() -> Result<T, Trouble> {
    Err(Trouble::Broken("its decoder gave up".into()))
}

/// Leaves of the samples of a packet that begins at `at` what lies in the packet and in the window.
/// Gives the instant at which that begins.
fn trim(run: &mut Vec<f32>, at: i64, lasts: u64, stride: usize, window: Window) -> i64 {
    let at = u64::try_from(at).unwrap_or(0);
    let end = window.end.unwrap_or(u64::MAX).min(at.saturating_add(lasts));
    let samples =
        |instants: u64| usize::try_from(instants).unwrap_or(usize::MAX).saturating_mul(stride);
    run.truncate(samples(end.saturating_sub(at)));
    let early = window.start.saturating_sub(at);
    run.drain(..samples(early).min(run.len()));
    i64::try_from(at.saturating_add(early)).unwrap_or(i64::MAX)
}
