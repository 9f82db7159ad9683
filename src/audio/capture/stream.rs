//! Opening one stream: what is asked for, what is granted.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{BufferSize, ErrorKind, FromSample, SampleFormat, SizedSample, SupportedBufferSize};
use thiserror::Error;

use super::super::{CHANNEL_LIMITS, RATE_LIMITS_HZ, SoundFormat};
use super::devices::{FindError, find};
use super::intake::{Drain, Gauges, Tap, ring};

/// Sound that may wait in the ring: far beyond any pause of the reader.
const RING_S: usize = 2;

/// How long the system may take to open a stream.
const OPENING: Duration = Duration::from_secs(5);

/// What is asked of an input.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// Text of the input, or a part of it; `None`: the system's own choice.
    pub input: Option<String>,
    /// Instants per block: small is soon. The system grants what it can.
    pub buffer: u32,
    /// Sampling rate, Hz; `None`: the input's own.
    pub rate_hz: Option<u32>,
    /// Channels; `None`: the input's own.
    pub channels: Option<u16>,
}

/// Why an input cannot be heard.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum CaptureError {
    /// There is no such input.
    #[error(transparent)]
    Find(#[from] FindError),
    /// It does not open.
    #[error("{input} does not open: {why}; is it in use, or its sound server down?")]
    Open {
        /// Its text.
        input: String,
        /// What the system says.
        why: String,
    },
    /// It has no such rate or channels.
    #[error("{input} does not give {rate_hz} Hz with {channels} channels; {offers}")]
    Format {
        /// Its text.
        input: String,
        /// As asked.
        rate_hz: u32,
        /// As asked.
        channels: u16,
        /// What it does give.
        offers: String,
    },
}

/// How one input is opened, always the same way: the stages are built for its rate and channels.
#[derive(Debug, Clone)]
pub(super) struct Plan {
    pub input: String,
    pub format: SoundFormat,
    sample: SampleFormat,
    config: cpal::StreamConfig,
}

/// Sample types by preference: what is heard already as numbers first, then by width.
const TYPES: [SampleFormat; 9] = [
    SampleFormat::F32,
    SampleFormat::F64,
    SampleFormat::I32,
    SampleFormat::I24,
    SampleFormat::I16,
    SampleFormat::U16,
    SampleFormat::U32,
    SampleFormat::U8,
    SampleFormat::I8,
];

/// Looks at the input and settles how it will be opened.
pub(super) fn plan(wanted: &Wanted) -> Result<Plan, CaptureError> {
    let (device, input) = find(wanted.input.as_deref())?;
    let open = |error: cpal::Error| CaptureError::Open { input: input.clone(), why: said(&error) };
    let own = device.default_input_config().map_err(open)?;
    let rate_hz = wanted.rate_hz.unwrap_or(own.sample_rate());
    let channels = wanted.channels.unwrap_or(own.channels());
    let ranges: Vec<_> = device.supported_input_configs().map_err(open)?.collect();
    let fits = |range: &&cpal::SupportedStreamConfigRange| {
        let rates = range.min_sample_rate()..=range.max_sample_rate();
        range.channels() == channels && rates.contains(&rate_hz)
    };
    let known = |sample| TYPES.iter().position(|&known| known == sample);
    let possible =
        ranges.iter().filter(fits).filter(|range| known(range.sample_format()).is_some());
    let within = (RATE_LIMITS_HZ.0..=RATE_LIMITS_HZ.1).contains(&rate_hz)
        && (CHANNEL_LIMITS.0..=CHANNEL_LIMITS.1).contains(&channels);
    let best = possible.min_by_key(|range| known(range.sample_format())).filter(|_| within);
    let Some(best) = best else {
        let offers = offers(&ranges);
        return Err(CaptureError::Format { input, rate_hz, channels, offers });
    };
    let buffer = match *best.buffer_size() {
        SupportedBufferSize::Range { min, max } if min <= max => wanted.buffer.clamp(min, max),
        _ => wanted.buffer,
    };
    let config = cpal::StreamConfig {
        channels,
        sample_rate: rate_hz,
        buffer_size: BufferSize::Fixed(buffer),
    };
    let format = SoundFormat { rate_hz, channels };
    Ok(Plan { input, format, sample: best.sample_format(), config })
}

