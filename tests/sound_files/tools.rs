//! Running other programs and comparing sounds.

use std::path::Path;
use std::process::Command;

use coilscore::audio::file::{open, save_wav};
use coilscore::audio::tone::{Samples, interleave, mix_in, pink_noise, sine};
use coilscore::audio::{SoundFormat, collect};

/// Runs a program and gives what it wrote. A program that is not there fails the test.
pub(crate) fn run(program: &str, arguments: &[&str]) -> Vec<u8> {
    let package = match program {
        "oggenc" | "oggdec" => "vorbis-tools",
        other => other,
    };
    let output = Command::new(program).args(arguments).output().unwrap_or_else(|error| {
        panic!("'{program}' cannot be run ({error}); install the Debian package '{package}'")
    });
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program} {arguments:?}: {told}");
    output.stdout
}

/// What FFmpeg decodes a file to.
pub(crate) fn decoded_by_ffmpeg(path: &Path) -> Vec<f32> {
    let path = path.to_str().unwrap();
    let bytes =
        run("ffmpeg", &["-v", "error", "-i", path, "-f", "f32le", "-c:a", "pcm_f32le", "-"]);
    bytes.chunks_exact(4).map(|b| f32::from_le_bytes(b.try_into().unwrap())).collect()
}

/// What we decode it to, with the remarks.
pub(crate) fn decoded(path: &Path) -> (SoundFormat, Vec<f32>, Vec<String>) {
    let mut source = open(path).unwrap();
    let samples = collect(source.as_mut()).unwrap();
    (source.format(), samples, source.remarks().to_vec())
}

/// Noise with a tone of its own in every channel.
pub(crate) fn music(rate_hz: u32, channels: u16, instants: usize) -> Vec<f32> {
    let channels: Vec<Vec<f32>> = (0..u64::from(channels))
        .map(|channel| {
            let mut sound = pink_noise(channel, 0.1, instants);
            mix_in(&mut sound, &sine(rate_hz, 300.0 + 100.0 * channel as f64, 0.2, instants), 0);
            sound
        })
        .collect();
    interleave(&channels.iter().map(Vec::as_slice).collect::<Vec<_>>())
}

/// Writes [`music`] as 16-bit WAV and gives it as it is then.
pub(crate) fn master(path: &Path, rate_hz: u32, channels: u16, instants: usize) -> Vec<f32> {
    let sound = music(rate_hz, channels, instants);
    save_wav(path, &mut Samples::new(rate_hz, channels, sound.clone()).unwrap()).unwrap();
    sound.iter().map(|x| (x * 32_768.0).round() / 32_768.0).collect()
}

/// First channel only.
pub(crate) fn first_channel(samples: &[f32], channels: u16) -> Vec<f32> {
    samples.iter().step_by(usize::from(channels)).copied().collect()
}

/// By how many samples `heard` is later than `original`, from the middle of the sound.
pub(crate) fn lag(original: &[f32], heard: &[f32]) -> i64 {
    let (from, length, reach) = (original.len() / 3, 2_048, 1_200_usize);
    let part = &original[from..from + length];
    let score = |shift: usize| -> f64 {
        let at = from + shift - reach;
        part.iter().zip(&heard[at..]).map(|(a, b)| f64::from(a * b)).sum()
    };
    let scores: Vec<f64> = (0..=2 * reach).map(score).collect();
    let best = (0..scores.len()).max_by(|&a, &b| scores[a].total_cmp(&scores[b])).unwrap();
    best as i64 - reach as i64
}

/// Root mean square of the difference over that of `original`, in dB.
pub(crate) fn error_db(original: &[f32], heard: &[f32]) -> f64 {
    let power = |x: f64| x * x;
    let difference: f64 =
        original.iter().zip(heard).map(|(a, b)| power(f64::from(*a) - f64::from(*b))).sum();
    let whole: f64 = original.iter().map(|a| power(f64::from(*a))).sum();
    10.0 * (difference / whole).log10()
}

/// A WAV file made by hand: number of the coding, channels, bits, the data and the length that the
/// header claims, as a whole file would. Coding 0xfffe is the extensible form with whole numbers in four bytes.
pub(crate) fn wav_bytes(
    coding: u16,
    channels: u16,
    bits: u16,
    data: &[u8],
    claimed: usize,
) -> Vec<u8> {
    let extensible = coding == 0xfffe;
    let block = channels * if extensible { 4 } else { bits / 8 };
    let mut fmt = Vec::new();
    for word in [coding, channels] {
        fmt.extend(word.to_le_bytes());
    }
    for word in [8_000, 8_000 * u32::from(block)] {
        fmt.extend(word.to_le_bytes());
    }
    for word in [block, if extensible { 32 } else { bits }] {
        fmt.extend(word.to_le_bytes());
    }
    if extensible {
        fmt.extend([22, 0, 24, 0, 3, 0, 0, 0]);
        // The sub-format of whole numbers: 00000001-0000-0010-8000-00aa00389b71.
        fmt.extend(b"\x01\0\0\0\0\0\x10\0\x80\0\0\xaa\0\x38\x9b\x71");
    }
    let chunk = |name: &[u8; 4], length: usize, body: &[u8]| {
        [&name[..], &u32::try_from(length).unwrap().to_le_bytes(), body].concat()
    };
    let body = [chunk(b"fmt ", fmt.len(), &fmt), chunk(b"data", claimed, data)].concat();
    let length = 4 + body.len() - data.len() + claimed;
    chunk(b"RIFF", length, &[&b"WAVE"[..], &body].concat())
}

/// `sound` behind an ID3v2 tag that holds `picture`.
pub(crate) fn with_tag(picture: &[u8], sound: &[u8]) -> Vec<u8> {
    let seven_bits = |n: usize| [21, 14, 7, 0].map(|shift| ((n >> shift) & 0x7f) as u8);
    let content = [&b"\0image/png\0\x03\0"[..], picture].concat();
    let frame = [&b"APIC"[..], &seven_bits(content.len()), &[0, 0], &content].concat();
    [&b"ID3\x04\0\0"[..], &seven_bits(frame.len()), &frame, sound].concat()
}
