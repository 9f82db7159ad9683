//! FLAC, Ogg, MP3, AAC, ALAC and AIFF against the encoders' originals and FFmpeg's decoder.

use std::fs;
use std::path::Path;

use crate::tools::{
    decoded, decoded_by_ffmpeg, error_db, first_channel, lag, master, run, with_tag,
};

/// A way to pack `{in}` into `{out}`.
struct Packer {
    file: &'static str,
    command: &'static [&'static str],
    most_channels: u16,
    /// Against the original.
    lag: i64,
    /// Most that our decoder may differ from FFmpeg's, dB.
    differs_db: f64,
    /// What every such file is remarked on with.
    remark: &'static str,
}

const PLAIN: Packer =
    Packer { file: "", command: &[], most_channels: 2, lag: 0, differs_db: EXACT, remark: "" };

const EXACT: f64 = f64::NEG_INFINITY;
const AAC: f64 = -100.0;

const PACKERS: [Packer; 16] = [
    Packer {
        file: "native.flac",
        command: &["flac", "-s", "{in}", "-o", "{out}"],
        most_channels: 8,
        ..PLAIN
    },
    Packer {
        file: "flac.oga",
        command: &["ffmpeg", "-v", "error", "-i", "{in}", "-c:a", "flac", "-f", "ogg", "{out}"],
        most_channels: 8,
        ..PLAIN
    },
    Packer {
        file: "xiph.ogg",
        command: &["oggenc", "-Q", "-q", "6", "{in}", "-o", "{out}"],
        differs_db: -130.0,
        ..PLAIN
    },
    Packer {
        file: "other.ogg",
        command: &["ffmpeg", "-v", "error", "-i", "{in}", "-c:a", "libvorbis", "{out}"],
        differs_db: -130.0,
        ..PLAIN
    },
    Packer {
        file: "variable.mp3",
        command: &["lame", "--quiet", "-V2", "{in}", "{out}"],
        differs_db: -115.0,
        ..PLAIN
    },
    Packer {
        file: "no-header.mp3",
        command: &["lame", "--quiet", "-t", "-b", "128", "{in}", "{out}"],
        lag: 1105,
        differs_db: -115.0,
        ..PLAIN
    },
    Packer {
        file: "other.mp3",
        command: &["ffmpeg", "-v", "error", "-i", "{in}", "-b:a", "128k", "{out}"],
        differs_db: -115.0,
        ..PLAIN
    },
    Packer {
        file: "aac.m4a",
        command: &["ffmpeg", "-v", "error", "-i", "{in}", "-c:a", "aac", "{out}"],
        differs_db: AAC,
        ..PLAIN
    },
    Packer {
        file: "index-first.m4a",
        command: &[
            "ffmpeg",
            "-v",
            "error",
            "-i",
            "{in}",
            "-c:a",
            "aac",
            "-movflags",
            "faststart",
            "{out}",
        ],
        differs_db: AAC,
        ..PLAIN
    },
    Packer {
        file: "pieces.mp4",
        command: &[
            "ffmpeg",
            "-v",
            "error",
            "-i",
            "{in}",
            "-c:a",
            "aac",
            "-movflags",
            "frag_keyframe+empty_moov+default_base_moof",
            "{out}",
        ],
        lag: 1024,
        differs_db: AAC,
        ..PLAIN
    },
    Packer {
        file: "bare.aac",
        command: &["ffmpeg", "-v", "error", "-i", "{in}", "-c:a", "aac", "-f", "adts", "{out}"],
        lag: 1024,
        differs_db: AAC,
        remark: "AAC without a container does not say",
        ..PLAIN
    },
    Packer {
        file: "alac.m4a",
        command: &["ffmpeg", "-v", "error", "-i", "{in}", "-c:a", "alac", "{out}"],
        most_channels: 8,
        ..PLAIN
    },
    Packer {
        file: "plain.aiff",
        command: &["sox", "-D", "{in}", "{out}"],
        most_channels: 8,
        ..PLAIN
    },
    Packer {
        file: "little-endian.aifc",
        command: &[
            "ffmpeg",
            "-v",
            "error",
            "-i",
            "{in}",
            "-c:a",
            "pcm_s16le",
            "-f",
            "aiff",
            "{out}",
        ],
        most_channels: 8,
        ..PLAIN
    },
    Packer {
        file: "float.aifc",
        command: &[
            "ffmpeg",
            "-v",
            "error",
            "-i",
            "{in}",
            "-c:a",
            "pcm_f32be",
            "-f",
            "aiff",
            "{out}",
        ],
        most_channels: 8,
        ..PLAIN
    },
    Packer {
        file: "deep.aiff",
        command: &["ffmpeg", "-v", "error", "-i", "{in}", "-c:a", "pcm_s24be", "{out}"],
        most_channels: 8,
        ..PLAIN
    },
];

