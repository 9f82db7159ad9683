//! A song as 16-bit WAV for the browser: what is heard there is for ears only.

use super::looped::Song;

/// The whole file. Songs beyond 4 GiB are cut where WAV ends.
pub(super) fn wave(song: &Song) -> Vec<u8> {
    let channels = usize::from(song.format.channels.max(1));
    // Browsers play two channels; more are heard as their first two.
    let played = channels.min(2);
    let most = (u32::MAX as usize - 64) / (2 * played);
    let instants = (song.interleaved.len() / channels).min(most);
    let bytes = instants * played * 2;
    let size = |value: usize| u32::try_from(value).unwrap_or(u32::MAX).to_le_bytes();
    let mut out = Vec::with_capacity(44 + bytes);
    out.extend(b"RIFF");
    out.extend(size(36 + bytes));
    out.extend(b"WAVEfmt ");
    out.extend(size(16));
    out.extend(1_u16.to_le_bytes());
    out.extend(u16::try_from(played).unwrap_or(1).to_le_bytes());
    out.extend(song.format.rate_hz.to_le_bytes());
    out.extend(size(song.format.rate_hz as usize * played * 2));
    out.extend(u16::try_from(played * 2).unwrap_or(4).to_le_bytes());
    out.extend(16_u16.to_le_bytes());
    out.extend(b"data");
    out.extend(size(bytes));
    for instant in song.interleaved.chunks_exact(channels).take(instants) {
        for sample in instant.iter().take(played) {
            #[expect(clippy::cast_possible_truncation, reason = "clamped to 16 bits")]
            let code = (sample.clamp(-1.0, 1.0) * 32767.0) as i16;
            out.extend(code.to_le_bytes());
        }
    }
    out
}

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::disallowed_methods,
    reason = "tests stop at the first surprise"
)]
mod tests {
    use super::*;
    use crate::audio::SoundFormat;

    #[test]
    fn another_reader_finds_the_samples() {
        let song = Song {
            name: "three channels".into(),
            format: SoundFormat { rate_hz: 44_100, channels: 3 },
            interleaved: [0.0, 0.5, 0.9, -1.0, 2.0, 0.9].into(),
        };
        let mut read = hound::WavReader::new(std::io::Cursor::new(wave(&song))).unwrap();
        assert_eq!((read.spec().channels, read.spec().sample_rate), (2, 44_100));
        let samples: Vec<i16> = read.samples().map(Result::unwrap).collect();
        assert_eq!(samples, [0, 16383, -32767, 32767]);
    }
}
