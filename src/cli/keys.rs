//! Keys as they are pressed, and as scripts send them.
//!
//! On a terminal a key counts at once and is not shown. The terminal is otherwise left as it is:
//! Ctrl-C still interrupts, and what other parts print still has its line ends. Where standard
//! input is no terminal, its characters are the keys, so that `echo q | coilscore ...` presses q.

use std::io::{IsTerminal, Read};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::time::Duration;

use crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

/// A key that was pressed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Key {
    /// A letter, digit, sign or the space bar.
    Char(char),
    /// Return. From a script: an empty line.
    Enter,
    /// Escape.
    Escape,
    /// Backspace.
    Back,
    /// An arrow.
    Up,
    /// An arrow.
    Down,
    /// An arrow.
    Left,
    /// An arrow.
    Right,
}

/// Where keys come from. Restores the terminal when dropped, and so on a panic.
#[derive(Debug)]
pub(super) struct Keys {
    from: From,
    over: bool,
}

#[derive(Debug)]
enum From {
    Terminal { _guard: AtOnce },
    Script(Receiver<Key>),
}

impl Keys {
    /// Takes over standard input.
    pub(super) fn open() -> Self {
        let from = match AtOnce::new() {
            Some(guard) => From::Terminal { _guard: guard },
            None => From::Script(script()),
        };
        Self { from, over: false }
    }

    /// The next key; waits no longer than `wait` for it, and not at all for 0.
    pub(super) fn poll(&mut self, wait: Duration) -> Option<Key> {
        if self.over {
            std::thread::sleep(wait);
            return None;
        }
        match &self.from {
            From::Script(keys) => match keys.recv_timeout(wait) {
                Ok(key) => Some(key),
                Err(RecvTimeoutError::Timeout) => None,
                Err(RecvTimeoutError::Disconnected) => {
                    self.over = true;
                    None
                }
            },
            From::Terminal { .. } => match event::poll(wait) {
                Ok(false) => None,
                Ok(true) => event::read().ok().and_then(pressed),
                Err(_) => {
                    self.over = true;
                    None
                }
            },
        }
    }

    /// True once no key can come any more: the script has ended or the terminal is gone.
    pub(super) fn over(&self) -> bool {
        self.over
    }
}

/// Keys that may wait; a script that is faster waits itself.
const WAITING: usize = 64;

/// Characters of standard input, read on a thread of their own as they may never come.
fn script() -> Receiver<Key> {
    let (send, keys) = sync_channel(WAITING);
    std::thread::spawn(move || {
        let mut line_is_empty = true;
        for byte in std::io::stdin().lock().bytes().map_while(Result::ok) {
            let key = of_byte(byte, line_is_empty);
            line_is_empty = byte == b'\n';
            if key.is_some_and(|key| send.send(key).is_err()) {
                break;
            }
        }
    });
    keys
}

/// The end of a line that held keys is no key of its own.
fn of_byte(byte: u8, line_is_empty: bool) -> Option<Key> {
    match byte {
        b'\n' => line_is_empty.then_some(Key::Enter),
        0x1b => Some(Key::Escape),
        0x08 | 0x7f => Some(Key::Back),
        b' '..=b'~' => Some(Key::Char(char::from(byte))),
        _ => None,
    }
}

fn pressed(event: Event) -> Option<Key> {
    let Event::Key(KeyEvent { code, modifiers, kind: KeyEventKind::Press, .. }) = event else {
        return None;
    };
    match code {
        // Where the terminal does not turn it into the signal by itself.
        KeyCode::Char('c') if modifiers.contains(KeyModifiers::CONTROL) => {
            let _ = signal_hook::low_level::raise(signal_hook::consts::SIGINT);
            None
        }
        KeyCode::Char(_) if modifiers.intersects(KeyModifiers::CONTROL | KeyModifiers::ALT) => None,
        KeyCode::Char(letter) => Some(Key::Char(letter)),
        KeyCode::Enter => Some(Key::Enter),
        KeyCode::Esc => Some(Key::Escape),
        KeyCode::Backspace => Some(Key::Back),
        KeyCode::Up => Some(Key::Up),
        KeyCode::Down => Some(Key::Down),
        KeyCode::Left => Some(Key::Left),
        KeyCode::Right => Some(Key::Right),
        _ => None,
    }
}

/// A terminal that hands over each key at once and shows none, until this is dropped.
#[cfg(unix)]
#[derive(Debug)]
struct AtOnce(rustix::termios::Termios);

#[cfg(unix)]
impl AtOnce {
    fn new() -> Option<Self> {
        use rustix::termios::{
            LocalModes, OptionalActions, SpecialCodeIndex, tcgetattr, tcsetattr,
        };
        if !std::io::stdin().is_terminal() {
            return None;
        }
        let before = tcgetattr(rustix::stdio::stdin()).ok()?;
        let mut modes = before.clone();
        modes.local_modes.remove(LocalModes::ICANON | LocalModes::ECHO);
        modes.special_codes[SpecialCodeIndex::VMIN] = 1;
        modes.special_codes[SpecialCodeIndex::VTIME] = 0;
        tcsetattr(rustix::stdio::stdin(), OptionalActions::Now, &modes).ok()?;
        Some(Self(before))
    }
}

#[cfg(unix)]
impl Drop for AtOnce {
    fn drop(&mut self) {
        use rustix::termios::{OptionalActions, tcsetattr};
        // A terminal that is gone needs no restoring.
        let _ = tcsetattr(rustix::stdio::stdin(), OptionalActions::Flush, &self.0);
    }
}

/// A terminal that hands over each key at once and shows none, until this is dropped.
#[cfg(not(unix))]
#[derive(Debug)]
struct AtOnce(());

#[cfg(not(unix))]
impl AtOnce {
    fn new() -> Option<Self> {
        let ready =
            std::io::stdin().is_terminal() && crossterm::terminal::enable_raw_mode().is_ok();
        ready.then_some(Self(()))
    }
}

#[cfg(not(unix))]
impl Drop for AtOnce {
    fn drop(&mut self) {
        let _ = crossterm::terminal::disable_raw_mode();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_end_is_a_key_only_on_an_empty_line() {
        let keys = |text: &[u8]| {
            let before = std::iter::once(b'\n').chain(text.iter().copied());
            let each = text.iter().zip(before);
            each.filter_map(|(&byte, before)| of_byte(byte, before == b'\n')).collect::<Vec<_>>()
        };
        assert_eq!(keys(b"n q\n"), [Key::Char('n'), Key::Char(' '), Key::Char('q')]);
        assert_eq!(keys(b"\nq\n\n"), [Key::Enter, Key::Char('q'), Key::Enter]);
        assert_eq!(keys(b"\x1b\x7f\r\t\xc3\xa4"), [Key::Escape, Key::Back]);
    }

    #[test]
    fn released_keys_and_other_controls_are_not_heard() {
        let key = |code, modifiers| pressed(Event::Key(KeyEvent::new(code, modifiers)));
        assert_eq!(key(KeyCode::Char('N'), KeyModifiers::SHIFT), Some(Key::Char('N')));
        assert_eq!(key(KeyCode::Enter, KeyModifiers::NONE), Some(Key::Enter));
        assert_eq!(key(KeyCode::Char('x'), KeyModifiers::CONTROL), None);
        let mut released = KeyEvent::new(KeyCode::Enter, KeyModifiers::NONE);
        released.kind = KeyEventKind::Release;
        assert_eq!(pressed(Event::Key(released)), None);
        assert_eq!(pressed(Event::FocusLost), None);
    }
}
