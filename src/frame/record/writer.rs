//! Frames to a duty file.

use std::io::{self, Write};

use thiserror::Error;

use super::super::pack::{PackError, check_codes};
use super::super::wire::{DELIMITER, Encoder, Kind};
use super::super::{Hands, Head, Meter, RecordedCode, Tail};
use super::head::{HeadError, check_head, finite};
use super::inputs::start_bytes;
use super::order::{Order, Place};
use super::{LARGEST_PAYLOAD, meter};
use crate::budget::{Duty, Start};

/// Why something was not written.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The file, pipe or line under it.
    #[error("cannot write: {0}")]
    Io(#[from] io::Error),
    /// The head cannot stand.
    #[error("the head of the duty file: {0}")]
    Head(#[from] HeadError),
    /// A duty its coil cannot have.
    #[error("frame {frame}: {source}")]
    Code {
        /// Number of the frame.
        frame: u32,
        /// Which duty.
        source: PackError,
    },
    /// Not as many values as the head has coils, bands or rails.
    #[error("{what}: {got} values where the head of the file has {expected}")]
    Values {
        /// Of what.
        what: &'static str,
        /// How many came.
        got: usize,
        /// How many belong there.
        expected: usize,
    },
    /// Frame numbers do not grow.
    #[error("frame {frame} cannot follow: frame {expected} or a later one is next")]
    Order {
        /// Number that came.
        frame: u32,
        /// Lowest number that may come.
        expected: u64,
    },
    /// The tail does not fit what was written.
    #[error("the tail of the duty file: {0}")]
    Tail(String),
    /// The tail was written, nothing may follow.
    #[error("the duty file has its tail, nothing can follow")]
    Finished,
}

/// Writes a duty file to anything that takes bytes.
///
/// Takes no memory for DUTY, METER and OFF. Each packet goes down in one piece; put a
/// [`BufWriter`](io::BufWriter) under it where writing is costly.
#[derive(Debug)]
pub struct Writer<W> {
    out: W,
    head: Head,
    encoder: Encoder,
    order: Order,
    finished: bool,
    /// True when a packet may have gone down in part.
    torn: bool,
}

impl<W: Write> Writer<W> {
    /// Checks the head and writes it.
    ///
    /// # Errors
    ///
    /// [`WriteError::Head`] or [`WriteError::Io`].
    pub fn new(out: W, head: &Head) -> Result<Self, WriteError> {
        check_head(head)?;
        let duty = head.packing.bytes(head.coil_count());
        let largest = duty.max(meter::len(head.bands.len(), head.rails.len()));
        let mut writer = Self {
            out,
            head: head.clone(),
            encoder: Encoder::new(largest),
            order: Order::default(),
            finished: false,
            torn: false,
        };
        let json = serde_json::to_vec(head).map_err(|e| HeadError::Json(e.to_string()))?;
        if json.len() > LARGEST_PAYLOAD {
            return Err(HeadError::Json("it is larger than a packet may be".into()).into());
        }
        // Not through the writer's own encoder: its buffers keep the size of a frame.
        let packet = Encoder::new(json.len()).packet(Kind::Head, 0, &json).to_vec();
        writer.send(|_| Ok(&packet))?;
        Ok(writer)
    }

    /// One frame, one duty for each coil in display order. Numbers must grow; a reader reports
    /// those left out as missing.
    ///
    /// # Errors
    ///
    /// Wrong number, wrong count, a code outside the coil's steps, or the file under it. The frame
    /// is then not in the file.
    pub fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), WriteError> {
        self.codes(number, duties.len(), duties.iter().map(|duty| duty.code()))
    }

    /// Copies a recorded frame: to cut, join or convert files. Codes in a file permit nothing, so
    /// none is granted here.
    ///
    /// # Errors
    ///
    /// As [`duty`](Self::duty).
    pub fn recorded(&mut self, number: u32, codes: &[RecordedCode]) -> Result<(), WriteError> {
        self.codes(number, codes.len(), codes.iter().map(|code| code.0))
    }

    /// What a stretch of frames did. See [`frames_per_meter`](super::frames_per_meter) for how
    /// often.
    ///
    /// # Errors
    ///
    /// Not as many bands or rails as the head has, or the file under it.
    pub fn meter(&mut self, meter: &Meter) -> Result<(), WriteError> {
        self.open()?;
        let (bands, rails) = (self.head.bands.len(), self.head.rails.len());
        expect_values("bands of a METER packet", meter.band_dbfs.len(), bands)?;
        expect_values("rail currents of a METER packet", meter.rail_mean_a.len(), rails)?;
        expect_values("rail peaks of a METER packet", meter.rail_peak_a.len(), rails)?;
        self.send(|encoder| {
            encoder.packet_with(Kind::Meter, meter.frame, |payload| {
                meter::put(meter, payload);
                Ok(())
            })
        })
    }

    /// Heat at frame 0 of a run that is to be made again. To be called before the first frame.
    ///
    /// # Errors
    ///
    /// The file under it.
    pub fn start(&mut self, start: &Start) -> Result<(), WriteError> {
        self.open()?;
        let payload = start_bytes(start);
        let packet = Encoder::new(payload.len()).packet(Kind::Start, 0, &payload).to_vec();
        self.send(|_| Ok(&packet))
    }

    /// What hands have set, in force from frame `number` on.
    ///
    /// # Errors
    ///
    /// A number that was already a frame's, or the file under it.
    pub fn hands(&mut self, number: u32, hands: Hands) -> Result<(), WriteError> {
        self.open()?;
        self.expect_place(number)?;
        self.send(|encoder| Ok(encoder.packet(Kind::Edit, number, &hands.to_bytes())))
    }

    /// All coils off, from frame `number` on: after the last frame, the number after its own.
    ///
    /// # Errors
    ///
    /// A number that was already a frame's, or the file under it.
    pub fn off(&mut self, number: u32) -> Result<(), WriteError> {
        self.open()?;
        self.expect_place(number)?;
        self.send(|encoder| Ok(encoder.off(number)))?;
        self.order.off(number);
        Ok(())
    }

    /// Ends the file and flushes it. An [`off`](Self::off) must come before.
    ///
    /// # Errors
    ///
    /// A tail that does not fit what was written, or the file under it.
    pub fn tail(&mut self, tail: &Tail) -> Result<(), WriteError> {
        self.open()?;
        self.check_tail(tail)?;
        let json = serde_json::to_vec(tail).map_err(|e| WriteError::Tail(e.to_string()))?;
        if json.len() > LARGEST_PAYLOAD {
            return Err(WriteError::Tail("it is larger than a packet may be".into()));
        }
        let number = u32::try_from(self.order.expected()).unwrap_or(u32::MAX);
        self.send(|encoder| Ok(encoder.packet(Kind::Tail, number, &json)))?;
        self.out.flush()?;
        self.finished = true;
        Ok(())
    }

    /// Number of frames written.
    pub fn frames(&self) -> u64 {
        self.order.frames
    }

    /// What lies under it.
    pub fn get_mut(&mut self) -> &mut W {
        &mut self.out
    }

    /// Gives back what lies under it.
    pub fn into_inner(self) -> W {
        self.out
    }

    /// The same writer with something else under it, and what lay there.
    pub fn onto<V>(self, out: V) -> (Writer<V>, W) {
        let Self { out: was, head, encoder, order, finished, torn } = self;
        (Writer { out, head, encoder, order, finished, torn }, was)
    }

    fn codes(
        &mut self,
        number: u32,
        count: usize,
        codes: impl Iterator<Item = i32> + Clone,
    ) -> Result<(), WriteError> {
        self.open()?;
        self.expect_place(number)?;
        expect_values("coils of a frame", count, self.head.coil_count())?;
        let misfit = |source| WriteError::Code { frame: number, source };
        check_codes(codes.clone(), &self.head.coils).map_err(misfit)?;
        let packing = self.head.packing;
        self.send(|encoder| encoder.codes(number, packing, codes).map_err(misfit))?;
        self.order.duty(number);
        Ok(())
    }

    fn open(&self) -> Result<(), WriteError> {
        if self.finished { Err(WriteError::Finished) } else { Ok(()) }
    }

    fn expect_place(&self, frame: u32) -> Result<(), WriteError> {
        match self.order.place(frame) {
            Place::Before => Err(WriteError::Order { frame, expected: self.order.expected() }),
            Place::Right | Place::After(_) => Ok(()),
        }
    }

    fn check_tail(&self, tail: &Tail) -> Result<(), WriteError> {
        if !self.order.off {
            return Err(WriteError::Tail("an OFF must come first".into()));
        }
        if u64::from(tail.frames) != self.order.frames {
            let written = self.order.frames;
            let said = tail.frames;
            return Err(WriteError::Tail(format!("it says {said} frames, {written} were written")));
        }
        let coils = self.head.coil_count();
        for sums in tail.per_coil() {
            expect_values("sums of the tail", sums.len(), coils)?;
        }
        let numbers = tail.per_coil().into_iter().chain([&*tail.node_c]).flatten().copied();
        finite("a number of the tail", numbers)?;
        Ok(())
    }

    /// Sends a packet down. After a failed write the next packet begins with a delimiter, so that
    /// the torn one costs itself only.
    fn send<'e>(
        &'e mut self,
        packet: impl FnOnce(&'e mut Encoder) -> Result<&'e [u8], WriteError>,
    ) -> Result<(), WriteError> {
        let packet = packet(&mut self.encoder)?;
        let torn = std::mem::replace(&mut self.torn, true);
        if torn {
            self.out.write_all(&[DELIMITER])?;
        }
        self.out.write_all(packet)?;
        self.torn = false;
        Ok(())
    }
}

fn expect_values(what: &'static str, got: usize, expected: usize) -> Result<(), WriteError> {
    if got == expected { Ok(()) } else { Err(WriteError::Values { what, got, expected }) }
}
