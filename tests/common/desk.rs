//! A folder with a mapping and a display in it, and the program as a user runs it there.

use std::path::PathBuf;
use std::process::{Child, Command, Output, Stdio};

use tempfile::TempDir;

use crate::common;

/// A folder of its own.
pub(crate) struct Desk {
    dir: TempDir,
}

/// What the program left.
pub(crate) struct Run {
    pub(crate) code: Option<i32>,
    /// Standard output.
    pub(crate) told: String,
    /// Standard error.
    pub(crate) errors: String,
}

impl From<Output> for Run {
    fn from(run: Output) -> Self {
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        Self { code: run.status.code(), told: text(&run.stdout), errors: text(&run.stderr) }
    }
}

impl Run {
    /// Of a program that was started before, once it has ended.
    pub(crate) fn of(child: Child) -> Self {
        child.wait_with_output().unwrap().into()
    }
}

impl Desk {
    pub(crate) fn new() -> Self {
        let desk = Self { dir: TempDir::new().unwrap() };
        desk.write("display.toml", common::HOT_RING);
        desk.write("mapping.toml", common::BUSY);
        desk
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    pub(crate) fn write(&self, name: &str, text: &str) {
        std::fs::write(self.path(name), text).unwrap();
    }

    pub(crate) fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_coilscore"));
        command.args(args).current_dir(self.dir.path()).stdin(Stdio::null());
        command
    }

    pub(crate) fn run(&self, args: &[&str]) -> Run {
        self.command(args).output().unwrap().into()
    }
}
