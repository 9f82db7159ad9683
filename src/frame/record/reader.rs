//! A duty file to frames.

use std::fmt;
use std::io::{self, Read};
use std::ops::Range;

use thiserror::Error;

use super::super::pack::UnpackError;
use super::super::wire::{self, Counts, Decoder, Fault, Kind, Packet};
use super::super::{Head, Meter, RecordedCode, Tail};
use super::contents::{Contents, Step};
use super::head::{HeadError, check_head, check_version};
use super::{Inputs, LARGEST_PAYLOAD};

/// Why a file cannot be read at all, or not further.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The file, pipe or line under it.
    #[error("{}: {source}", read_so_far(*at))]
    Io {
        /// Where.
        at: u64,
        /// Why.
        source: io::Error,
    },
    /// Nothing in it, or nothing whole.
    #[error("it ends before its first packet does: it is empty, or was cut off at once")]
    Empty,
    /// Begins with something else.
    #[error("it does not begin with the head of a duty file ({0}): is it another kind of file?")]
    NotADutyFile(Fault),
    /// Begins with another packet.
    #[error("its first packet is not its head ({0:?} instead): the beginning is missing")]
    NoHead(Kind),
    /// A head that cannot be used.
    #[error(transparent)]
    Head(#[from] HeadError),
}

fn read_so_far(at: u64) -> String {
    match at {
        0 => "it cannot be read".into(),
        _ => format!("it could be read up to byte {at}, and no further"),
    }
}

/// What is wrong at one place of a file. The rest is read all the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damage {
    /// Byte of the file at which the piece or packet begins.
    pub at: u64,
    /// What is wrong.
    pub flaw: Flaw,
}

/// See [`Damage`].
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum Flaw {
    /// Not a packet.
    #[error(transparent)]
    Wire(#[from] Fault),
    /// A DUTY packet that is not one of these coils.
    #[error("frame {frame} cannot be used: {source}")]
    Duty {
        /// Its number.
        frame: u32,
        /// Why.
        source: UnpackError,
    },
    /// A METER packet that is too short or names a coil that is not there.
    #[error("the METER packet of frame {frame} cannot be used")]
    Meter {
        /// Its number.
        frame: u32,
    },
    /// A START or EDIT packet that is too short, comes twice or goes back.
    #[error("what entered the run at frame {frame}, besides sound, cannot be used")]
    Input {
        /// Its number.
        frame: u32,
    },
    /// A TAIL that cannot be used.
    #[error("the TAIL cannot be used: {0}")]
    Tail(String),
    /// Frames that are not there.
    #[error("frames {first} to {last} are missing")]
    Missing {
        /// First of them.
        first: u64,
        /// Last of them.
        last: u64,
    },
    /// A frame that was there before or comes too late; it was left out.
    #[error("frame {frame} comes again or too late (frame {expected} was next), it is left out")]
    Repeated {
        /// Its number.
        frame: u32,
        /// Number that was next.
        expected: u64,
    },
    /// Another file begins here; it is not read.
    #[error("another duty file begins here, it is not read: cut the files apart")]
    SecondHead,
    /// Bytes after the TAIL; they are not read.
    #[error("there are bytes after the TAIL, they are not read")]
    AfterTail,
    /// The file ends without its TAIL.
    #[error("the file ends here, without its TAIL: it was cut short")]
    Cut,
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "byte {}: {}", self.at, self.flaw)
    }
}

