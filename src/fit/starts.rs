//! Where to begin: what the curve says at a glance.

use super::log::Log;
use super::network::TwoNodes;

/// Guesses, the likeliest first. A short test shows at once how fast the winding warms (P over
/// slope is its heat capacity) and how far it gets (rise over power is all the resistance); how the
/// two share it is tried out.
pub(super) fn starts(log: &Log, direct_w_per_k: f64, display: Option<TwoNodes>) -> Vec<TwoNodes> {
    let rises = || {
        let seen = log.readings.iter().filter_map(|r| Some((r.time_s, log.celsius(r.ohm?))));
        seen.map(|(time_s, celsius)| (time_s - log.on_s, celsius - log.cold_c))
    };
    // The slope of the first seconds, as long as it takes to have some readings.
    let first: Vec<(f64, f64)> = rises().filter(|(t, _)| *t >= 0.0).take(4).collect();
    let early = rises().filter(|(t, _)| (0.0..=3.0).contains(t)).chain(first);
    let (weight, sum) =
        early.fold((0.0, 0.0), |(weight, sum), (t, rise)| (weight + t * t, sum + t * rise));
    let slope = if weight > 0.0 { sum / weight } else { 1.0 };
    let highest = rises().map(|(_, rise)| rise).fold(1.0, f64::max);
    let whole = highest / mean_power_w(log).max(1e-6);
    let coil = (log.power_w / slope.max(1e-3)).clamp(0.05, 1e4);
    let guess = |inner: f64, coil: f64| TwoNodes {
        coil_j_per_k: coil,
        coil_to_backing_k_per_w: inner * whole,
        backing_j_per_k: 5.0 * coil,
        backing_to_around_k_per_w: (1.0 - inner) * whole,
        coil_to_around_w_per_k: direct_w_per_k,
    };
    let mut all = vec![guess(0.2, coil)];
    all.extend(display.map(|known| TwoNodes { coil_to_around_w_per_k: direct_w_per_k, ..known }));
    all.extend([guess(0.1, 0.6 * coil), guess(0.4, 1.5 * coil)]);
    all
}

/// Mean power of the drive, W: some logs begin it with more than they hold.
fn mean_power_w(log: &Log) -> f64 {
    let off_s = log.on_s + log.driven_s;
    let driven = log.readings.windows(2).filter_map(|pair| match pair {
        [a, b] if a.time_s >= log.on_s && b.time_s <= off_s => Some((a, b)),
        _ => None,
    });
    let spans = driven.map(|(a, b)| (b.time_s - a.time_s, (a.power_w + b.power_w) / 2.0));
    let (time_s, heat_j) =
        spans.fold((0.0, 0.0), |(time_s, heat_j), (s, w)| (time_s + s, heat_j + s * w));
    if time_s > 0.0 { heat_j / time_s } else { log.power_w }
}
