//! WAV files, read by the `hound` crate and, where that does not fit, by `symphonia`.
//!
//! * `hound`: whole numbers of 8, 16, 24 and 32 bits and 32-bit floats, in the plain and in the
//!   extensible form, also 24 bits in the lower three of four bytes in the plain form (common
//!   practice of recorders, no standard).
//! * `symphonia` ([`super::packed`]): what `hound` refuses (64-bit floats, A-law, mu-law, chunks of
//!   odd length before the samples, no stated length, 32-bit whole numbers in an 18-byte format
//!   chunk, a byte rate that does not fit), and samples in a wider container in the extensible form:
//!   `hound` takes them from its lower end, where the form puts them at the upper.
//! * Refused: RF64 and BW64, which neither reads; ADPCM and other codings; a stated length of zero
//!   with bytes after it, which is what writers leave behind that never came back to fill it in.

use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Seek};

use hound::{SampleFormat, WavReader, WavSpec};

use super::super::{SampleBlock, SoundError, SoundFormat, Source};
use super::guard::{Bytes, guarded, is_of_the_system};
use super::packed::Packed;
use super::sniff::Kind;
use super::unpack::Unpacker;
use super::{Place, REFILL, remark};

/// Instants decoded at once.
const BLOCK: usize = 16 * 1024;

/// Bytes read at once.
const READ_BYTES: usize = 64 * 1024;

/// Lengths in bytes from here on are what programs write that do not know the length: all ones, or
/// the largest whole number of blocks below 2 GiB.
pub(super) const OPEN_LENGTH: u64 = 0x7fff_0000;

/// Opens a WAV file of `length` bytes with the reader that fits.
pub(super) fn open(
    file: File,
    length: u64,
    place: Place,
) -> Result<Box<dyn Source + Send>, SoundError> {
    let Some(head) = Head::look(&file).map_err(|error| place.io(error))? else {
        return Ok(Box::new(Packed::open(file, Kind::Wav, place)?));
    };
    let sound = place.accept(head.spec.sample_rate, head.spec.channels.into())?;
    if head.len == 0 && length > head.data_at {
        return Err(place.undecodable("this WAV file states a length of zero", REFILL));
    }
    if head.fits {
        return Ok(Box::new(Wav::new(&file, length, head, sound, place)?));
    }
    let copy = file.try_clone().map_err(|error| place.io(error))?;
    match Unpacker::open(copy, Kind::Wav) {
        Ok(unpacker) if head.may_be(&unpacker) => {
            Ok(Box::new(Packed::new(unpacker, Kind::Wav, place)?))
        }
        _ if head.readable => Ok(Box::new(Wav::new(&file, length, head, sound, place)?)),
        Err(trouble) => Err(trouble.report(&place, Kind::Wav)),
        Ok(_) => Err(place.foreign("this is a WAV file with samples of an unusual size")),
    }
}

/// What `hound` makes of a file.
struct Head {
    spec: WavSpec,
    /// Samples in all channels that the file states.
    len: u32,
    /// Byte at which they start.
    data_at: u64,
    /// Bytes of one.
    width: u64,
    /// True where `hound` decodes them.
    readable: bool,
    /// True where they fill their bytes, so that it decodes them rightly too.
    fits: bool,
}

impl Head {
    /// `None` where `hound` refuses the file. How many bytes it takes for a sample it does not tell,
    /// so it is made to read one.
    fn look(file: &File) -> io::Result<Option<Self>> {
        let mut bytes = BufReader::with_capacity(READ_BYTES, Bytes::of(file, true)?);
        match guarded(|| Self::read(&mut bytes)) {
            Some(Ok(head)) => Ok(Some(head)),
            Some(Err(hound::Error::IoError(error))) if is_of_the_system(&error) => Err(error),
            Some(Err(_)) | None => Ok(None),
        }
    }

    fn read(mut bytes: &mut (impl Read + Seek)) -> hound::Result<Self> {
        let wav = WavReader::new(&mut bytes)?;
        let (spec, len) = (wav.spec(), wav.len());
        let data_at = bytes.stream_position()?;
        bytes.rewind()?;
        let mut wav = WavReader::new(&mut bytes)?;
        let first = match spec.sample_format {
            SampleFormat::Int => wav.samples::<i32>().next().map(|sample| sample.map(drop)),
            SampleFormat::Float => wav.samples::<f32>().next().map(|sample| sample.map(drop)),
        };
        let ideal = u64::from(spec.bits_per_sample.div_ceil(8));
        let (readable, width) = match first {
            Some(Ok(())) => (true, bytes.stream_position()? - data_at),
            // There is none: nothing can go wrong.
            None | Some(Err(hound::Error::IoError(_))) => (true, ideal),
            Some(Err(_)) => (false, ideal),
        };
        let fits = readable && width * 8 == u64::from(spec.bits_per_sample);
        Ok(Self { spec, len, data_at, width, readable, fits })
    }

    /// True where the other reader is right about samples that do not fit for `hound`: it takes the
    /// plain form as if there were no padding, and knows of more bytes only in the extensible form.
    fn may_be(&self, unpacker: &Unpacker) -> bool {
        self.spec.sample_format == SampleFormat::Float
            || unpacker.sample_bits() > Some(u64::from(self.spec.bits_per_sample))
    }
}

/// A WAV file as `hound` reads it.
struct Wav {
    place: Place,
    reader: WavReader<Buffered>,
    sound: SoundFormat,
    spec: WavSpec,
    /// Instants that the file states; `None` where it leaves that open.
    stated: Option<u64>,
    /// How many of them are in it at most.
    present: u64,
    given: u64,
    samples: Vec<f32>,
    /// Samples that were no numbers: how many, and the instant of the first.
    odd: (u64, u64),
    remarks: Vec<String>,
    ended: bool,
}

