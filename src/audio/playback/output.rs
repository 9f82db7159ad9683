//! Opening an output of the sound system.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{BufferSize, FromSample, SampleFormat, SizedSample, SupportedBufferSize};
use thiserror::Error;

use super::super::capture::devices::{FindError, find_output};

/// How long the system may take to open a stream.
const OPENING: Duration = Duration::from_secs(5);

/// Without a block for this long, ns, an output is gone: after an error, and without one. A null
/// sink of a sound server asks every 2 s at first.
const GRAVE_PAUSE_NS: u64 = 2_500_000_000;
const PAUSE_NS: u64 = 5_000_000_000;

/// Instants converted at a time, at most.
const MOST: usize = 16_384;

/// What is asked of an output.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutputWanted {
    /// Text of the output, or a part of it.
    pub output: String,
    /// Its rate, Hz, where it has it; else its own.
    pub rate_hz: u32,
    /// Channels.
    pub channels: u16,
    /// Instants per block; the system grants what it can.
    pub buffer: u32,
}

/// Why an output cannot be used.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum OutputError {
    /// There is no such output.
    #[error(transparent)]
    Find(#[from] FindError),
    /// It does not open.
    #[error("{output} does not open: {why}; is it in use, or its sound server down?")]
    Open {
        /// Its text.
        output: String,
        /// What the system says.
        why: String,
    },
    /// It has not so many channels.
    #[error("{output} does not play {channels} channels; name another, or hear fewer of the input")]
    Channels {
        /// Its text.
        output: String,
        /// As asked.
        channels: u16,
    },
}

/// How an output will be opened.
#[derive(Debug, Clone)]
pub struct OutputPlan {
    /// Its text.
    pub output: String,
    /// Its rate, Hz.
    pub rate_hz: u32,
    sample: SampleFormat,
    config: cpal::StreamConfig,
}

const TYPES: [SampleFormat; 3] = [SampleFormat::F32, SampleFormat::I32, SampleFormat::I16];

/// Looks at an output and settles how it will be opened.
///
/// # Errors
/// When there is none of that name, or none with so many channels.
pub fn plan_output(wanted: &OutputWanted) -> Result<OutputPlan, OutputError> {
    let (device, output) = find_output(&wanted.output)?;
    let open =
        |error: cpal::Error| OutputError::Open { output: output.clone(), why: error.to_string() };
    let own_hz = device.default_output_config().map_err(open)?.sample_rate();
    let ranges: Vec<_> = device.supported_output_configs().map_err(open)?.collect();
    let known = |sample| TYPES.iter().position(|known| *known == sample);
    let best = |rate_hz: u32| {
        let fits = |range: &&cpal::SupportedStreamConfigRange| {
            range.channels() == wanted.channels
                && (range.min_sample_rate()..=range.max_sample_rate()).contains(&rate_hz)
                && known(range.sample_format()).is_some()
        };
        let best = ranges.iter().filter(fits).min_by_key(|range| known(range.sample_format()));
        best.map(|range| (rate_hz, range))
    };
    let Some((rate_hz, range)) = best(wanted.rate_hz).or_else(|| best(own_hz)) else {
        return Err(OutputError::Channels { output, channels: wanted.channels });
    };
    let buffer = match *range.buffer_size() {
        SupportedBufferSize::Range { min, max } if min <= max => wanted.buffer.clamp(min, max),
        _ => wanted.buffer,
    };
    let config = cpal::StreamConfig {
        channels: wanted.channels,
        sample_rate: rate_hz,
        buffer_size: BufferSize::Fixed(buffer),
    };
    Ok(OutputPlan { output, rate_hz, sample: range.sample_format(), config })
}

/// An output that plays until it is dropped.
pub struct Output {
    _stream: cpal::Stream,
    state: Arc<State>,
}

#[derive(Debug)]
struct State {
    began: Instant,
    lost: AtomicBool,
    /// From the callback to the ear, ns, as the sound system says; plus 1, 0 before the first.
    later_ns: AtomicU64,
    /// Instants asked for before the last callback, and when that was, ns: one number each, and a
    /// count that is odd while they change.
    turn: AtomicU64,
    asked: AtomicU64,
    at_ns: AtomicU64,
}

