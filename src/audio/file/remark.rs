//! The sentences that go with a sound that is not quite what its file announced.

/// A position as people read it.
pub(super) fn seconds(instants: u64, rate_hz: u32) -> String {
    format!("{:.3} s", instants as f64 / f64::from(rate_hz.max(1)))
}

/// The file ended before the sound did.
pub(super) fn cut_short(given: u64, announced: Option<u64>, rate_hz: u32) -> String {
    let at = seconds(given, rate_hz);
    match announced {
        Some(all) => {
            let all = seconds(all, rate_hz);
            format!("the sound stops at {at}, but the file announces {all}: it was cut short")
        }
        None => {
            format!("the sound stops at {at} in the middle of the file's data: it was cut short")
        }
    }
}

/// Nothing said where the sound ends.
pub(super) fn open_length(given: u64, rate_hz: u32) -> String {
    let at = seconds(given, rate_hz);
    format!("the file does not say how long it is; it was read to its end at {at}")
}

/// A decoder gave up.
pub(super) fn undecodable(given: u64, rate_hz: u32) -> String {
    let at = seconds(given, rate_hz);
    format!("the sound stops at {at}: the rest of the file cannot be decoded")
}

/// Samples that were no numbers.
pub(super) fn not_numbers(count: u64, first_at: u64, rate_hz: u32) -> String {
    let at = seconds(first_at, rate_hz);
    let samples = if count == 1 { "sample that is" } else { "samples that are" };
    format!("{count} {samples} not a number became silence, the first at {at}")
}

/// Parts that could not be decoded.
pub(super) fn damaged(count: u64, first_at: u64, silence: u64, rate_hz: u32) -> String {
    let at = seconds(first_at, rate_hz);
    let were = if count == 1 { "damaged part was" } else { "damaged parts were" };
    let instead = match silence {
        0 => "left out".into(),
        _ => format!("replaced by {} of silence", seconds(silence, rate_hz)),
    };
    format!("{count} {were} {instead}, the first at {at}")
}

/// Data between the parts that can be decoded.
pub(super) fn left_out(seconds: f64, coding: &str) -> String {
    format!(
        "about {seconds:.3} s of data amid the {coding} frames are no sound and were left out: damage, \
         or a tag in the middle"
    )
}

/// Sets every sample that is not a number to 0. Gives how many there were and where the first was.
pub(super) fn silence_non_numbers(samples: &mut [f32]) -> (u64, usize) {
    // The usual case first, in a form that the compiler can do several samples at a time.
    if samples.iter().fold(true, |fine, x| fine & x.is_finite()) {
        return (0, 0);
    }
    let first = samples.iter().position(|x| !x.is_finite()).unwrap_or(0);
    let mut count = 0;
    for sample in samples.iter_mut().filter(|x| !x.is_finite()) {
        *sample = 0.0;
        count += 1;
    }
    (count, first)
}
