//! Demultiplexing and decoding by the `symphonia` crate, behind a face that cannot panic.
//!
//! A decoder that meets hostile bytes may fail an assertion of its own. Such a panic is caught
//! here, the decoder is not touched again, and the sound ends with a remark: one broken file must
//! not take a whole library of songs, or a running show, down with it.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::panic::{AssertUnwindSafe, catch_unwind};

use symphonia::core::codecs::audio::well_known::CODEC_ID_VORBIS;
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::{FormatOptions, FormatReader, Track};
use symphonia::core::io::{MediaSource, MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::packet::Packet;
use symphonia::default::formats::{FlacReader, MpaReader, OggReader};
use symphonia::default::get_codecs;

use super::super::SoundError;
use super::ending::Extent;
use super::sniff::Kind;
use super::{CONVERT, FETCH, Place, mpeg};

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
    /// Vorbis with so many channels, which would be decoded wrongly.
    Surround(usize),
}

impl Trouble {
    /// As a message that names the file and its kind.
    pub(super) fn report(self, place: &Place, kind: Kind) -> SoundError {
        let name = name_of(kind);
        match self {
            Self::Io(error) => place.io(error),
            Self::Broken(what) => {
                place.undecodable(&format!("this {name} is damaged: {what}"), FETCH)
            }
            Self::Foreign => {
                let reason =
                    format!("the sound in this {name} is of a kind that is not known here");
                place.undecodable(&reason, CONVERT)
            }
            Self::Surround(channels) => SoundError::Unsuitable {
                path: place.0.clone(),
                reason: format!("it has {channels} channels, in Ogg Vorbis accepted are 1 and 2"),
                advice: CONVERT.into(),
            },
        }
    }
}

/// What the user calls such a file.
pub(super) fn name_of(kind: Kind) -> &'static str {
    match kind {
        Kind::Flac(_) => "FLAC file",
        Kind::Ogg => "Ogg file",
        _ => "MP3 file",
    }
}

/// A file being unpacked.
pub(super) struct Unpacker {
    kind: Kind,
    reader: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    start: i64,
    announced: Option<u64>,
    expected: Option<u64>,
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
        let extent = Extent::of(&mut file, kind).map_err(Trouble::Io)?;
        let reader = open_reader(&file, kind)?;
        let (track, decoder) =
            guarded(|| new_decoder(reader.as_ref())).unwrap_or_else(inner_fault)?;
        let expected = length_of(&track);
        Ok(Self {
            kind,
            reader,
            decoder,
            track: track.id,
            start: start_of(&track),
            announced: expected.filter(|_| extent.counted),
            expected,
            extent,
            unpacked: 0,
            failures: 0,
            strangers: 0,
            layout: None,
        })
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

    /// True where the data stop before their end.
    pub(super) fn is_cut_short(&self) -> bool {
        self.extent.cut_short
    }

    /// Share of the data that was in no packet, where that can be told. Asked at the end.
    pub(super) fn lost_share(&self) -> Option<f64> {
        let lost = self.extent.frames?.saturating_sub(self.unpacked);
        (lost > 0 && self.unpacked > 0).then(|| lost as f64 / self.unpacked as f64)
    }

    /// Decodes into `run` until there is something to tell.
    pub(super) fn step(&mut self, run: &mut Vec<f32>) -> Step {
        while self.failures < MOST_FAILURES {
            let told = match guarded(|| self.reader.next_packet()) {
                None => Some(Step::Fault),
                Some(Ok(Some(packet))) if packet.track_id != self.track => None,
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
                let at = packet.pts.get().saturating_add_unsigned(packet.trim_start.get());
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
        } else if error.raw_os_error().is_some() {
            Step::Io(error)
        } else {
            self.failures += 1;
            Step::Damaged
        }
    }

    fn next_stream(&mut self) -> Step {
        let Some(Ok((track, decoder))) = guarded(|| new_decoder(self.reader.as_ref())) else {
            return Step::Fault;
        };
        let more = length_of(&track);
        let sum = |before: Option<u64>| Some(before?.saturating_add(more?));
        (self.announced, self.expected) = (sum(self.announced), sum(self.expected));
        (self.track, self.start, self.decoder) = (track.id, start_of(&track), decoder);
        Step::NewStream
    }
}

/// `None` when `work` panicked; whatever it worked on must not be used again then.
fn guarded<T>(work: impl FnOnce() -> T) -> Option<T> {
    catch_unwind(AssertUnwindSafe(work)).ok()
}

/// An Ogg file whose last pages are spoilt cannot be opened by one who looks at them first, so the
/// second attempt is made as if the file were a stream that shows its end only when it comes.
fn open_reader(file: &File, kind: Kind) -> Result<Box<dyn FormatReader>, Trouble> {
    let attempt = |seekable| {
        let mut file = file.try_clone().map_err(Trouble::Io)?;
        file.rewind().map_err(Trouble::Io)?;
        let source = Bytes { length: file.metadata().map_err(Trouble::Io)?.len(), file, seekable };
        guarded(|| new_reader(source, kind)).unwrap_or_else(inner_fault)
    };
    match attempt(true) {
        Err(Trouble::Broken(_)) if kind == Kind::Ogg => attempt(false),
        other => other,
    }
}

/// A file as the decoders see it.
struct Bytes {
    file: File,
    length: u64,
    seekable: bool,
}

impl Read for Bytes {
    fn read(&mut self, room: &mut [u8]) -> io::Result<usize> {
        self.file.read(room)
    }
}

impl Seek for Bytes {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.file.seek(to)
    }
}

