//! The house rules that a compiler does not know, read off the sources.
//!
//! First the import rule: [`ALLOWED`] is the one table of who may use whom. Then: no file too long,
//! every file says what it is for, nothing is left for later, and the pure stages do not touch the
//! outside world. A failure says what to do.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::disallowed_methods,
    reason = "reads the sources; tests stop at the first surprise"
)]

use std::fs;
use std::path::{Path, PathBuf};

/// Who may use whom, by module of the crate. A module may name only modules of earlier rows, so the
/// table cannot hold a circle.
const ALLOWED: &[(&str, &[&str])] = &[
    ("shown", &[]),
    ("units", &[]),
    ("audio", &["shown", "units"]),
    ("analysis", &["units", "audio"]),
    ("listen", &["units", "audio"]),
    ("mapper", &["units", "analysis"]),
    ("coil", &["units"]),
    ("fit", &["units", "coil"]),
    ("budget", &["units", "coil"]),
    ("frame", &["units", "budget"]),
    ("sink", &["shown", "units", "frame", "budget"]),
    ("engine", &["units", "audio", "analysis", "mapper", "budget", "frame"]),
    (
        "preset",
        &[
            "shown", "units", "audio", "analysis", "mapper", "coil", "budget", "frame", "sink",
            "engine",
        ],
    ),
    ("sheet", &["units", "coil", "budget", "frame", "preset"]),
    (
        "run",
        &[
            "shown", "units", "audio", "analysis", "mapper", "coil", "budget", "frame", "sink",
            "engine", "preset",
        ],
    ),
    ("picture", &["units", "coil", "fit", "frame", "sheet"]),
    (
        "cli",
        &[
            "shown", "units", "audio", "analysis", "mapper", "coil", "fit", "budget", "frame",
            "sink", "engine", "preset", "sheet", "run", "picture", "listen",
        ],
    ),
];

/// Files that tie the modules together and may name them all.
const TIES: &[&str] = &["lib", "main"];

/// Stages that hold no clock, file, socket, thread or environment.
const PURE: &[&str] =
    &["units", "audio", "analysis", "listen", "mapper", "coil", "fit", "budget", "frame", "engine"];

/// The parts of `audio` that open files and devices.
const NOT_PURE: &[&str] = &[
    "src/audio/file",
    "src/audio/capture",
    "src/audio/playback/output.rs",
    "src/audio/playback/speaker.rs",
    "src/audio/patience.rs",
];

/// First names under `std` that a pure stage may not reach.
const OUTSIDE_WORLD: &[&str] = &["fs", "net", "thread", "time", "env", "process"];

const LONGEST_FILE: usize = 400;

