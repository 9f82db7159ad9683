//! Decoding on a second thread, so that reading a song and thinking about it overlap.
#![allow(clippy::disallowed_methods, reason = "this is where the second thread is")]

use std::sync::mpsc::{Receiver, SyncSender, TryRecvError, sync_channel};
use std::thread;

use crate::audio::{SampleBlock, SoundError, SoundFormat, Source};

/// Blocks that may wait between the two threads.
const BLOCKS_AHEAD: usize = 8;

/// Samples per block handed over: large enough that the hand-over costs nothing, small enough
/// that all blocks together stay below a few megabytes.
const SAMPLES_PER_BLOCK: usize = 32 * 1024;

/// What crosses from the decoding thread.
enum Parcel {
    Samples(Vec<f32>),
    End { remarks: Vec<String>, error: Option<SoundError> },
}

/// A source that another thread keeps ahead of.
#[derive(Debug)]
pub struct Ahead {
    format: SoundFormat,
    expected: Option<u64>,
    parcels: Receiver<Parcel>,
    empties: SyncSender<Vec<f32>>,
    current: Vec<f32>,
    remarks: Vec<String>,
    ended: bool,
}

impl std::fmt::Debug for Parcel {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Parcel")
    }
}

impl Ahead {
    /// Moves `source` to a thread of its own, which ends with the sound or with this value.
    pub fn of(mut source: Box<dyn Source + Send>) -> Self {
        let (format, expected) = (source.format(), source.expected_instants());
        let (send, parcels) = sync_channel(BLOCKS_AHEAD);
        let (empties, spent) = sync_channel::<Vec<f32>>(BLOCKS_AHEAD + 2);
        // Where no thread can be had, the parcels' other end is dropped and the first block says so.
        let _ = thread::Builder::new()
            .name("decode".into())
            .spawn(move || decode(source.as_mut(), &send, &spent));
        let current = Vec::new();
        Self { format, expected, parcels, empties, current, remarks: Vec::new(), ended: false }
    }
}

impl Source for Ahead {
    fn format(&self) -> SoundFormat {
        self.format
    }

    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        if self.ended {
            return Ok(None);
        }
        match self.parcels.recv() {
            Ok(Parcel::Samples(samples)) => {
                let spent = std::mem::replace(&mut self.current, samples);
                // The other side may have ended already; then the buffer is simply dropped.
                let _ = self.empties.try_send(spent);
                Ok(SampleBlock::new(&self.current, self.format.channels))
            }
            Ok(Parcel::End { remarks, error }) => {
                self.ended = true;
                self.remarks = remarks;
                error.map_or(Ok(None), Err)
            }
            Err(_) => {
                self.ended = true;
                Err(SoundError::Undecodable {
                    path: "the song".into(),
                    reason: "the decoder stopped without a word".into(),
                    advice: "convert the song to WAV and try that".into(),
                })
            }
        }
    }

    fn expected_instants(&self) -> Option<u64> {
        self.expected
    }

    fn remarks(&self) -> &[String] {
        &self.remarks
    }
}

fn decode(source: &mut dyn Source, send: &SyncSender<Parcel>, spent: &Receiver<Vec<f32>>) {
    loop {
        let mut samples = match spent.try_recv() {
            Ok(buffer) => buffer,
            Err(TryRecvError::Empty) => Vec::with_capacity(SAMPLES_PER_BLOCK),
            Err(TryRecvError::Disconnected) => return,
        };
        samples.clear();
        let error = fill(source, &mut samples);
        let ended = error.is_some() || samples.len() < SAMPLES_PER_BLOCK;
        // A failed send means that nobody listens any more.
        if !samples.is_empty() && send.send(Parcel::Samples(samples)).is_err() {
            return;
        }
        if ended {
            let _ = send.send(Parcel::End { remarks: source.remarks().to_vec(), error });
            return;
        }
    }
}

/// Gathers blocks until the buffer is full; fewer samples mean that the sound has ended.
fn fill(source: &mut dyn Source, samples: &mut Vec<f32>) -> Option<SoundError> {
    while samples.len() < SAMPLES_PER_BLOCK {
        match source.next_block() {
            Ok(Some(block)) => samples.extend_from_slice(block.interleaved()),
            Ok(None) => return None,
            Err(error) => return Some(error),
        }
    }
    None
}
