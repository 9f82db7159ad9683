//! WAV files of every kind against FFmpeg, SoX and the `hound` crate.

use std::fs;

use coilscore::audio::file::{open, save_wav};
use coilscore::audio::tone::Samples;
use coilscore::audio::{RATE_LIMITS_HZ, collect};

use crate::tools::{decoded, decoded_by_ffmpeg, master, music, run, wav_bytes};

#[test]
fn every_sample_format_decodes_like_another_decoder() {
    let folder = tempfile::tempdir().unwrap();
    let [wav, out] = ["a.wav", "named-wrongly.ogg"].map(|name| folder.path().join(name));
    let formats = [
        ["unsigned", "8"],
        ["signed", "16"],
        ["signed", "24"],
        ["signed", "32"],
        ["float", "32"],
        ["float", "64"],
    ];
    for channels in [1, 2, 6] {
        master(&wav, 44_100, channels, 5_001);
        for [encoding, bits] in formats {
            let (from, to) = (wav.to_str().unwrap(), out.to_str().unwrap());
            // A gain that needs all the bits there are.
            let gain = ["gain", "-1.234"];
            run(
                "sox",
                &["-D", from, "-t", "wav", "-e", encoding, "-b", bits, to, gain[0], gain[1]],
            );
            let (format, ours, remarks) = decoded(&out);
            assert_eq!((format.rate_hz, format.channels), (44_100, channels));
            assert_eq!(ours.len(), 5_001 * usize::from(channels));
            assert_eq!(ours, decoded_by_ffmpeg(&out), "{encoding} {bits}, {channels} channels");
            assert_eq!(remarks, [""; 0]);
        }
    }
}

#[test]
fn what_is_saved_is_what_others_read_at_every_rate() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let rates = [8_000, 11_025, 12_345, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000, 88_200];
    for rate_hz in rates.into_iter().chain([96_000, 176_400, RATE_LIMITS_HZ.1]) {
        for channels in [1, 2, 6] {
            let written = master(&path, rate_hz, channels, 700);
            assert!(!folder.path().join("a.wav.part").exists());
            let (format, ours, _) = decoded(&path);
            assert_eq!((format.rate_hz, format.channels), (rate_hz, channels));
            assert_eq!(ours, written);
            let mut reader = hound::WavReader::open(&path).unwrap();
            let theirs: Vec<f32> =
                reader.samples::<i16>().map(|s| f32::from(s.unwrap()) / 32_768.0).collect();
            assert_eq!(ours, theirs);
        }
    }
}

#[test]
fn saving_rounds_to_the_nearest_step_and_clips() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let step = 1.0 / 32_768.0;
    let sound = vec![0.4 * step, 0.6 * step, -0.6 * step, 2.0, -2.0, f32::NAN, 1.0, -1.0];
    let instants = save_wav(&path, &mut Samples::mono(8_000, sound)).unwrap();
    assert_eq!(instants, 8);
    let top = 1.0 - step;
    assert_eq!(decoded(&path).1, [0.0, step, -step, top, -1.0, 0.0, top, -1.0]);
    let missing = folder.path().join("no/such/folder/a.wav");
    let error = save_wav(&missing, &mut Samples::mono(8_000, vec![0.0])).unwrap_err();
    assert!(error.to_string().contains("check the name"), "{error}");
}