#[test]
fn modules_import_only_what_the_table_allows() {
    let mut faults = Vec::new();
    for source in sources(&["src"], &["rs"]) {
        for name in foreign_modules(&source.text, &source.module) {
            let allowed = ALLOWED.iter().find(|(module, _)| *module == source.owner());
            match allowed {
                Some((_, may)) if may.contains(&name.as_str()) => {}
                _ if TIES.contains(&source.owner()) => {}
                _ => faults.push(format!(
                    "{}: `{}` uses `{name}`, which the table in tests/imports.rs does not allow: \
                     hand the value in from outside, or move the code to where it belongs",
                    source.name,
                    source.owner()
                )),
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_table_is_whole_and_reads_left_to_right() {
    for (row, (module, may)) in ALLOWED.iter().enumerate() {
        for used in *may {
            let earlier = ALLOWED.iter().take(row).any(|(earlier, _)| earlier == used);
            assert!(earlier, "`{module}` may use `{used}`, so put `{used}` into an earlier row");
        }
    }
    for source in sources(&["src"], &["rs"]) {
        let owner = source.owner();
        let known = TIES.contains(&owner) || ALLOWED.iter().any(|(module, _)| *module == owner);
        assert!(known, "{}: give `{owner}` a row in the table of tests/imports.rs", source.name);
    }
}

#[test]
fn pure_stages_do_not_touch_the_outside_world() {
    let mut faults = Vec::new();
    for source in sources(&["src"], &["rs"]) {
        let exempt = NOT_PURE.iter().any(|start| source.name.starts_with(start));
        if PURE.contains(&source.owner()) && !exempt {
            faults.extend(outside_world(&source.text).into_iter().map(|what| {
                format!(
                    "{}: a pure stage mentions {what}: take values, or a Read or Write, from the \
                     caller",
                    source.name
                )
            }));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn files_are_short_say_what_they_are_for_and_leave_nothing_for_later() {
    // Put together here, so that this file does not find itself.
    let later = [["TO", "DO"], ["FIX", "ME"], ["X", "XX"], ["todo", "!"], ["unimplemented", "!"]];
    let mut faults = Vec::new();
    for source in sources(&["src", "tests", "examples"], &["rs", "py", "c", "h"]) {
        let lines = source.text.lines().count();
        if lines > LONGEST_FILE {
            faults.push(format!(
                "{}: {lines} lines; split it by meaning until each part has at most {LONGEST_FILE}",
                source.name
            ));
        }
        if source.name.ends_with(".rs") && !source.text.starts_with("//!") {
            faults.push(format!("{}: begin with //! and say what it is for", source.name));
        }
        for word in later.map(|parts| parts.concat()) {
            if let Some((_, line)) = source.text.lines().zip(1..).find(|it| it.0.contains(&word)) {
                faults.push(format!("{}:{line}: {word}: do it now or open an issue", source.name));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_reader_of_sources_sees_what_it_must() {
    let sample = r##"
        //! [`crate::picture`] in a comment does not count. /* nor crate::run
        /* /* crate::run */ crate::run */
        use crate::{analysis::{Heard, spectrum::run}, budget::Duty as D, self as _};
        use super::settings::Curve;
        use super::super::engine;
        const TEXT: (&str, &str, char) = ("crate::sink \" crate::sink", r#"crate::sink"#, '"');
        fn f<'a>(x: &'a crate::coil::Coil) -> r#fn { x.supercrate; crate :: preset :: Limits }
        pub(super) struct S; pub(in super::super) struct T;
        pub(crate) mod tests {
            use super::super::local;
            use super::super::super::{frame, cli::*};
            pub(in crate::mapper) fn g() { $crate::audio::x!() }
        }
        use super::range; use coilscore::main; use crate::*;
    "##;
    let mut seen = foreign_modules(sample, &["mapper", "curve"].map(String::from));
    seen.sort();
    let expected = [
        "*", "analysis", "audio", "budget", "cli", "coil", "engine", "frame", "main", "preset",
        "self",
    ];
    assert_eq!(seen, expected);

    let impure =
        "use std::{io, fs::{self, File}}; std::time::Duration; Instant::now() File::open(x)
        std::thread::spawn // std::net
        \"SystemTime\" SystemTime";
    let what = ["std::fs", "std::time", "std::thread", "File::", "Instant::", "SystemTime"];
    assert_eq!(outside_world(impure), what);
    assert!(outside_world("use std::fmt; MyFile::open(); // File::open").is_empty());
}

/// A file of the project.
struct Source {
    /// Path from the top of the project, with `/`.
    name: String,
    /// Module path from the crate's root: `src/mapper/curve.rs` is `mapper`, `curve`.
    module: Vec<String>,
    text: String,
}

impl Source {
    fn owner(&self) -> &str {
        self.module.first().expect("every source has a module")
    }
}

/// All files with one of these endings in these folders; folders that are not there are empty.
fn sources(folders: &[&str], endings: &[&str]) -> Vec<Source> {
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut found = Vec::new();
    let mut folders: Vec<PathBuf> = folders.iter().map(|folder| top.join(folder)).collect();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).into_iter().flatten() {
            let path = entry.unwrap().path();
            let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or("");
            if path.is_dir() {
                folders.push(path);
            } else if endings.contains(&ending) {
                let inside = path.strip_prefix(top).unwrap();
                let parts: Vec<_> = inside.iter().map(|part| part.to_str().unwrap()).collect();
                let mut module: Vec<_> = parts.iter().skip(1).map(|s| (*s).to_owned()).collect();
                let last = module.pop().expect("a file in a folder");
                let stem = last.split('.').next().unwrap();
                if stem != "mod" {
                    module.push(stem.to_owned());
                }
                let text = fs::read_to_string(&path).unwrap();
                found.push(Source { name: parts.join("/"), module, text });
            }
        }
    }
    found.sort_by(|a, b| a.name.cmp(&b.name));
    found
}

/// Modules of the crate that a source names, each once, without its own: by `crate::`, by the
/// crate's name, or by a chain of `super` that ends at the root.
fn foreign_modules(text: &str, module: &[String]) -> Vec<String> {
    let tokens = tokens(text);
    let mut found = Vec::new();
    // Braces that belong to `mod name {`: each is one level more to climb.
    let (mut braces, mut inline) = (0_usize, Vec::new());
    let mut at = 0;
    while let Some(token) = tokens.get(at) {
        let rest = tokens.get(at + 1..).unwrap_or(&[]);
        match token.as_str() {
            "mod" if rest.get(1).is_some_and(|next| next == "{") => inline.push(braces),
            "{" => braces += 1,
            "}" => {
                braces = braces.saturating_sub(1);
                inline.pop_if(|opened| *opened >= braces);
            }
            "crate" | "coilscore" if rest.first().is_some_and(|next| next == "::") => {
                found.extend(first_names(rest.get(1..).unwrap_or(&[])));
            }
            "super" => {
                let chain: Vec<_> =
                    tokens[at..].chunks(2).take_while(|pair| pair[0] == "super").collect();
                let climbed = chain.len();
                at += 2 * climbed - 1;
                let goes_on = tokens.get(at).is_some_and(|next| next == "::");
                if goes_on && climbed >= module.len() + inline.len() {
                    found.extend(first_names(tokens.get(at + 1..).unwrap_or(&[])));
                }
            }
            _ => {}
        }
        at += 1;
    }
    found.sort();
    found.dedup();
    found.retain(|name| module.first() != Some(name));
    found
}

/// What a path continues with: one name, or the first name of each branch of `{a::b, c::{d, e}}`.
fn first_names(after: &[String]) -> Vec<String> {
    if after.first().is_none_or(|token| token != "{") {
        return after.first().cloned().into_iter().collect();
    }
    let (mut depth, mut names) = (0, Vec::new());
    let mut before = "";
    for token in after {
        match token.as_str() {
            "{" => depth += 1,
            "}" => depth -= 1,
            name if depth == 1 && name != "," && (before == "{" || before == ",") => {
                names.push(name.to_owned());
            }
            _ => {}
        }
        if depth == 0 {
            break;
        }
        before = token;
    }
    names
}

/// What a pure stage must not mention, in the order of the lists.
fn outside_world(text: &str) -> Vec<String> {
    let tokens = tokens(text);
    let mut found = Vec::new();
    for (at, token) in tokens.iter().enumerate() {
        if token == "std" && tokens.get(at + 1).is_some_and(|next| next == "::") {
            let names = first_names(tokens.get(at + 2..).unwrap_or(&[]));
            let bad = names.into_iter().filter(|name| OUTSIDE_WORLD.contains(&name.as_str()));
            found.extend(bad.map(|name| format!("std::{name}")));
        }
    }
    for name in ["File", "Instant"] {
        let called = |pair: &[String]| pair[0] == name && pair[1] == "::";
        found.extend(tokens.windows(2).any(called).then(|| format!("{name}::")));
    }
    found.extend(tokens.iter().find(|token| *token == "SystemTime").cloned());
    found
}

/// Names, `::` and single marks, without comments, strings and characters.
fn tokens(text: &str) -> Vec<String> {
    let mut tokens = Vec::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let word = rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len());
        let taken = if rest.starts_with("//") {
            rest.find('\n').unwrap_or(rest.len())
        } else if rest.starts_with("/*") {
            block_comment(rest)
        } else if let Some(length) = string(rest) {
            length
        } else if word > 0 {
            tokens.push(rest[..word].to_owned());
            word
        } else {
            let mark = if rest.starts_with("::") { 2 } else { first.len_utf8() };
            if !first.is_whitespace() {
                tokens.push(rest[..mark].to_owned());
            }
            mark
        };
        rest = &rest[taken..];
    }
    tokens
}

/// Length of the block comment, with those inside it, that the text begins with.
fn block_comment(text: &str) -> usize {
    let (mut depth, mut at) = (0, 0);
    while at < text.len() {
        let here = &text.as_bytes()[at..];
        let step = match here {
            [b'/', b'*', ..] => 1,
            [b'*', b'/', ..] => -1,
            _ => 0,
        };
        depth += step;
        at += if step == 0 { 1 } else { 2 };
        if depth == 0 {
            return at;
        }
    }
    text.len()
}

/// Length of the string or character that the text begins with, if it does.
fn string(text: &str) -> Option<usize> {
    let body = text.strip_prefix("br").or_else(|| text.strip_prefix('r')).unwrap_or(text);
    let hashes = body.len() - body.trim_start_matches('#').len();
    if body.len() < text.len() && body[hashes..].starts_with('"') {
        let end = format!("\"{}", "#".repeat(hashes));
        let start = text.len() - body.len() + hashes + 1;
        return Some(text[start..].find(&end).map_or(text.len(), |at| start + at + end.len()));
    }
    let quote = text.chars().next().filter(|c| *c == '"' || *c == '\'')?;
    let mut escaped = false;
    let close = text.char_indices().skip(1).find(|(_, c)| {
        let closes = *c == quote && !escaped;
        escaped = *c == '\\' && !escaped;
        closes
    });
    let length = close.map_or(text.len(), |(at, _)| at + 1);
    // A quote that does not close after one character or an escape is a lifetime.
    let character = text.get(1..length - 1).is_some_and(|it| it.chars().count() == 1)
        || text[1..].starts_with('\\');
    (quote == '"' || character).then_some(length)
}

/// An outside crate cannot make a `Duty` (its documentation proves it); nor may the other modules
/// of this one.
#[test]
fn only_the_budget_makes_duties() {
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    let duty = fs::read_to_string(top.join("src/budget/duty.rs")).unwrap();
    assert!(duty.contains("pub(super) fn permit("), "Duty::permit must stay pub(super)");
    assert!(duty.contains("pub struct Duty(i32);"), "the field of Duty must stay private");
    for source in sources(&["src"], &["rs"]) {
        let permits = source.owner() != "budget" && source.text.contains("Duty::permit");
        assert!(!permits, "{}: only the budget permits", source.name);
    }
}
