//! WAV files of every kind against FFmpeg, SoX and what was written.

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
        ["a-law", "8"],
        ["mu-law", "8"],
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

/// Programs that write into a pipe cannot come back to fill in the length.
#[test]
fn a_length_that_is_left_open_is_understood() {
    let folder = tempfile::tempdir().unwrap();
    let [wav, piped] = ["a.wav", "piped.wav"].map(|n| folder.path().join(n));
    let original = master(&wav, 48_000, 2, 6_000);
    let from = wav.to_str().unwrap();
    for coding in ["pcm_u8", "pcm_s16le", "pcm_s24le", "pcm_f32le", "pcm_f64le", "pcm_alaw"] {
        let words = ["-v", "error", "-i", from, "-ac", "1", "-c:a", coding, "-f", "wav", "-"];
        fs::write(&piped, run("ffmpeg", &words)).unwrap();
        let (_, samples, remarks) = decoded(&piped);
        assert_eq!(samples, decoded_by_ffmpeg(&piped), "{coding}");
        assert_eq!(remarks, [OPEN], "{coding}");
    }
    fs::write(&piped, run("sox", &[from, "-t", "wav", "-"])).unwrap();
    assert_eq!(decoded(&piped).1, original);
    // The largest whole number of blocks below 2 GiB.
    let bytes = vec![0x40; 8_000];
    for (coding, bits, instants) in [(1, 16, 4_000), (1, 24, 2_666), (3, 64, 1_000)] {
        let claimed = 0x7fff_f000 / usize::from(bits) * usize::from(bits);
        fs::write(&piped, wav_bytes(coding, 1, bits, &bytes, claimed)).unwrap();
        let (_, samples, remarks) = decoded(&piped);
        assert_eq!(samples.len(), instants, "{bits} bits");
        assert!(remarks[0].contains("does not say how long"), "{bits} bits: {remarks:?}");
    }
}

const OPEN: &str = "the file does not say how long it is; it was read to its end at 0.125 s";

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
    let plain = wav_bytes(1, 1, 16, &four, 8);
    assert_eq!(read(&plain), (heard.clone(), vec![]));
    // A chunk of odd length before the samples, another after them.
    let mut odd =
        [&plain[..36], b"odd \x03\0\0\0abc\0", &plain[36..], b"tail\x02\0\0\0zz"].concat();
    odd[4] += 22;
    assert_eq!(read(&odd), (heard.clone(), vec![]));
    // A byte rate that nobody filled in.
    let mut no_rate = plain.clone();
    no_rate[28..32].fill(0);
    assert_eq!(read(&no_rate), (heard.clone(), vec![]));
    // Whole numbers of 32 bits behind a format chunk of 18 bytes.
    let long = wav_bytes(1, 1, 32, &[0, 0, 0, 0x40, 0, 0, 0, 0xc0], 8);
    let mut longer = [&long[..16], &[18, 0, 0, 0], &long[20..36], &[0, 0], &long[36..]].concat();
    longer[4] += 2;
    assert_eq!(read(&longer), (vec![0.5, -0.5], vec![]));
    // A stray byte at the end of the samples.
    assert_eq!(read(&wav_bytes(1, 1, 16, &[&four[..], &[7]].concat(), 9)), (heard, vec![]));
    // Really empty.
    let none = (vec![], vec!["there is no sound in the file".to_owned()]);
    assert_eq!(read(&wav_bytes(1, 1, 16, &[], 0)), none);
}

/// WAVE_FORMAT_EXTENSIBLE left-justifies samples in their container; that the plain form holds 24
/// bits at the lower end of four bytes is common practice, no source.
#[test]
fn samples_in_wider_containers_are_taken_from_the_right_end() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let wide = [0, 0, 0, 0x40, 0, 0, 0, 0xc0];
    for bits in [16, 20, 24] {
        let mut bytes = wav_bytes(0xfffe, 2, 24, &wide, 8);
        bytes[38] = bits;
        fs::write(&path, bytes).unwrap();
        let (_, samples, remarks) = decoded(&path);
        assert_eq!(samples, [0.5, -0.5], "{bits} bits");
        assert_eq!(remarks, [""; 0]);
    }
    let mut recorded = wav_bytes(1, 2, 32, &[0, 0, 0x40, 0, 0, 0, 0xc0, 0xff], 8);
    recorded[34] = 24;
    fs::write(&path, recorded).unwrap();
    assert_eq!(decoded(&path).1, [0.5, -0.5]);
}

#[test]
fn a_cut_wav_of_any_kind_gives_its_prefix_and_one_remark() {
    let folder = tempfile::tempdir().unwrap();
    let [wav, whole, cut] = ["a.wav", "b.wav", "c.wav"].map(|name| folder.path().join(name));
    master(&wav, 8_000, 2, 8_000);
    for coding in ["pcm_u8", "pcm_s24le", "pcm_s32le", "pcm_f32le", "pcm_f64le", "pcm_mulaw"] {
        let [from, to] = [&wav, &whole].map(|path| path.to_str().unwrap());
        run("ffmpeg", &["-v", "error", "-y", "-i", from, "-c:a", coding, to]);
        let bytes = fs::read(&whole).unwrap();
        let all = decoded(&whole).1;
        for length in [bytes.len() - 1, bytes.len() - 17, bytes.len() / 2, 200] {
            fs::write(&cut, &bytes[..length]).unwrap();
            let (_, samples, remarks) = decoded(&cut);
            assert_eq!(samples, all[..samples.len()], "{coding}");
            let left = bytes.len() - length;
            let stride = bytes.len() / 8_000;
            assert_eq!((all.len() - samples.len()) / 2, left.div_ceil(stride), "{coding}, {left}");
            let at = samples.len() as f64 / 16_000.0;
            let told = format!(
                "the sound stops at {at:.3} s, but the file announces 1.000 s: it was cut short"
            );
            assert_eq!(remarks, [told], "{coding}");
        }
    }
}

#[test]
fn numbers_that_are_none_become_silence_and_loud_ones_stay() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let mut sound = music(8_000, 2, 20_000);
    sound[30_000] = 4.5;
    let clean = sound.clone();
    for (at, bad) in [(34_001, f32::NAN), (34_002, f32::INFINITY), (39_999, f32::NEG_INFINITY)] {
        sound[at] = bad;
    }
    let single: Vec<u8> = sound.iter().flat_map(|x| x.to_le_bytes()).collect();
    let double: Vec<u8> = sound.iter().flat_map(|&x| f64::from(x).to_le_bytes()).collect();
    for (bits, bytes) in [(32, single), (64, double)] {
        fs::write(&path, wav_bytes(3, 2, bits, &bytes, bytes.len())).unwrap();
        let (_, heard, remarks) = decoded(&path);
        for (n, (&now, &was)) in heard.iter().zip(&clean).enumerate() {
            assert_eq!(now, if [34_001, 34_002, 39_999].contains(&n) { 0.0 } else { was }, "{n}");
        }
        let told = "3 samples that are not a number became silence, the first at 2.125 s";
        assert_eq!(remarks, [told], "{bits} bits");
    }
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
    // What is missing is not expected.
    let bytes = fs::read(&path).unwrap();
    fs::write(&path, &bytes[..bytes.len() - 40_000]).unwrap();
    assert_eq!(open(&path).unwrap().expected_instants(), Some(90_000));
}