/// `hound` asks for one sample at a time. Handing out two and three bytes by hand instead of by a
/// general copy makes it three times as fast (measured).
struct Buffered(BufReader<Bytes>);

impl Read for Buffered {
    #[inline]
    fn read(&mut self, room: &mut [u8]) -> io::Result<usize> {
        match (&mut *room, self.0.buffer()) {
            ([a, b], &[x, y, ..]) => (*a, *b) = (x, y),
            ([a, b, c], &[x, y, z, ..]) => (*a, *b, *c) = (x, y, z),
            _ => return self.0.read(room),
        }
        self.0.consume(room.len());
        Ok(room.len())
    }
}

/// Why there are no more samples.
enum Stop {
    /// There are none, or not all that there should be.
    Short,
    Fault,
    Io(io::Error),
}

impl Wav {
    fn new(
        file: &File,
        length: u64,
        head: Head,
        sound: SoundFormat,
        place: Place,
    ) -> Result<Self, SoundError> {
        let reader = Bytes::of(file, true).and_then(|bytes| {
            let buffered = Buffered(BufReader::with_capacity(READ_BYTES, bytes));
            WavReader::new(buffered).map_err(io::Error::other)
        });
        let instants = u64::from(head.len) / u64::from(sound.channels);
        let stride = head.width * u64::from(sound.channels);
        let present = length.saturating_sub(head.data_at) / stride;
        let open = instants * stride >= OPEN_LENGTH && present < instants;
        Ok(Self {
            reader: reader.map_err(|error| place.io(error))?,
            place,
            sound,
            spec: head.spec,
            stated: (!open).then_some(instants),
            present: present.min(instants),
            given: 0,
            samples: Vec::with_capacity(BLOCK * usize::from(sound.channels)),
            odd: (0, 0),
            remarks: Vec::new(),
            ended: false,
        })
    }

    /// Decodes the next block, as far as there is sound. Full scale of every whole number is its
    /// most negative value, which becomes -1 exactly.
    fn decode(&mut self) -> Option<Stop> {
        let Self { reader, samples, spec, .. } = self;
        samples.clear();
        let channels = usize::from(self.sound.channels);
        let most = BLOCK * channels;
        let step = libm::ldexpf(1.0, 1 - i32::from(spec.bits_per_sample));
        let ended = guarded(|| match spec.sample_format {
            SampleFormat::Int => take(reader.samples::<i32>(), most, samples, |x| x as f32 * step),
            SampleFormat::Float => take(reader.samples::<f32>(), most, samples, |x| x),
        });
        samples.truncate(samples.len() - samples.len() % channels);
        match ended {
            None => Some(Stop::Fault),
            Some(Some(hound::Error::IoError(error))) if is_of_the_system(&error) => {
                Some(Stop::Io(error))
            }
            Some(Some(_)) => Some(Stop::Short),
            Some(None) => samples.is_empty().then_some(Stop::Short),
        }
    }

    fn silence_non_numbers(&mut self) {
        let (count, first) = remark::silence_non_numbers(&mut self.samples);
        if count > 0 && self.odd.0 == 0 {
            self.odd.1 = self.given + (first / usize::from(self.sound.channels)) as u64;
        }
        self.odd.0 += count;
    }

    /// Says what was missing or odd, once, when the last block is out.
    fn end(&mut self, fault: bool) {
        self.ended = true;
        let rate_hz = self.sound.rate_hz;
        match self.stated {
            _ if fault => self.remarks.push(remark::undecodable(self.given, rate_hz)),
            Some(stated) if self.given < stated => {
                self.remarks.push(remark::cut_short(self.given, Some(stated), rate_hz));
            }
            Some(0) => self.remarks.push("there is no sound in the file".into()),
            Some(_) => {}
            None => self.remarks.push(remark::open_length(self.given, rate_hz)),
        }
        if self.odd.0 > 0 {
            self.remarks.push(remark::not_numbers(self.odd.0, self.odd.1, rate_hz));
        }
    }
}

/// Adds up to `most` samples to `room`. Gives the error that ended it.
fn take<S>(
    samples: impl Iterator<Item = hound::Result<S>>,
    most: usize,
    room: &mut Vec<f32>,
    convert: impl Fn(S) -> f32,
) -> Option<hound::Error> {
    let mut failure = None;
    let good = samples.take(most).map_while(|sample| match sample {
        Ok(sample) => Some(convert(sample)),
        Err(error) => {
            failure = Some(error);
            None
        }
    });
    room.extend(good);
    failure
}

impl Source for Wav {
    fn format(&self) -> SoundFormat {
        self.sound
    }

    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        if self.ended {
            return Ok(None);
        }
        let stop = self.decode();
        self.silence_non_numbers();
        self.given += (self.samples.len() / usize::from(self.sound.channels)) as u64;
        match stop {
            None => {}
            Some(Stop::Short) => self.end(false),
            Some(Stop::Fault) => self.end(true),
            Some(Stop::Io(error)) => {
                self.end(false);
                return Err(self.place.io(error));
            }
        }
        let block = SampleBlock::new(&self.samples, self.sound.channels);
        Ok(block.filter(|_| !self.samples.is_empty()))
    }

    fn expected_instants(&self) -> Option<u64> {
        Some(self.present.saturating_sub(self.given))
    }

    fn remarks(&self) -> &[String] {
        &self.remarks
    }
}
