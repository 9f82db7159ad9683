//! Sound files: the only part of this module that touches a disk.
//!
//! [`open`] looks at the bytes of a file (`sniff`), never at its name. WAV files go to the `hound`
//! crate (`wav`), all others, and the WAV files that `hound` refuses, to the `symphonia` crate
//! (`packed`, `unpack`). Packets are found by that crate (`library`) or by readers of our own that
//! know more about damage and about what encoders put around the sound (`mp4`, `adts`, `aiff`, and
//! `stream` for WAV from a pipe). A damaged or cut file gives what can be decoded, and a remark that
//! says where it went wrong. [`save_wav`] writes.
//!
//! What is cut off because an encoder put it there:
//!
//! * MP3: what the first frame ("Xing", "Info") says; without it nothing.
//! * Ogg Vorbis: what positions in the file say.
//! * AAC and ALAC in MP4: what the edit list says, or the `iTunSMPB` comment; without them nothing.
//!   At the end also what a last packet that lasts shorter than others says.
//! * AAC without a container: nothing, as nothing in the file says it.
//! * WAV, AIFF, FLAC: there is nothing.
#![allow(clippy::disallowed_methods, reason = "this is where sound files are opened")]

mod aac;
mod adts;
mod aiff;
mod convert;
mod ending;
mod feed;
mod fields;
mod guard;
mod library;
mod mp4;
mod mpeg;
mod packed;
mod pcm;
mod remark;
mod save;
mod sniff;
mod stream;
mod unpack;
mod wav;

use crate::shown::Shown as _;
use std::fs::File;
use std::io;
use std::path::Path;

use super::{CHANNEL_LIMITS, RATE_LIMITS_HZ, SoundError, SoundFormat, Source};
pub use save::save_wav;
use sniff::Kind;
pub use stream::wav_stream;

/// Opens a sound file by its content: WAV and AIFF (8 to 32 bit, float, A-law, mu-law), FLAC, Ogg
/// Vorbis, MP3, AAC and ALAC (M4A, MP4), and AAC without a container.
///
/// Channels come in the order of WAV files (front left, front right, centre, ...). Samples that are
/// not numbers become 0; values beyond full scale are kept. Damage inside a packed file is filled
/// with silence of the lost length, so that what follows stays in time.
///
/// # Errors
/// When the file cannot be read, is no sound file of a known kind, or has a sampling rate outside
/// [`RATE_LIMITS_HZ`] or channels outside [`CHANNEL_LIMITS`] (for Ogg Vorbis and AAC: more than two).
pub fn open(path: &Path) -> Result<Box<dyn Source + Send>, SoundError> {
    let place = Place(path.shown());
    let broken = |error| place.io(error);
    // Asked before opening: opening a pipe would wait for its writer.
    let facts = std::fs::metadata(path).map_err(broken)?;
    if facts.is_dir() {
        return Err(place.undecodable("this is a folder, not a sound file", "name a file in it"));
    }
    if !facts.is_file() {
        let advice = "write the sound to a file first and name that";
        return Err(place.undecodable("this is a device or a pipe, not a sound file", advice));
    }
    let mut file = File::open(path).map_err(broken)?;
    let kind = sniff::sniff(&mut file).map_err(broken)?;
    match kind {
        Kind::Wav => wav::open(file, facts.len(), place),
        Kind::Foreign(what) => Err(place.foreign(&format!("this is {what}"))),
        Kind::Other(what) => Err(place.undecodable(&format!("this is {what}"), NAME)),
        Kind::Empty => Err(place.undecodable("the file is empty", FETCH)),
        Kind::Unknown => Err(place.undecodable(
            "this is not a sound file of a known kind (WAV, AIFF, FLAC, Ogg Vorbis, MP3, AAC, ALAC)",
            &format!("if there is sound in it, {}", place.convert()),
        )),
        _ => Ok(Box::new(packed::Packed::open(file, kind, place)?)),
    }
}

/// What to do about what is no sound.
const NAME: &str = "name a sound file (WAV, AIFF, FLAC, Ogg Vorbis, MP3, AAC or ALAC)";

/// What to do about a file that is spoilt.
const FETCH: &str = "get a fresh copy of it";

/// What to do about a WAV file whose length was never filled in.
const REFILL: &str = "if there should be sound in it, make a fresh WAV file of it with a sound \
                      converter that can be told to ignore the stated length";

/// The path as the user gave it, for messages.
#[derive(Debug, Clone)]
struct Place(String);

impl Place {
    fn undecodable(&self, reason: &str, advice: &str) -> SoundError {
        SoundError::Undecodable {
            path: self.0.clone(),
            reason: reason.into(),
            advice: advice.into(),
        }
    }

    /// Sound of a kind that is not read here.
    fn foreign(&self, reason: &str) -> SoundError {
        self.undecodable(reason, &self.convert())
    }

    /// What to do about such sound.
    fn convert(&self) -> String {
        convert::advice(&self.0)
    }

    /// The system's reason, with what can be done about it where that is known.
    fn io(&self, error: io::Error) -> SoundError {
        let help = match error.kind() {
            io::ErrorKind::NotFound => Some("there is no such file or folder; check the name"),
            io::ErrorKind::PermissionDenied => {
                Some("the system does not allow it; check the permissions of the file and folder")
            }
            _ => None,
        };
        let kind = error.kind();
        let source = help.map_or(error, |text| io::Error::new(kind, text));
        SoundError::Io { path: self.0.clone(), source }
    }

    /// The format, where it is accepted.
    fn accept(&self, rate_hz: u32, channels: u64) -> Result<SoundFormat, SoundError> {
        let (slowest, fastest) = RATE_LIMITS_HZ;
        let (fewest, most) = CHANNEL_LIMITS;
        let unsuitable = |reason: String, advice: &str| SoundError::Unsuitable {
            path: self.0.clone(),
            reason,
            advice: advice.into(),
        };
        if !(slowest..=fastest).contains(&rate_hz) {
            return Err(unsuitable(
                format!(
                    "its sampling rate is {rate_hz} Hz, accepted are {slowest} to {fastest} Hz"
                ),
                "bring it to 44100 or 48000 Hz with any sound converter",
            ));
        }
        match u16::try_from(channels) {
            Ok(channels) if (fewest..=most).contains(&channels) => {
                Ok(SoundFormat { rate_hz, channels })
            }
            _ => Err(unsuitable(
                format!("it has {channels} channels, accepted are {fewest} to {most}"),
                "make a stereo version of it with any sound converter",
            )),
        }
    }
}