impl MediaSource for Bytes {
    fn is_seekable(&self) -> bool {
        self.seekable
    }

    fn byte_len(&self) -> Option<u64> {
        self.seekable.then_some(self.length)
    }
}

fn new_reader(source: Bytes, kind: Kind) -> Result<Box<dyn FormatReader>, Trouble> {
    let mut bytes = MediaSourceStream::new(Box::new(source), MediaSourceStreamOptions::default());
    let options = FormatOptions::default();
    if let Kind::Flac(at) | Kind::Mp3(at) = kind {
        bytes.seek(SeekFrom::Start(at)).map_err(Trouble::Io)?;
    }
    let reader: Result<Box<dyn FormatReader>, Error> = match kind {
        Kind::Flac(_) => FlacReader::try_new(bytes, options).map(|reader| Box::new(reader) as _),
        Kind::Mp3(_) => MpaReader::try_new(bytes, options).map(|reader| Box::new(reader) as _),
        _ => OggReader::try_new(bytes, options).map(|reader| Box::new(reader) as _),
    };
    reader.map_err(trouble)
}

/// The first track with sound that can be decoded, and its decoder.
fn new_decoder(reader: &dyn FormatReader) -> Result<(Track, Box<dyn AudioDecoder>), Trouble> {
    let options = AudioDecoderOptions::default();
    let mut failure = Trouble::Foreign;
    for track in reader.tracks() {
        let Some(parameters) = track.codec_params.as_ref().and_then(|codec| codec.audio()) else {
            continue;
        };
        let channels = parameters.channels.as_ref().map_or(0, |channels| channels.count());
        if parameters.codec == CODEC_ID_VORBIS && channels > 2 {
            // The decoder undoes channel coupling in rising order, the Vorbis I specification
            // (section 4.3.5) in descending order: from three channels on that matters.
            failure = Trouble::Surround(channels);
            continue;
        }
        match get_codecs().make_audio_decoder(parameters, &options) {
            Ok(decoder) => return Ok((track.clone(), decoder)),
            Err(error) => failure = trouble(error),
        }
    }
    Err(failure)
}

fn trouble(error: Error) -> Trouble {
    match error {
        Error::IoError(error) if error.raw_os_error().is_some() => Trouble::Io(error),
        Error::IoError(error) if error.kind() == io::ErrorKind::UnexpectedEof => {
            Trouble::Broken("it ends before any sound".into())
        }
        Error::Unsupported(_) => Trouble::Foreign,
        Error::DecodeError(what) | Error::LimitError(what) => Trouble::Broken(what.into()),
        other => Trouble::Broken(other.to_string()),
    }
}

fn inner_fault<T>() -> Result<T, Trouble> {
    Err(Trouble::Broken("its decoder gave up".into()))
}

fn start_of(track: &Track) -> i64 {
    track.start_ts.get().max(0)
}

/// Instants of a track. An Ogg stream counts from 0 even where it starts later.
fn length_of(track: &Track) -> Option<u64> {
    Some(track.num_frames?.saturating_sub(start_of(track).unsigned_abs()))
}

#[cfg(test)]
#[allow(clippy::panic, reason = "a panic is what has to be survived")]
mod tests {
    use super::*;

    #[test]
    fn a_panic_inside_a_decoder_is_an_answer_and_no_end() {
        assert_eq!(guarded(|| 7), Some(7));
        assert_eq!(guarded(|| -> i32 { panic!("this text belongs to a test that passes") }), None);
    }
}