fn pack(packer: &Packer, wav: &Path, out: &Path) {
    let filled = |word: &&'static str| match *word {
        "{in}" => wav.to_str().unwrap().to_owned(),
        "{out}" => out.to_str().unwrap().to_owned(),
        other => other.to_owned(),
    };
    let words: Vec<String> = packer.command.iter().map(filled).collect();
    run(&words[0], &words[1..].iter().map(String::as_str).collect::<Vec<_>>());
}

#[test]
fn packed_files_decode_like_the_original_and_like_another_decoder() {
    for (rate_hz, channels) in [(44_100, 2), (48_000, 1), (48_000, 6), (22_050, 2)] {
        let folder = tempfile::tempdir().unwrap();
        let wav = folder.path().join("original.wav");
        let instants = rate_hz as usize + 123;
        let original = master(&wav, rate_hz, channels, instants);
        for packer in PACKERS.iter().filter(|packer| channels <= packer.most_channels) {
            let name = format!("{} at {rate_hz} Hz, {channels} channels", packer.file);
            let path = folder.path().join(packer.file);
            pack(packer, &wav, &path);
            let (format, ours, remarks) = decoded(&path);
            assert_eq!((format.rate_hz, format.channels), (rate_hz, channels), "{name}");
            let expected: &[&str] = if packer.remark.is_empty() { &[] } else { &[packer.remark] };
            assert_eq!(remarks.len(), expected.len(), "{name}: {remarks:?}");
            let told = remarks.iter().zip(expected).all(|(told, start)| told.starts_with(start));
            assert!(told, "{name}: {remarks:?}");
            let theirs = decoded_by_ffmpeg(&path);
            let difference = error_db(&theirs, &ours);
            println!(
                "{name}: {} samples, FFmpeg {}, ours against FFmpeg's {difference:.1} dB",
                ours.len(),
                theirs.len()
            );
            // FFmpeg 5.1 leaves the filling of the last AAC packet in.
            let filling = if packer.differs_db == AAC { 1_024 * usize::from(channels) } else { 0 };
            let more = theirs.len().checked_sub(ours.len());
            assert!(more.is_some_and(|more| more <= filling), "{name}: {more:?} samples more");
            assert!(difference <= packer.differs_db, "{name}: {difference:.1} dB");
            let [first, heard] = [&original, &ours].map(|sound| first_channel(sound, channels));
            assert_eq!(lag(&first, &heard), packer.lag, "{name}");
            if packer.lag == 0 {
                assert_eq!(heard.len(), instants, "{name}");
                assert!(error_db(&first, &heard) < -10.0, "{name}");
            }
        }
    }
}

/// The reference decoder of the people who wrote the Vorbis specification. It writes 16 bits, which
/// is what limits the agreement.
#[test]
fn vorbis_decodes_like_the_xiph_tools() {
    let folder = tempfile::tempdir().unwrap();
    let [wav, ogg, back] = ["a.wav", "a.ogg", "back.wav"].map(|name| folder.path().join(name));
    master(&wav, 44_100, 2, 50_000);
    run("oggenc", &["-Q", wav.to_str().unwrap(), "-o", ogg.to_str().unwrap()]);
    run("oggdec", &["-Q", ogg.to_str().unwrap(), "-o", back.to_str().unwrap()]);
    let ours = decoded(&ogg).1;
    let theirs = decoded(&back).1;
    assert_eq!(ours.len(), theirs.len());
    assert!(error_db(&theirs, &ours) < -75.0, "{}", error_db(&theirs, &ours));
}

