//! Files that were cut short or spoilt in the middle.

use std::fs;
use std::path::{Path, PathBuf};

use coilscore::audio::collect;
use coilscore::audio::file::open;
use coilscore::audio::noise::Pcg32;

use crate::tools::{decoded, master, run};

const SECOND: usize = 44_100;

/// The same sound in every kind of file.
fn all_kinds(folder: &Path, instants: usize) -> [PathBuf; 11] {
    let names = [
        "a.wav",
        "a.flac",
        "a.ogg",
        "a.mp3",
        "no-header.mp3",
        "flac.oga",
        "index-first.m4a",
        "pieces.m4a",
        "alac.m4a",
        "bare.aac",
        "a.aiff",
    ];
    let paths = names.map(|name| folder.join(name));
    let [wav, flac, ogg, mp3, bare, oga, aac, pieces, alac, adts, aiff] =
        paths.each_ref().map(|path| path.to_str().unwrap());
    master(&paths[0], 44_100, 2, instants);
    run("flac", &["-s", wav, "-o", flac]);
    run("oggenc", &["-Q", wav, "-o", ogg]);
    run("lame", &["--quiet", wav, mp3]);
    run("lame", &["--quiet", "-t", wav, bare]);
    run("ffmpeg", &["-v", "error", "-i", wav, "-c:a", "flac", "-f", "ogg", oga]);
    let pack = |how: &[&str], to: &str| {
        run("ffmpeg", &[&["-v", "error", "-i", wav], how, &[to]].concat());
    };
    // Without noise that decoders make up: after a hole it would be other noise.
    let coded = ["-c:a", "aac", "-aac_pns", "0", "-movflags"];
    pack(&[&coded[..], &["faststart"]].concat(), aac);
    // And without an index at the very end, which nobody would miss.
    let fragmented = ["frag_keyframe+empty_moov+skip_trailer", "-frag_duration", "100000"];
    pack(&[&coded[..], &fragmented].concat(), pieces);
    pack(&["-c:a", "alac", "-movflags", "faststart"], alac);
    pack(&["-c:a", "aac", "-aac_pns", "0", "-f", "adts"], adts);
    pack(&[], aiff);
    paths
}

/// A remark that every such file gets has nothing to do with damage.
fn without_delay(remarks: &[String]) -> Vec<&String> {
    remarks.iter().filter(|remark| !remark.starts_with("AAC without a container")).collect()
}

#[test]
fn a_file_cut_anywhere_gives_what_came_before_and_one_remark() {
    let folder = tempfile::tempdir().unwrap();
    let mut chance = Pcg32::new(1, 1);
    let cut = folder.path().join("cut");
    for path in all_kinds(folder.path(), SECOND) {
        let bytes = fs::read(&path).unwrap();
        let whole = decoded(&path).1;
        let mut cuts: Vec<usize> =
            (0..20).map(|_| chance.next_bits() as usize % bytes.len()).collect();
        cuts.extend([bytes.len() - 1, bytes.len() - 3, bytes.len() - 1000]);
        // Between two pages nothing looks torn; only the mark of the last page is missing.
        cuts.extend((bytes.len() / 2..bytes.len()).filter(|&at| bytes[at..].starts_with(b"OggS")));
        let mut heard_something = 0;
        for length in cuts {
            let name = format!("{} cut to {length} of {}", path.display(), bytes.len());
            fs::write(&cut, &bytes[..length]).unwrap();
            let mut source = match open(&cut) {
                Ok(source) => source,
                Err(error) => {
                    assert!(length < bytes.len() / 2, "{name}: {error}");
                    continue;
                }
            };
            let samples = collect(source.as_mut()).unwrap();
            heard_something += usize::from(!samples.is_empty());
            assert!(samples.len() < whole.len(), "{name}: nothing is missing");
            assert!(samples == whole[..samples.len()], "{name}: not a prefix");
            let missing = whole.len() as f64 * (1.0 - length as f64 / bytes.len() as f64);
            let lost = (whole.len() - samples.len()) as f64;
            assert!(lost < 1.5 * missing + 40_000.0, "{name}: {lost} samples lost");
            let remarks = without_delay(source.remarks());
            assert_eq!(remarks.len(), 1, "{name}: {remarks:?}");
            let at = samples.len() as f64 / 2.0 / 44_100.0;
            assert!(remarks[0].contains(&format!("stops at {at:.3} s")), "{name}: {remarks:?}");
            assert!(remarks[0].ends_with("it was cut short"), "{name}: {remarks:?}");
        }
        assert!(heard_something > 10, "{}", path.display());
    }
}

#[test]
fn a_hole_in_a_packed_file_becomes_silence_and_the_rest_stays_in_time() {
    let folder = tempfile::tempdir().unwrap();
    let spoilt = folder.path().join("spoilt");
    // WAV, AIFF and ALAC hold no checks: damage in them is heard and cannot be told from sound.
    let unchecked = ["a.wav", "alac.m4a", "a.aiff"];
    let checked = |path: &&PathBuf| !unchecked.iter().any(|name| path.ends_with(name));
    for path in all_kinds(folder.path(), 4 * SECOND).iter().filter(checked) {
        let name = path.display();
        let mut bytes = fs::read(path).unwrap();
        let whole = decoded(path).1;
        let middle = bytes.len() / 2;
        for byte in &mut bytes[middle..middle + 1_000] {
            *byte = 0x55;
        }
        fs::write(&spoilt, &bytes).unwrap();
        let (_, samples, remarks) = decoded(&spoilt);
        let remarks = without_delay(&remarks);
        println!("{name}: {remarks:?}");
        // Bare AAC may lose frames and have one that cannot be decoded.
        let most = if path.ends_with("bare.aac") { 2 } else { 1 };
        assert!((1..=most).contains(&remarks.len()), "{name}: {remarks:?}");
        if path.extension().is_some_and(|end| end == "mp3" || end == "aac") {
            // Nothing in such a file says when a frame is due: what is lost is left out.
            let last = remarks[remarks.len() - 1];
            assert!(last.contains("left out"), "{name}: {remarks:?}");
            assert!(samples.len() <= whole.len() && samples.len() + 30_000 > whole.len());
            continue;
        }
        assert!(remarks[0].contains("damaged part"), "{name}: {remarks:?}");
        assert_eq!(samples.len(), whole.len(), "{name}");
        let early = whole.len() / 4;
        assert!(samples[..early] == whole[..early], "{name}: before the hole");
        let late = whole.len() - 8_000;
        assert!(samples[late..] == whole[late..], "{name}: after the hole");
        let differing = samples.iter().zip(&whole).filter(|(a, b)| a != b).count();
        // A second, which is what a lost page of an Ogg file holds at most here.
        assert!(differing < 2 * SECOND, "{name}: {differing} samples differ");
    }
}
