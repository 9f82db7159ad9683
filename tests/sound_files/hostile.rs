//! Bytes that were made to break a reader.

use std::fs;
use std::io::Write;

use coilscore::audio::SoundError;
use coilscore::audio::file::open;
use coilscore::audio::noise::Pcg32;
use proptest::prelude::*;

use crate::tools::{master, run, wav_bytes};

/// Opens and decodes bytes to the end, however it goes. Gives the number of samples.
fn survive(bytes: &[u8]) -> Result<u64, SoundError> {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(bytes).unwrap();
    let mut source = open(file.path())?;
    let format = source.format();
    assert!(format.channels > 0 && format.rate_hz > 0);
    let mut samples = 0;
    // What a few kilobytes may unpack to at most: a minute of silence for every packet lost.
    while let Some(block) = source.next_block()? {
        assert!(block.interleaved().iter().all(|x| x.is_finite()));
        assert!(block.instants() > 0);
        samples += block.interleaved().len() as u64;
        if samples > 100_000_000 {
            break;
        }
    }
    assert!(source.remarks().len() < 5);
    Ok(samples)
}

const STARTS: [&[u8]; 14] = [
    b"",
    b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0",
    b"RF64\xff\xff\xff\xffWAVEds64",
    b"fLaC\0\0\0\x22",
    b"OggS\0\x02\0\0\0\0\0\0\0\0",
    b"ID3\x04\0\0\0\0\0\x10",
    b"\xff\xfb\x90\x64",
    b"\xff\xe3\x18\xc4",
    b"OggS\0\x02\0\0\0\0\0\0\0\0\x01\0\0\0\0\0\0\0\0\0\0\0\x01\x1e\x01vorbis\0\0\0\0",
    b"\0\0\0\x14ftypM4A \0\0\0\0mp42\0\0\x01\0moov\0\0\0\x08mdat",
    b"\0\0\0\x08mdat\0\0\0\x10moof\0\0\0\x08traf",
    b"\xff\xf1\x50\x80\x02\x1f\xfc",
    b"FORM\0\0\0\x40AIFFCOMM\0\0\0\x12",
    b"FORM\0\0\0\x40AIFCSSND\0\0\0\x12",
];

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn garbage_never_panics(
        start in 0..STARTS.len(), rest in proptest::collection::vec(any::<u8>(), 0..3_000)
    ) {
        let _ = survive(&[STARTS[start], &rest].concat());
    }
}

#[test]
fn real_files_with_flipped_bytes_never_panic() {
    let folder = tempfile::tempdir().unwrap();
    let [wav, deep, flac, ogg, mp3] =
        ["a.wav", "deep.wav", "a.flac", "a.ogg", "a.mp3"].map(|n| folder.path().join(n));
    master(&wav, 22_050, 2, 12_000);
    let from = wav.to_str().unwrap();
    let words = ["-v", "error", "-i", from, "-c:a", "pcm_f64le", deep.to_str().unwrap()];
    run("ffmpeg", &words);
    run("flac", &["-s", from, "-o", flac.to_str().unwrap()]);
    run("oggenc", &["-Q", from, "-o", ogg.to_str().unwrap()]);
    run("lame", &["--quiet", from, mp3.to_str().unwrap()]);
    let mut all = vec![wav.clone(), deep, flac, ogg, mp3];
    for (name, how) in [
        ("a.m4a", &["-c:a", "aac", "-movflags", "faststart"][..]),
        ("pieces.m4a", &["-c:a", "aac", "-movflags", "frag_keyframe+empty_moov"]),
        ("alac.m4a", &["-c:a", "alac"]),
        ("bare.aac", &["-c:a", "aac", "-f", "adts"]),
        ("a.aiff", &[]),
    ] {
        let path = folder.path().join(name);
        let to = path.to_str().unwrap();
        run("ffmpeg", &[&["-v", "error", "-i", wav.to_str().unwrap()], how, &[to]].concat());
        all.push(path);
    }
    let mut chance = Pcg32::new(5, 5);
    for path in all {
        let whole = fs::read(path).unwrap();
        for round in 0..300 {
            let mut bytes = whole.clone();
            // Half of the rounds aim at the header, which is where lengths and counts stand.
            let reach = if round % 2 == 0 { bytes.len() } else { bytes.len().min(300) };
            for _ in 0..=round % 8 {
                let at = chance.next_bits() as usize % reach;
                bytes[at] = chance.next_bits() as u8;
            }
            let _ = survive(&bytes);
        }
    }
}

/// Most memory this process ever held, in bytes.
fn most_memory() -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap() * 1024
}

#[test]
fn sizes_in_headers_take_no_memory() {
    let before = most_memory();
    // A WAV file that promises 4 GB, one with 65535 channels, one with a chunk beyond the end.
    assert_eq!(survive(&wav_bytes(1, 1, 16, &[0; 64], 0x7ff0_0000 - 2)).unwrap(), 32);
    assert!(survive(&wav_bytes(1, 30_000, 16, &[0; 64], 64)).is_err());
    let mut huge_chunk = wav_bytes(1, 1, 16, &[0; 64], 64);
    huge_chunk[40..44].copy_from_slice(&[0xff, 0xff, 0xef, 0x7f]);
    huge_chunk[36..40].copy_from_slice(b"LIST");
    assert!(survive(&huge_chunk).is_err());
    // The same in a kind that the other reader takes, and a list of texts beyond the end.
    assert_eq!(survive(&wav_bytes(3, 1, 64, &[0; 64], 0x7ff0_0000)).unwrap(), 8);
    let mut list = wav_bytes(3, 1, 64, &[0; 64], 0x7ff0_0000);
    list.splice(36..36, *b"LIST\xff\xff\xef\x6fINFOISFT\xf0\xff\xef\x6f");
    assert!(survive(&list).is_err());
    // Tags and blocks of the largest size that can be written.
    assert!(survive(b"ID3\x04\0\0\x7f\x7f\x7f\x7f").is_err());
    assert!(survive(b"fLaC\x06\xff\xff\xff\0\0\0\x03\xff\xff\xff\xff").is_err());
    assert!(survive(b"fLaC\x02\0\0\x01\0\0\0\0").is_err());
    // Boxes and chunks of 4 GB and more, and an index of 4 billion packets, in a few bytes.
    assert!(survive(b"\0\0\0\x08ftyp\xff\xff\xff\xffmoov\0\0\0\x08trak").is_err());
    assert!(survive(b"\0\0\0\x01moov\x7f\xff\xff\xff\xff\xff\xff\xff").is_err());
    assert!(survive(b"FORM\xff\xff\xff\xffAIFFSSND\xff\xff\xff\xff\0\0").is_err());
    let folder = tempfile::tempdir().unwrap();
    let [wav, m4a] = ["a.wav", "a.m4a"].map(|name| folder.path().join(name));
    master(&wav, 22_050, 1, 12_000);
    run("ffmpeg", &["-v", "error", "-i", wav.to_str().unwrap(), m4a.to_str().unwrap()]);
    let whole = fs::read(&m4a).unwrap();
    for table in [b"stsz", b"stts", b"stsc", b"stco"] {
        let at = whole.windows(4).position(|name| name == table).unwrap();
        // Version and flags, for stsz also the common size, then the count.
        let count = at + if table == b"stsz" { 12 } else { 8 };
        let mut many = whole.clone();
        many[count..count + 4].copy_from_slice(&[0xff; 4]);
        let _ = survive(&many);
    }
    // Other tests of this file run at the same time; gigabytes would still stand out.
    assert!(most_memory() - before < 500_000_000, "{} bytes", most_memory() - before);
}
