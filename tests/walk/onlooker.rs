//! Someone in front of a display, who sees which coil moves, and at which duty fluid lifts.
#![cfg(all(unix, feature = "serial"))]

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::Duration;

use crate::bench::{Desk, OnLine};

/// Far longer than anything takes; only a failure lasts so long.
const AT_MOST: Duration = Duration::from_secs(60);

/// The program, its lines as they come, and its keys.
pub struct Walk {
    pub child: Child,
    pub keys: Option<ChildStdin>,
    lines: Receiver<String>,
    pub heard: Vec<String>,
}

impl Walk {
    pub fn start(desk: &Desk, line: &OnLine, more: &[&str]) -> Self {
        let port = line.name();
        let mut command = desk.command(&["walk", "--display", "display.toml", "--port", &port]);
        command.args(more).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::inherit());
        let mut child = command.spawn().unwrap();
        let (keys, out) = (child.stdin.take(), child.stdout.take().unwrap());
        let (send, lines) = channel();
        thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                if send.send(line).is_err() {
                    break;
                }
            }
        });
        Self { child, keys, lines, heard: Vec::new() }
    }

    pub fn press(&mut self, keys: &str) {
        self.keys.as_mut().unwrap().write_all(keys.as_bytes()).unwrap();
    }

    /// The next line that starts like this.
    pub fn until(&mut self, start: &str) -> String {
        loop {
            let line = self.lines.recv_timeout(AT_MOST);
            let line = line.unwrap_or_else(|_| panic!("no '{start}' in {:#?}", self.heard));
            self.heard.push(line.clone());
            if line.trim_start().starts_with(start) {
                return line;
            }
        }
    }

    /// Its exit code and all that it said.
    pub fn end(mut self) -> (Option<i32>, String) {
        drop(self.keys.take());
        let code = self.child.wait().unwrap().code();
        self.heard.extend(self.lines.iter());
        (code, self.heard.join("\n"))
    }
}

/// The channel that is driven now, and its code.
pub fn driven(line: &OnLine) -> Option<(usize, i32)> {
    let board = line.board();
    let mut on = board.codes().iter().enumerate().filter(|(_, code)| **code != 0);
    let first = on.next().map(|(channel, code)| (channel, *code));
    assert!(on.next().is_none(), "two coils at once: {:?}", board.codes());
    first
}