#[test]
fn flac_gives_back_every_bit_at_every_rate_and_depth() {
    let folder = tempfile::tempdir().unwrap();
    let [wav, deep, flac] = ["a.wav", "deep.wav", "a.flac"].map(|name| folder.path().join(name));
    for (rate_hz, channels) in [(8_000, 1), (16_000, 8), (96_000, 2), (192_000, 2)] {
        master(&wav, rate_hz, channels, 9_000);
        for bits in ["8", "16", "24"] {
            let (from, to) = (wav.to_str().unwrap(), deep.to_str().unwrap());
            // A gain that needs all the bits there are.
            run("sox", &["-D", from, "-b", bits, to, "gain", "-1.234"]);
            run("flac", &["-s", "-f", to, "-o", flac.to_str().unwrap()]);
            let (format, unpacked, _) = decoded(&flac);
            assert_eq!((format.rate_hz, format.channels), (rate_hz, channels));
            assert_eq!(unpacked, decoded(&deep).1, "{rate_hz} Hz, {bits} bits");
        }
    }
}

/// Cover art comes as a block in front of the sound, often longer than the part of a file that
/// decoders search, and holds bytes that look like MP3 frames.
#[test]
fn tags_around_an_mp3_change_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let [wav, mp3] = ["a.wav", "a.mp3"].map(|name| folder.path().join(name));
    master(&wav, 44_100, 2, 30_000);
    run("lame", &["--quiet", wav.to_str().unwrap(), mp3.to_str().unwrap()]);
    let plain = decoded(&mp3).1;
    let bytes = fs::read(&mp3).unwrap();
    let picture: Vec<u8> = bytes.iter().cycle().take(1_400_000).copied().collect();
    let mut tagged = with_tag(&picture, &bytes);
    tagged.extend_from_slice(b"TAG");
    tagged.resize(tagged.len() + 125, b'x');
    fs::write(&mp3, tagged).unwrap();
    let (_, samples, remarks) = decoded(&mp3);
    assert_eq!(samples, plain);
    assert_eq!(remarks, [""; 0]);
}

#[test]
fn chained_ogg_goes_on_in_the_same_layout_and_stops_at_another() {
    let folder = tempfile::tempdir().unwrap();
    let encode = |name: &str, rate_hz, serial| {
        let [wav, ogg] = ["wav", "ogg"].map(|end| folder.path().join(format!("{name}.{end}")));
        master(&wav, rate_hz, 2, 40_000);
        let to = ogg.to_str().unwrap();
        run("oggenc", &["-Q", "-s", serial, wav.to_str().unwrap(), "-o", to]);
        fs::read(&ogg).unwrap()
    };
    let (first, same) = (encode("first", 44_100, "1"), encode("same", 44_100, "2"));
    let other = encode("other", 48_000, "3");
    let chain = folder.path().join("chain.ogg");
    fs::write(&chain, [&first[..], &same].concat()).unwrap();
    let (_, samples, remarks) = decoded(&chain);
    assert_eq!(samples.len(), 2 * 80_000);
    assert_eq!(samples[..80_000], samples[80_000..]);
    assert_eq!(remarks, [""; 0]);

    fs::write(&chain, [&first[..], &other].concat()).unwrap();
    let (format, samples, remarks) = decoded(&chain);
    assert_eq!((format.rate_hz, samples.len()), (44_100, 80_000));
    assert_eq!(remarks.len(), 1);
    assert!(remarks[0].starts_with("the sound stops at 0.907 s: from there on"), "{remarks:?}");
}

#[test]
fn an_mp3_that_changes_its_rate_midway_stops_there() {
    let folder = tempfile::tempdir().unwrap();
    let encode = |rate_hz| {
        let [wav, mp3] = ["a.wav", "a.mp3"].map(|name| folder.path().join(name));
        master(&wav, rate_hz, 2, 46_080);
        run("lame", &["--quiet", "-t", wav.to_str().unwrap(), mp3.to_str().unwrap()]);
        fs::read(&mp3).unwrap()
    };
    let path = folder.path().join("both.mp3");
    fs::write(&path, [encode(44_100), encode(32_000)].concat()).unwrap();
    let (format, samples, remarks) = decoded(&path);
    assert_eq!(format.rate_hz, 44_100);
    assert!((46_080..50_000).contains(&(samples.len() / 2)), "{}", samples.len() / 2);
    assert!(remarks[0].contains("another sampling rate"), "{remarks:?}");
}
