//! Sound files against encoders and decoders that this program has no part in.
//!
//! Needs the Debian packages `ffmpeg`, `sox`, `flac`, `vorbis-tools` and `lame`. A missing one is a
//! failure, not a skipped test.
//!
//! What was found with FFmpeg 5.1, FLAC 1.4, the Xiph.org tools and LAME 3.100 (lag: samples by
//! which the decoded sound is later than the original; same for FFmpeg's decoder and ours):
//!
//! | file                              | samples beyond the original  | lag  | ours against FFmpeg |
//! |-----------------------------------|------------------------------|------|---------------------|
//! | WAV, AIFF, FLAC, FLAC in Ogg      | 0                            | 0    | every bit           |
//! | ALAC in M4A                       | 0                            | 0    | every bit           |
//! | Ogg Vorbis                        | 0                            | 0    | below -130 dB       |
//! | MP3 with LAME's header            | 0                            | 0    | below -115 dB       |
//! | MP3 without                       | 1105 and the end's filling   | 1105 | below -115 dB       |
//! | AAC in M4A                        | 0 (FFmpeg leaves filling in) | 0    | below -100 dB       |
//! | AAC in a fragmented MP4 that says nothing of its delay | 1024    | 1024 | below -100 dB       |
//! | AAC without a container           | 1024 and the end's filling   | 1024 | below -100 dB       |
//!
//! 1105 = 576 of the encoder + 529 of the decoder; without the header nothing in the file says so.
//! 1024 is one packet of FFmpeg's AAC encoder.

#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::float_cmp,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop at the first surprise"
)]

#[path = "sound_files/tools.rs"]
mod tools;

#[path = "sound_files/wav.rs"]
mod wav;

#[path = "sound_files/packed.rs"]
mod packed;

#[path = "sound_files/damage.rs"]
mod damage;

#[path = "sound_files/hostile.rs"]
mod hostile;

#[path = "sound_files/refused.rs"]
mod refused;

#[path = "sound_files/stream.rs"]
mod stream;
