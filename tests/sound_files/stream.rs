//! WAV from a pipe, MP4 files with more in them than sound, and what is heard of several channels.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use coilscore::audio::collect;
use coilscore::audio::file::wav_stream;

use crate::tools::{decoded, master, run, wav_bytes};

/// What comes of bytes that are piped in, with the remarks.
fn streamed(bytes: &[u8]) -> Result<(Vec<f32>, Vec<String>), String> {
    let bytes = std::io::Cursor::new(bytes.to_vec());
    let mut source = wav_stream(bytes, "standard input").map_err(|error| error.to_string())?;
    let samples = collect(source.as_mut()).unwrap();
    Ok((samples, source.remarks().to_vec()))
}

#[test]
fn a_stream_of_wav_gives_what_the_file_gives_whatever_length_it_states() {
    let folder = tempfile::tempdir().unwrap();
    let wav = folder.path().join("a.wav");
    master(&wav, 44_100, 2, 40_000);
    let from = wav.to_str().unwrap();
    for coding in [
        "pcm_u8",
        "pcm_s16le",
        "pcm_s24le",
        "pcm_s32le",
        "pcm_f32le",
        "pcm_f64le",
        "pcm_alaw",
        "pcm_mulaw",
    ] {
        let file = folder.path().join(format!("{coding}.wav"));
        run("ffmpeg", &["-v", "error", "-i", from, "-c:a", coding, file.to_str().unwrap()]);
        // To a pipe FFmpeg cannot go back and fill the length in.
        let piped = run("ffmpeg", &["-v", "error", "-i", from, "-c:a", coding, "-f", "wav", "-"]);
        let whole = decoded(&file).1;
        assert_eq!(streamed(&piped), Ok((whole.clone(), vec![])), "{coding}");
        let filled = fs::read(&file).unwrap();
        assert_eq!(streamed(&filled), Ok((whole.clone(), vec![])), "{coding}");
        let (cut, remarks) = streamed(&filled[..filled.len() / 2]).unwrap();
        assert!(cut == whole[..cut.len()] && cut.len() > 30_000, "{coding}: {}", cut.len());
        assert!(remarks.len() == 1 && remarks[0].ends_with("it was cut short"), "{remarks:?}");
    }
    let open = wav_bytes(1, 1, 16, &[1; 64], 0);
    assert_eq!(streamed(&open).map(|(samples, _)| samples.len()), Ok(32));
}

