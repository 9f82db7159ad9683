//! Demultiplexing and decoding by the `symphonia` crate, behind a face that cannot panic.
//!
//! A decoder that meets hostile bytes may fail an assertion of its own. Such a panic is caught
//! here, the decoder is not touched again, and the sound ends with a remark: one broken file must
//! not take a whole library of songs, or a running show, down with it.

use std::fs::File;
use std::io::{self, Seek, SeekFrom};

use symphonia::core::codecs::audio::well_known::{
    CODEC_ID_ADPCM_IMA_WAV, CODEC_ID_ADPCM_MS, CODEC_ID_PCM_ALAW, CODEC_ID_PCM_F32LE,
    CODEC_ID_PCM_F64LE, CODEC_ID_PCM_MULAW, CODEC_ID_PCM_S16LE, CODEC_ID_PCM_S24LE,
    CODEC_ID_PCM_S32LE, CODEC_ID_PCM_U8, CODEC_ID_VORBIS,
};
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::{FormatOptions, FormatReader, Track};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::packet::Packet;
use symphonia::default::formats::{FlacReader, MpaReader, OggReader, WavReader};
use symphonia::default::get_codecs;

use super::super::SoundError;
use super::ending::Extent;
use super::guard::{Bytes, guarded, is_of_the_system};
use super::sniff::Kind;
use super::wav::OPEN_LENGTH;
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
    /// The same, and its coding has a name.
    Coding(&'static str),
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
            Self::Coding(coding) => {
                place.undecodable(&format!("this is a {name} with {coding} samples"), CONVERT)
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
        Kind::Wav => "WAV file",
        _ => "MP3 file",
    }
}

/// A file being unpacked.
pub(super) struct Unpacker {
    kind: Kind,
    reader: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    /// Bits that the file takes for a sample of known size, padding counted in.
    sample_bits: Option<u64>,
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
        let length = file.metadata().map_err(Trouble::Io)?.len();
        let extent = Extent::of(&mut file, kind).map_err(Trouble::Io)?;
        let reader = open_reader(&file, kind)?;
        let (track, decoder) =
            guarded(|| new_decoder(reader.as_ref())).unwrap_or_else(inner_fault)?;
        let sample_bits = sample_bits(&track);
        let mut expected = length_of(&track);
        if kind == Kind::Wav {
            expected = expected.filter(|_| !states_open_length(&track, sample_bits, length));
        }
        Ok(Self {
            kind,
            sample_bits,
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

    /// True where a WAV file leaves open how long it is.
    pub(super) fn is_open_ended(&self) -> bool {
        self.kind == Kind::Wav && self.announced.is_none()
    }

    /// Bits that the file takes for a sample of known size, padding counted in.
    pub(super) fn sample_bits(&self) -> Option<u64> {
        self.sample_bits
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
        } else if is_of_the_system(&error) {
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

/// An Ogg file whose last pages are spoilt cannot be opened by one who looks at them first, so the
/// second attempt is made as if the file were a stream that shows its end only when it comes.
fn open_reader(file: &File, kind: Kind) -> Result<Box<dyn FormatReader>, Trouble> {
    let attempt = |seekable| {
        let source = Bytes::of(file, seekable).map_err(Trouble::Io)?;
        guarded(|| new_reader(source, kind)).unwrap_or_else(inner_fault)
    };
    match attempt(true) {
        Err(Trouble::Broken(_)) if kind == Kind::Ogg => attempt(false),
        other => other,
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
        Kind::Wav => WavReader::try_new(bytes, options).map(|reader| Box::new(reader) as _),
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
        if [CODEC_ID_ADPCM_MS, CODEC_ID_ADPCM_IMA_WAV].contains(&parameters.codec) {
            failure = Trouble::Coding("ADPCM");
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

/// Bits of one sample in a WAV file, as the name of its coding says.
fn sample_bits(track: &Track) -> Option<u64> {
    match track.codec_params.as_ref()?.audio()?.codec {
        CODEC_ID_PCM_U8 | CODEC_ID_PCM_ALAW | CODEC_ID_PCM_MULAW => Some(8),
        CODEC_ID_PCM_S16LE => Some(16),
        CODEC_ID_PCM_S24LE => Some(24),
        CODEC_ID_PCM_S32LE | CODEC_ID_PCM_F32LE => Some(32),
        CODEC_ID_PCM_F64LE => Some(64),
        _ => None,
    }
}

/// True where the length of a WAV file is one that writers put who do not know it. `there`: bytes
/// that the file really has.
fn states_open_length(track: &Track, sample_bits: Option<u64>, there: u64) -> bool {
    let audio = track.codec_params.as_ref().and_then(|codec| codec.audio());
    let channels = audio.and_then(|audio| Some(audio.channels.as_ref()?.count() as u64));
    let bytes = sample_bits.zip(channels).map_or(0, |(bits, channels)| bits / 8 * channels);
    let stated = length_of(track).map(|length| length.saturating_mul(bytes));
    stated.is_some_and(|stated| stated >= OPEN_LENGTH && stated > there)
}