/// RF64 (EBU Tech 3306), whose length stands elsewhere, and the streaming form, which has none.
#[test]
fn other_ways_to_state_the_length_are_understood() {
    let folder = tempfile::tempdir().unwrap();
    let [wav, big, piped] = ["a.wav", "big.wav", "piped.wav"].map(|n| folder.path().join(n));
    let original = master(&wav, 48_000, 2, 6_000);
    let from = wav.to_str().unwrap();
    run("ffmpeg", &["-v", "error", "-i", from, "-rf64", "always", big.to_str().unwrap()]);
    assert_eq!(fs::read(&big).unwrap()[..4], *b"RF64");
    let (_, samples, remarks) = decoded(&big);
    assert_eq!((samples, remarks), (original.clone(), vec![]));

    fs::write(&piped, run("ffmpeg", &["-v", "error", "-i", from, "-f", "wav", "-"])).unwrap();
    let (_, samples, remarks) = decoded(&piped);
    assert_eq!(samples, original);
    assert_eq!(
        remarks,
        ["the file does not say how long it is; it was read to its end at 0.125 s"]
    );

    fs::write(&piped, run("sox", &[from, "-t", "wav", "-"])).unwrap();
    assert_eq!(decoded(&piped).1, original);
}

/// Headers made by hand, for what the programs above do not write.
#[test]
fn unusual_headers_are_read_as_they_are_meant() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let read = |bytes: &[u8]| {
        fs::write(&path, bytes).unwrap();
        let (_, samples, remarks) = decoded(&path);
        (samples, remarks)
    };
    let four = [0x00, 0x40, 0x00, 0xc0, 0x00, 0x20, 0x00, 0xe0];
    let heard = vec![0.5, -0.5, 0.25, -0.25];
    assert_eq!(read(&wav_bytes(1, 1, 16, &four, 8)), (heard.clone(), vec![]));
    // Two channels of 24 bits in four bytes each, left-justified.
    let wide = [0, 0, 0, 0x40, 0, 0, 0, 0xc0];
    assert_eq!(read(&wav_bytes(0xfffe, 2, 24, &wide, 8)), (vec![0.5, -0.5], vec![]));
    // A length that nobody filled in.
    let (samples, remarks) = read(&wav_bytes(1, 1, 16, &four, 0));
    assert_eq!(samples, heard);
    assert!(remarks[0].contains("does not say how long"), "{remarks:?}");
    // A chunk of odd length before the samples, another after them.
    let plain = wav_bytes(1, 1, 16, &four, 8);
    let odd = [&plain[..36], b"odd \x03\0\0\0abc\0", &plain[36..], b"tail\x02\0\0\0zz"].concat();
    assert_eq!(read(&odd), (heard, vec![]));
    // Really empty, and empty with a chunk after it.
    let empty = wav_bytes(1, 1, 16, &[], 0);
    let none = (vec![], vec!["there is no sound in the file".to_owned()]);
    assert_eq!(read(&empty), none);
    assert_eq!(read(&[&empty[..], b"tail\x02\0\0\0zz"].concat()), none);
}

#[test]
fn numbers_that_are_none_become_silence_and_loud_ones_stay() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let mut sound = music(8_000, 2, 20_000);
    sound[30_000] = 4.5;
    let clean = sound.clone();
    for (at, bad) in [(24_001, f32::NAN), (24_002, f32::INFINITY), (39_999, f32::NEG_INFINITY)] {
        sound[at] = bad;
    }
    let bytes: Vec<u8> = sound.iter().flat_map(|x| x.to_le_bytes()).collect();
    fs::write(&path, wav_bytes(3, 2, 32, &bytes, bytes.len())).unwrap();
    let (_, heard, remarks) = decoded(&path);
    for (n, (&now, &was)) in heard.iter().zip(&clean).enumerate() {
        assert_eq!(now, if [24_001, 24_002, 39_999].contains(&n) { 0.0 } else { was }, "{n}");
    }
    assert_eq!(remarks, ["3 samples that are not a number became silence, the first at 1.500 s"]);
}

#[test]
fn progress_is_known_from_start_to_end() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    master(&path, 44_100, 2, 100_000);
    let mut source = open(&path).unwrap();
    assert_eq!(source.expected_instants(), Some(100_000));
    let given = source.next_block().unwrap().unwrap().instants() as u64;
    assert_eq!(source.expected_instants(), Some(100_000 - given));
    collect(source.as_mut()).unwrap();
    assert_eq!(source.expected_instants(), Some(0));
    assert!(source.next_block().unwrap().is_none());
}