#[test]
fn anything_else_from_a_pipe_is_named_with_a_way_to_pipe_it() {
    let folder = tempfile::tempdir().unwrap();
    let [wav, ogg] = ["a.wav", "a.ogg"].map(|name| folder.path().join(name));
    master(&wav, 44_100, 2, 20_000);
    run("oggenc", &["-Q", wav.to_str().unwrap(), "-o", ogg.to_str().unwrap()]);
    let bytes = fs::read(&ogg).unwrap();
    for (bytes, what) in [
        (&bytes[..], "this is an Ogg file, and only WAV can be read from a stream"),
        (&b""[..], "nothing came"),
        (&b"hello there, this is some text\n"[..], "this is a text file, and only WAV"),
        (&[7, 0, 200, 3, 9, 9, 9, 9, 9, 9, 9, 9, 1, 2][..], "this is of no known kind"),
        (&b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0"[..], "its format chunk is too short"),
    ] {
        let error = streamed(bytes).unwrap_err();
        println!("{error}");
        assert!(error.starts_with("standard input: ") && error.contains(what), "{error}");
    }
}

/// Runs the program with a song on its standard input.
fn rendered(folder: &Path, song: &[u8], more: &[&str]) -> (Option<i32>, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_coilscore"))
        .args(["render", "-", "--preset", "presets/ring_turns.toml", "--out"])
        .arg(folder.join("out.duty"))
        .args(more)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // One that refuses what comes closes the pipe.
    let _ = child.stdin.take().unwrap().write_all(song);
    let output = child.wait_with_output().unwrap();
    (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned())
}

#[test]
fn render_takes_a_song_from_a_pipe_and_one_channel_of_it() {
    let folder = tempfile::tempdir().unwrap();
    let [wav, file] = ["a.wav", "file.duty"].map(|name| folder.path().join(name));
    master(&wav, 44_100, 2, 60_000);
    let bytes = fs::read(&wav).unwrap();
    let frames = |channel: &str| {
        let told = rendered(folder.path(), &bytes, &["--channel", channel, "--quiet"]);
        assert_eq!(told.0, Some(0), "{}", told.1);
        fs::read(folder.path().join("out.duty")).unwrap()
    };
    let status = Command::new(env!("CARGO_BIN_EXE_coilscore"))
        .args(["render", wav.to_str().unwrap(), "--preset", "presets/ring_turns.toml", "--quiet"])
        .args(["--out", file.to_str().unwrap()])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .status()
        .unwrap();
    assert!(status.success());
    assert!(frames("all") == fs::read(&file).unwrap(), "the pipe gives other frames");
    assert!(frames("left") == frames("1") && frames("left") != frames("right"));
    assert!(frames("mid") != frames("side"));
    let (code, told) = rendered(folder.path(), &bytes, &["--channel", "3"]);
    assert_eq!(code, Some(2), "{told}");
    assert!(told.contains("--channel 3: the sound has 2 channels"), "{told}");
    let (code, told) = rendered(folder.path(), &bytes, &["--channel", "both"]);
    assert!(code == Some(2) && told.contains("accepted are all, left, right, mid, side"), "{told}");
    let (code, told) = rendered(folder.path(), &bytes[..100_000], &["--quiet"]);
    assert!(code == Some(0) && told.contains("it was cut short"), "{told}");
}

#[test]
fn an_mp4_with_a_cover_or_a_film_gives_its_first_sound_track() {
    let folder = tempfile::tempdir().unwrap();
    let names = ["a.wav", "b.wav", "plain.m4a", "cover.png", "cover.m4a", "film.mp4"];
    let paths = names.map(|name| folder.path().join(name));
    let [wav, other, plain, cover, covered, film] = paths.each_ref().map(|p| p.to_str().unwrap());
    master(&paths[0], 44_100, 2, 50_000);
    master(&paths[1], 44_100, 2, 30_000);
    run("ffmpeg", &["-v", "error", "-i", wav, "-c:a", "aac", plain]);
    let picture = "color=c=gray:s=1200x1200,noise=alls=100";
    run("ffmpeg", &["-v", "error", "-f", "lavfi", "-i", picture, "-frames:v", "1", cover]);
    let size = fs::metadata(cover).unwrap().len();
    assert!(size > 1_000_000, "{size} bytes are no large cover");
    let with_cover = ["-map", "0", "-map", "1", "-c:v", "copy", "-disposition:v", "attached_pic"];
    let inputs = ["-v", "error", "-i", wav, "-i", cover];
    run("ffmpeg", &[&inputs[..], &with_cover, &["-c:a", "aac", covered]].concat());
    let moving = ["-v", "error", "-f", "lavfi", "-i", "testsrc=d=1:s=64x64:r=10"];
    let tracks = ["-map", "0:v", "-map", "1:a", "-map", "2:a", "-c:v", "mpeg4", "-c:a", "aac"];
    run("ffmpeg", &[&moving[..], &["-i", wav, "-i", other], &tracks, &[film]].concat());
    let expected = decoded(&paths[2]).1;
    assert_eq!(expected.len(), 100_000);
    let (_, samples, remarks) = decoded(&paths[4]);
    assert!(samples == expected && remarks.is_empty(), "{remarks:?}");
    let (_, samples, remarks) = decoded(&paths[5]);
    assert!(samples == expected, "{} samples", samples.len());
    assert_eq!(remarks.len(), 1, "{remarks:?}");
    assert!(remarks[0].starts_with("the file holds 2 sound tracks; number "), "{remarks:?}");
}
