//! What is said about files that are not accepted.

use std::fs;

use coilscore::audio::file::open;

use crate::tools::{master, run, wav_bytes};

#[test]
fn every_refusal_says_what_it_is_and_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let text = |name: &str| at(name).to_str().unwrap().to_owned();
    master(&at("a.wav"), 48_000, 2, 20_000);
    let wav = text("a.wav");
    let pack = |arguments: &[&str], name: &str| {
        let to = text(name);
        run("ffmpeg", &[&["-v", "error", "-i", &wav], arguments, &[&to]].concat());
    };
    pack(&["-c:a", "libopus"], "opus.ogg");
    pack(&["-c:a", "libopus"], "opus.mp4");
    pack(&["-c:a", "ac3"], "dolby.mp4");
    pack(&["-c:a", "mp3"], "mp3.mp4");
    pack(&["-ac", "6", "-c:a", "aac"], "surround.m4a");
    pack(&["-c:a", "pcm_s16be"], "film.mov");
    pack(&["-c:a", "adpcm_ima_qt"], "adpcm.aifc");
    pack(&["-c:a", "ac3"], "dolby.ac3");
    pack(&["-c:a", "wmav2"], "song.wma");
    pack(&["-c:a", "wavpack"], "song.wv");
    pack(&["-c:a", "aac", "-f", "latm"], "latm.aac");
    pack(&["-c:a", "aac", "-f", "mpegts"], "song.ts");
    pack(&["-c:a", "pcm_s16le", "-f", "w64"], "song.w64");
    let whole = fs::read(at("opus.mp4")).unwrap();
    fs::write(at("no-index.mp4"), &whole[..whole.len() / 2]).unwrap();
    pack(&["-c:a", "adpcm_ima_wav"], "adpcm.wav");
    pack(&["-c:a", "adpcm_ms"], "adpcm-too.wav");
    pack(&["-c:a", "libmp3lame", "-f", "wav"], "mp3.wav");
    pack(&["-rf64", "always"], "rf64.wav");
    let [unfilled, mut sparse] =
        [wav_bytes(1, 1, 16, &[1; 64], 0), wav_bytes(1, 1, 32, &[1; 64], 64)];
    fs::write(at("unfilled.wav"), &unfilled).unwrap();
    fs::write(at("unfilled-too.wav"), wav_bytes(3, 1, 64, &[1; 64], 0)).unwrap();
    // Sixteen bits in four bytes each, in the plain form: which two?
    sparse[34] = 16;
    fs::write(at("sparse.wav"), sparse).unwrap();
    pack(&["-ar", "4000"], "slow.wav");
    pack(&["-ar", "384000"], "fast.wav");
    pack(&["-f", "mp2"], "layer2.mp3");
    pack(&["-c:a", "libvorbis", "-f", "webm"], "web.ogg");
    pack(&["-ac", "6", "-c:a", "libvorbis"], "surround.ogg");
    fs::write(at("many.wav"), wav_bytes(1, 40, 16, &[0; 160], 160)).unwrap();
    fs::write(at("notes.wav"), "la la la\n").unwrap();
    fs::write(at("empty.wav"), "").unwrap();
    fs::write(at("junk.mp3"), [7, 0, 200, 3].repeat(1000)).unwrap();
    fs::write(at("stub.wav"), &fs::read(at("a.wav")).unwrap()[..30]).unwrap();
    fs::write(at("stub.flac"), b"fLaC").unwrap();
    fs::create_dir(at("folder")).unwrap();
    run("mkfifo", &[&text("pipe")]);

    let convert = "convert it: ffmpeg -i ";
    let expected = [
        ("opus.ogg", "this is Opus sound", convert),
        ("opus.mp4", "this MP4 file holds Opus sound", convert),
        ("dolby.mp4", "this MP4 file holds AC-3 sound", convert),
        ("mp3.mp4", "this MP4 file holds MP3 sound", convert),
        ("surround.m4a", "it has 6 channels, in AAC accepted are 1 and 2", convert),
        ("film.mov", "uncompressed sound", convert),
        ("adpcm.aifc", "ADPCM", convert),
        ("dolby.ac3", "this is AC-3 sound", convert),
        ("song.wma", "this is an ASF file (WMA sound)", convert),
        ("song.wv", "this is a WavPack file", convert),
        ("latm.aac", "this is AAC sound in LATM frames", convert),
        ("song.ts", "this is an MPEG transport stream", convert),
        ("song.w64", "this is a W64 file", convert),
        ("no-index.mp4", "before the index (moov) without which", "get a fresh copy"),
        ("adpcm.wav", "this WAV file holds ADPCM samples", convert),
        ("adpcm-too.wav", "this WAV file holds ADPCM samples", convert),
        ("mp3.wav", "the sound in this WAV file is of a kind that is not known here", convert),
        ("rf64.wav", "this is an RF64 or BW64 file (WAV made for more than 4 GiB)", convert),
        ("unfilled.wav", "this WAV file states a length of zero", "ignore the stated length"),
        ("unfilled-too.wav", "no sound could be decoded from this", "ignore the stated length"),
        ("sparse.wav", "this is a WAV file with samples of an unusual size", convert),
        ("layer2.mp3", "this is MPEG audio layer II sound", convert),
        ("web.ogg", "this is a Matroska or WebM file", convert),
        ("slow.wav", "its sampling rate is 4000 Hz, accepted are 8000 to 192000 Hz", "bring it to"),
        ("fast.wav", "its sampling rate is 384000 Hz, accepted are", "bring it to"),
        ("many.wav", "it has 40 channels, accepted are 1 to 32", "make a stereo version"),
        ("surround.ogg", "it has 6 channels, in Ogg Vorbis accepted are 1 and 2", convert),
        ("notes.wav", "this is a text file", "name a sound file"),
        ("empty.wav", "the file is empty", "get a fresh copy"),
        ("junk.mp3", "this is not a sound file of a known kind", convert),
        ("stub.wav", "this WAV file is damaged: it ends before any sound", "get a fresh copy"),
        ("stub.flac", "this FLAC file is damaged: it ends before any sound", "get a fresh copy"),
        ("folder", "this is a folder, not a sound file", "name a file in it"),
        ("pipe", "this is a device or a pipe, not a sound file", "write the sound to a file"),
        ("missing.wav", "there is no such file or folder", "check the name"),
    ];
    for (name, what, advice) in expected {
        let Err(error) = open(&at(name)) else { panic!("{name} was opened") };
        let message = error.to_string();
        println!("{}", message.replace(folder.path().to_str().unwrap(), "songs"));
        assert!(message.starts_with(&text(name)), "{message}");
        assert!(message.contains(what) && message.contains(advice), "{message}");
        assert!(!message.contains('\n'), "{message}");
    }
}
