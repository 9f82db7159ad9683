//! Sound at another rate, and a little faster or slower.

use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{
    Adjustable, Async, FixedAsync, Resampler, SincInterpolationParameters, SincInterpolationType,
    WindowFunction,
};
use thiserror::Error;

/// Instants made at once: few, so that the delay stays small.
const PIECE: usize = 64;

/// Why sound of a rate cannot be played at another.
#[derive(Debug, Error)]
#[error("sound of {from_hz} Hz cannot be played at {to_hz} Hz: {why}")]
pub struct StretchError {
    from_hz: u32,
    to_hz: u32,
    why: String,
}

/// Resamples with band-limited interpolation. All memory is taken in [`Stretch::new`].
pub struct Stretch {
    resampler: Async<f32>,
    channels: usize,
    input: Vec<f32>,
    output: Vec<f32>,
    /// What of `output` waits, in samples.
    ready: std::ops::Range<usize>,
}

impl Stretch {
    /// From one rate to another, of so many channels.
    ///
    /// # Errors
    /// When the rates or channels cannot be.
    pub fn new(from_hz: u32, to_hz: u32, channels: u16) -> Result<Self, StretchError> {
        let parameters = SincInterpolationParameters {
            sinc_len: 64,
            f_cutoff: Some(0.93),
            interpolation: SincInterpolationType::Linear,
            oversampling_factor: 256,
            window: WindowFunction::BlackmanHarris2,
        };
        let channels = usize::from(channels);
        let ratio = f64::from(to_hz) / f64::from(from_hz);
        let failed =
            |why: &dyn std::fmt::Display| StretchError { from_hz, to_hz, why: why.to_string() };
        let made = Async::new_sinc(ratio, 1.01, &parameters, PIECE, channels, FixedAsync::Output);
        let resampler = made.map_err(|error| failed(&error))?;
        let most = resampler.input_frames_max();
        Ok(Self {
            input: vec![0.0; most * channels],
            output: vec![0.0; PIECE * channels],
            ready: 0..0,
            resampler,
            channels,
        })
    }

    /// How late it is, in instants of what comes out.
    pub fn delay(&self) -> usize {
        self.resampler.output_delay()
    }

    /// How fast the input is used up from here on; 1 is its own speed, within 1 %.
    pub fn set_speed(&mut self, speed: f64) {
        // Out of bounds: the old speed stays, which is safe.
        let _ = self.resampler.set_resample_ratio_relative(1.0 / speed, true);
    }

    /// Fills `out` with whole instants. `read` gives so many samples of input, all of them or none
    /// (`false`); then the rest of `out` is silence. Gives the number of instants made.
    pub fn fill(&mut self, out: &mut [f32], mut read: impl FnMut(&mut [f32]) -> bool) -> usize {
        let mut done = 0;
        while done < out.len() {
            if self.ready.is_empty() && !self.make(&mut read) {
                break;
            }
            let waiting = self.output.get(self.ready.clone()).unwrap_or_default();
            let room = out.get_mut(done..).unwrap_or_default();
            let count = waiting.len().min(room.len());
            if count == 0 {
                break;
            }
            for (to, from) in room.iter_mut().zip(waiting) {
                *to = *from;
            }
            self.ready.start += count;
            done += count;
        }
        out.get_mut(done..).unwrap_or_default().fill(0.0);
        done / self.channels.max(1)
    }

    fn make(&mut self, read: &mut impl FnMut(&mut [f32]) -> bool) -> bool {
        let wanted = self.resampler.input_frames_next();
        let Some(input) = self.input.get_mut(..wanted * self.channels) else { return false };
        if !read(input) {
            return false;
        }
        let from = InterleavedSlice::new(input, self.channels, wanted);
        let to = InterleavedSlice::new_mut(&mut self.output, self.channels, PIECE);
        let (Ok(from), Ok(mut to)) = (from, to) else { return false };
        match self.resampler.process_into_buffer(&from, &mut to, None) {
            Ok((_, made)) => {
                self.ready = 0..made * self.channels;
                true
            }
            Err(_) => false,
        }
    }
}
