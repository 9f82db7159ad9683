//! The only place here that touches files.
#![allow(clippy::disallowed_methods, reason = "this is where mapping and display files are read")]

use crate::shown::Shown as _;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use super::finding::{Finding, Refusals, Weight};
use super::{Display, Mapping, display, mapping};

/// Far above any hand-written file; keeps a wrong path from filling the memory.
const LARGEST_BYTES: u64 = 4 << 20;

/// Reads and checks a mapping file.
///
/// # Errors
/// When the file cannot be read, or holds anything that is refused.
pub fn load_mapping(path: &Path) -> Result<Mapping, Refusals> {
    mapping::read(&path.shown(), &text_of(path)?)
}

/// Reads and checks a display file.
///
/// # Errors
/// When the file cannot be read, or holds anything that is refused.
pub fn load_display(path: &Path) -> Result<Display, Refusals> {
    display::read(&path.shown(), &text_of(path)?)
}

fn text_of(path: &Path) -> Result<String, Refusals> {
    let refuse = |problem: String, help: &str| {
        let title = format!("{}: {problem}", path.shown());
        Refusals::from(Finding::placeless(Weight::Refusal, title).help(help))
    };
    let bytes = bytes_of(path).map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => {
            refuse("there is no such file".to_owned(), "check the path and its spelling")
        }
        _ => refuse(format!("cannot be read: {error}"), "check the file and your rights to it"),
    })?;
    if bytes.len() as u64 > LARGEST_BYTES {
        let help = "a mapping or display file is a short text: check the path";
        return Err(refuse("is larger than 4 MiB".to_owned(), help));
    }
    String::from_utf8(bytes).map_err(|error| {
        let good = error.utf8_error().valid_up_to();
        let line = error.as_bytes().iter().take(good).filter(|&&byte| byte == b'\n').count() + 1;
        let help = "save the file as UTF-8 text, or check the path";
        refuse(format!("line {line} is not UTF-8 text"), help)
    })
}

fn bytes_of(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(LARGEST_BYTES + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}