/// What [`Reader::next_entry`] finds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Entry<'a> {
    /// A frame.
    Duty {
        /// Its number.
        frame: u32,
        /// Its codes in display order.
        codes: &'a [RecordedCode],
    },
    /// What the frames before it did.
    Meter(&'a Meter),
    /// All coils off.
    Off {
        /// From this frame on.
        frame: u32,
    },
    /// End of a whole file.
    Tail(&'a Tail),
}

/// Reads a duty file from anything that gives bytes, packet by packet, in the same memory however
/// long the file is.
///
/// Damage does not stop it: see [`damage`](Self::damage).
#[derive(Debug)]
pub struct Reader<R> {
    stream: Stream<R>,
    head: Head,
    contents: Contents,
    ended: bool,
}

impl<R: Read> Reader<R> {
    /// Reads the head.
    ///
    /// # Errors
    ///
    /// When there is none, it is of another major version, or it cannot be used.
    pub fn new(input: R) -> Result<Self, ReadError> {
        let mut stream = Stream::new(input);
        let head = stream.event(|event| match event {
            Err(damage) => Err(ReadError::NotADutyFile(damage.fault)),
            Ok(Packet { kind: Kind::Head, payload, .. }) => Ok(parse_head(payload)?),
            Ok(Packet { kind, .. }) => Err(ReadError::NoHead(kind)),
        })?;
        let head = head.ok_or(ReadError::Empty)??;
        let contents = Contents::new(&head);
        Ok(Self { stream, head, contents, ended: false })
    }

    /// The head.
    pub fn head(&self) -> &Head {
        &self.head
    }

    /// The next packet this version knows, `None` at the end.
    ///
    /// # Errors
    ///
    /// Only when the input under it fails; damage in the file is passed over.
    pub fn next_entry(&mut self) -> Result<Option<Entry<'_>>, ReadError> {
        let mut step = Step::Pass;
        while step == Step::Pass {
            step = self.step()?;
        }
        let contents = &self.contents;
        Ok(match step {
            Step::Duty(frame) => Some(Entry::Duty { frame, codes: &contents.codes }),
            Step::Meter => Some(Entry::Meter(&contents.meter)),
            Step::Off(frame) => Some(Entry::Off { frame }),
            Step::Tail => contents.tail.as_ref().map(Entry::Tail),
            Step::Pass | Step::End => None,
        })
    }

    /// What was wrong so far, in file order; of very much damage, the beginning.
    pub fn damage(&self) -> &[Damage] {
        &self.contents.damage
    }

    /// How often something was wrong so far, also beyond what [`damage`](Self::damage) lists.
    pub fn damage_count(&self) -> u64 {
        self.contents.damage_count
    }

    /// The tail, once it was read.
    pub fn tail(&self) -> Option<&Tail> {
        self.contents.tail.as_ref()
    }

    /// What entered the run besides sound, as far as it was read.
    pub fn inputs(&self) -> &Inputs {
        &self.contents.inputs
    }

    /// True when everything was read and nothing was wrong; a missing TAIL is [`Flaw::Cut`].
    pub fn is_whole(&self) -> bool {
        self.ended && self.contents.damage_count == 0
    }

    /// Frames read so far.
    pub fn frames(&self) -> u64 {
        self.contents.order.frames
    }

    /// What passed through on the level of packets, those of unknown kind among them.
    pub fn counts(&self) -> Counts {
        self.stream.decoder.counts()
    }

    fn step(&mut self) -> Result<Step, ReadError> {
        if self.ended {
            return Ok(Step::End);
        }
        let (head, contents) = (&self.head, &mut self.contents);
        let step = self.stream.event(|event| contents.accept(head, event))?;
        if step.is_none() {
            self.contents.end(self.stream.decoder.unfinished(), self.stream.decoder.position());
        }
        let step = step.unwrap_or(Step::End);
        self.ended = step == Step::End;
        Ok(step)
    }
}

/// The version, whatever else another version's head may hold.
#[derive(serde::Deserialize)]
struct Versioned {
    version: [u16; 2],
}

fn parse_head(payload: &[u8]) -> Result<Head, HeadError> {
    let json = |error: serde_json::Error| HeadError::Json(error.to_string());
    let Versioned { version } = serde_json::from_slice(payload).map_err(json)?;
    check_version(version)?;
    let head = serde_json::from_slice(payload).map_err(json)?;
    check_head(&head)?;
    Ok(head)
}

/// Bytes read at a time.
const PORTION: usize = 64 * 1024;

/// The input and the decoder over it.
#[derive(Debug)]
struct Stream<R> {
    input: R,
    portion: Box<[u8]>,
    unread: Range<usize>,
    decoder: Decoder,
}

impl<R: Read> Stream<R> {
    fn new(input: R) -> Self {
        let portion = vec![0; PORTION].into();
        Self { input, portion, unread: 0..0, decoder: Decoder::new(LARGEST_PAYLOAD) }
    }

    /// Hands the next packet or damage to `judge`; `None` at the end of the input.
    fn event<T>(
        &mut self,
        judge: impl FnOnce(Result<Packet<'_>, wire::Damage>) -> T,
    ) -> Result<Option<T>, ReadError> {
        loop {
            if self.unread.is_empty() {
                self.unread = 0..self.refill()?;
            }
            let mut bytes = self.portion.get(self.unread.clone()).unwrap_or_default();
            if bytes.is_empty() {
                return Ok(None);
            }
            let event = self.decoder.take(&mut bytes);
            self.unread.start = self.unread.end - bytes.len();
            if let Some(event) = event {
                return Ok(Some(judge(event)));
            }
        }
    }

    fn refill(&mut self) -> Result<usize, ReadError> {
        loop {
            match self.input.read(&mut self.portion) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(source) => return Err(ReadError::Io { at: self.decoder.position(), source }),
                Ok(len) => return Ok(len),
            }
        }
    }
}
