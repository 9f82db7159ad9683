//! Packets of FLAC, Ogg, MP3 and WAV files, found by the `symphonia` crate.

use std::fs::File;
use std::io::{Seek, SeekFrom};

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

use super::feed::{Opened, Packets, Renewed};
use super::guard::{Bytes, guarded};
use super::sniff::Kind;
use super::unpack::{Trouble, inner_fault, trouble};
use super::wav::OPEN_LENGTH;

/// The packets of one track.
struct Library {
    reader: Box<dyn FormatReader>,
    track: u32,
}

impl Packets for Library {
    fn step(&mut self) -> Result<Option<Packet>, Error> {
        loop {
            match self.reader.next_packet()? {
                Some(packet) if packet.track_id != self.track => {}
                other => return Ok(other),
            }
        }
    }

    fn renew(&mut self) -> Option<Renewed> {
        let (track, decoder) = new_decoder(self.reader.as_ref()).ok()?;
        self.track = track.id;
        Some(Renewed { decoder, start: start_of(&track), length: length_of(&track) })
    }
}

/// Reads as far as the first packet. `counted`: the file says how long its sound is.
pub(super) fn open(file: &File, kind: Kind, length: u64, counted: bool) -> Result<Opened, Trouble> {
    let reader = open_reader(file, kind)?;
    let (track, decoder) = guarded(|| new_decoder(reader.as_ref())).unwrap_or_else(inner_fault)?;
    let sample_bits = sample_bits(&track);
    let mut expected = length_of(&track);
    if kind == Kind::Wav {
        expected = expected.filter(|_| !states_open_length(&track, sample_bits, length));
    }
    Ok(Opened {
        packets: Box::new(Library { reader, track: track.id }),
        decoder,
        start: start_of(&track),
        window: None,
        announced: expected.filter(|_| counted),
        expected,
        sample_bits,
        notes: Vec::new(),
    })
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
            failure = Trouble::Surround(channels, "Ogg Vorbis");
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