impl Output {
    /// Opens and starts it; `fill` makes every block, on the sound system's thread: it must not wait
    /// and not take memory. It is told how much later the block is heard, s, and says how many instants of the block are of the sound that
    /// [`Output::sounding_s`] counts.
    ///
    /// # Errors
    /// When it does not open.
    pub fn open(
        plan: &OutputPlan,
        fill: impl FnMut(&mut [f32], f64) -> usize + Send + 'static,
    ) -> Result<Self, OutputError> {
        let failed = |error: cpal::Error| OutputError::Open {
            output: plan.output.clone(),
            why: error.to_string(),
        };
        let (device, _) = find_output(&plan.output)?;
        let state = Arc::new(State {
            began: Instant::now(),
            lost: AtomicBool::new(false),
            later_ns: AtomicU64::new(0),
            turn: AtomicU64::new(0),
            asked: AtomicU64::new(0),
            at_ns: AtomicU64::new(0),
        });
        let stream = match plan.sample {
            SampleFormat::I32 => typed::<i32>(&device, plan, &state, fill),
            SampleFormat::I16 => typed::<i16>(&device, plan, &state, fill),
            _ => typed::<f32>(&device, plan, &state, fill),
        };
        let stream = stream.map_err(failed)?;
        stream.play().map_err(failed)?;
        Ok(Self { _stream: stream, state })
    }

    /// True once the sound system has given it up: an error that ends streams, and no block asked for
    /// since. Where blocks go on, the error passed, as a late block does on a busy machine.
    pub fn is_lost(&self) -> bool {
        let since_ns = self.state.now_ns().saturating_sub(self.state.at_ns.load(Ordering::Relaxed));
        let grave = self.state.lost.load(Ordering::Relaxed);
        (grave && since_ns > GRAVE_PAUSE_NS) || since_ns > PAUSE_NS
    }

    /// From a block's making to its being heard, s; `None` before the first block.
    pub fn later_s(&self) -> Option<f64> {
        let later_ns = self.state.later_ns.load(Ordering::Relaxed);
        (later_ns > 0).then(|| (later_ns - 1) as f64 * 1e-9)
    }

    /// How far the sound has been heard, s of the output's rate; below 0 before it is heard, and
    /// `None` before the first block.
    pub fn sounding_s(&self, rate_hz: f64) -> Option<f64> {
        let later_s = self.later_s()?;
        let state = &self.state;
        loop {
            let turn = state.turn.load(Ordering::Acquire);
            let (asked, at_ns) =
                (state.asked.load(Ordering::Relaxed), state.at_ns.load(Ordering::Relaxed));
            std::sync::atomic::fence(Ordering::Acquire);
            if turn.is_multiple_of(2) && turn == state.turn.load(Ordering::Relaxed) {
                let since_s = state.now_ns().saturating_sub(at_ns) as f64 * 1e-9;
                return Some(asked as f64 / rate_hz + since_s - later_s);
            }
            std::hint::spin_loop();
        }
    }
}

impl State {
    fn now_ns(&self) -> u64 {
        u64::try_from(self.began.elapsed().as_nanos()).unwrap_or(u64::MAX)
    }
}

fn typed<T: SizedSample + FromSample<f32>>(
    device: &cpal::Device,
    plan: &OutputPlan,
    state: &Arc<State>,
    mut fill: impl FnMut(&mut [f32], f64) -> usize + Send + 'static,
) -> Result<cpal::Stream, cpal::Error> {
    let channels = usize::from(plan.config.channels).max(1);
    let mut made = vec![0.0_f32; MOST * channels];
    let (ours, theirs) = (Arc::clone(state), Arc::clone(state));
    let mut before = 0;
    device.build_output_stream::<T, _, _>(
        plan.config,
        move |block, info| {
            let at = info.timestamp();
            let later = at.playback.duration_since(at.callback);
            let later_ns = u64::try_from(later.as_nanos()).unwrap_or(u64::MAX);
            ours.turn.fetch_add(1, Ordering::AcqRel);
            ours.asked.store(before, Ordering::Relaxed);
            ours.at_ns.store(ours.now_ns(), Ordering::Relaxed);
            ours.later_ns.store(later_ns.saturating_add(1), Ordering::Relaxed);
            ours.turn.fetch_add(1, Ordering::AcqRel);
            for part in block.chunks_mut(MOST * channels) {
                let samples = made.get_mut(..part.len()).unwrap_or_default();
                before += fill(samples, later.as_secs_f64()) as u64;
                for (to, from) in part.iter_mut().zip(samples) {
                    *to = T::from_sample_(*from);
                }
            }
        },
        move |error| {
            // A dying sound server calls this millions of times.
            let grave = super::super::capture::is_grave(error.kind());
            theirs.lost.fetch_or(grave, Ordering::Relaxed);
        },
        Some(OPENING),
    )
}