fn offers(ranges: &[cpal::SupportedStreamConfigRange]) -> String {
    let mut lines: Vec<String> = ranges
        .iter()
        .map(|range| {
            let (low, high) = (range.min_sample_rate(), range.max_sample_rate());
            format!("{low} to {high} Hz with {} channels", range.channels())
        })
        .collect();
    lines.sort();
    lines.dedup();
    lines.truncate(6);
    format!("it offers {}", lines.join(", "))
}

/// A stream that runs, where its samples arrive, and the instants the system granted per block.
pub(super) struct Opened {
    pub stream: cpal::Stream,
    pub drain: Drain,
    pub granted: u32,
}

/// Opens and starts a stream as planned.
pub(super) fn open(plan: &Plan, gauges: &Arc<Gauges>) -> Result<Opened, CaptureError> {
    let (device, _) = find(Some(&plan.input))?;
    let instants = plan.format.rate_hz as usize * RING_S;
    let (tap, drain) = ring(instants, plan.format.channels, gauges);
    gauges.blocks.store(0, Ordering::Relaxed);
    gauges.grave.store(0, Ordering::Relaxed);
    let failed =
        |error: cpal::Error| CaptureError::Open { input: plan.input.clone(), why: said(&error) };
    let stream = build(&device, plan, tap, gauges).map_err(failed)?;
    stream.play().map_err(failed)?;
    let granted = stream.buffer_size().unwrap_or(0);
    Ok(Opened { stream, drain, granted })
}

fn build(
    device: &cpal::Device,
    plan: &Plan,
    tap: Tap,
    gauges: &Arc<Gauges>,
) -> Result<cpal::Stream, cpal::Error> {
    match plan.sample {
        SampleFormat::F64 => typed::<f64>(device, plan, tap, gauges),
        SampleFormat::I8 => typed::<i8>(device, plan, tap, gauges),
        SampleFormat::I16 => typed::<i16>(device, plan, tap, gauges),
        SampleFormat::I24 => typed::<cpal::I24>(device, plan, tap, gauges),
        SampleFormat::I32 => typed::<i32>(device, plan, tap, gauges),
        SampleFormat::U8 => typed::<u8>(device, plan, tap, gauges),
        SampleFormat::U16 => typed::<u16>(device, plan, tap, gauges),
        SampleFormat::U32 => typed::<u32>(device, plan, tap, gauges),
        _ => typed::<f32>(device, plan, tap, gauges),
    }
}

fn typed<T: SizedSample>(
    device: &cpal::Device,
    plan: &Plan,
    mut tap: Tap,
    gauges: &Arc<Gauges>,
) -> Result<cpal::Stream, cpal::Error>
where
    f32: FromSample<T>,
{
    let gauges = Arc::clone(gauges);
    device.build_input_stream::<T, _, _>(
        plan.config,
        move |block, info| {
            let at = info.timestamp();
            let age = at.callback.duration_since(at.capture);
            let age_ns = u64::try_from(age.as_nanos()).unwrap_or(u64::MAX);
            tap.take(block, age_ns, f32::from_sample_);
        },
        move |error| {
            // A dying sound server calls this millions of times: count, and nothing else.
            gauges.errors.fetch_add(1, Ordering::Relaxed);
            if let Some(place) = GRAVE.iter().position(|(kind, _)| *kind == error.kind()) {
                let number = u8::try_from(place + 1).unwrap_or(u8::MAX);
                gauges.grave.store(number, Ordering::Relaxed);
            }
        },
        Some(OPENING),
    )
}

/// Errors after which a stream is as good as gone, with what people are told.
pub(super) const GRAVE: [(ErrorKind, &str); 9] = [
    (ErrorKind::BackendError, "the sound system reports an error"),
    (ErrorKind::DeviceNotAvailable, "the device is gone"),
    (ErrorKind::HostUnavailable, "the sound system is gone"),
    (ErrorKind::StreamInvalidated, "the stream was closed by the sound system"),
    (ErrorKind::PermissionDenied, "the system no longer allows it"),
    (ErrorKind::ResourceExhausted, "the system is out of resources"),
    (ErrorKind::UnsupportedConfig, "the device has changed its format"),
    (ErrorKind::UnsupportedOperation, "the device no longer records"),
    (ErrorKind::Other, "the sound system reports an error it does not name"),
];

fn said(error: &cpal::Error) -> String {
    error.to_string()
}
