//! METER packets, as laid out in the [module's description](super#meter).

use super::super::{Meter, NodeMeter};
use crate::units::Rate;

/// Most METER packets a second.
const METERS_PER_SECOND: u64 = 20;

/// Bytes before the bands.
const FIXED: usize = 60;

/// The number of frames a METER packet must cover at least, so that there are no more than 20 a
/// second.
pub fn frames_per_meter(rate: Rate) -> u32 {
    let (num, den) = rate.ratio();
    let frames = u64::from(num).div_ceil(u64::from(den) * METERS_PER_SECOND);
    u32::try_from(frames).unwrap_or(u32::MAX)
}

/// Bytes of payload for so many bands and rails.
pub(super) fn len(bands: usize, rails: usize) -> usize {
    FIXED.saturating_add(bands.saturating_add(rails.saturating_mul(2)).saturating_mul(4))
}

/// Appends the payload.
pub(super) fn put(meter: &Meter, out: &mut Vec<u8>) {
    let mut real = |value: f32| out.extend_from_slice(&value.to_le_bytes());
    // A whole number travels through the same door: its bits, untouched.
    real(f32::from_bits(u32::from(meter.quiet)));
    let sums = [meter.wished, meter.granted, meter.cut_heat, meter.cut_rail, meter.cut_driver];
    sums.into_iter().chain([meter.enclosure_c]).for_each(&mut real);
    for node in [meter.coil, meter.backing] {
        real(f32::from_bits(node.coil));
        [node.now_c, node.bound_c, node.limit_c].into_iter().for_each(&mut real);
    }
    let lists = [&meter.band_dbfs, &meter.rail_mean_a, &meter.rail_peak_a];
    lists.into_iter().flatten().copied().for_each(&mut real);
}

/// Reads a payload into `meter`, whose lists already have their lengths; `None` if it is too short.
pub(super) fn get(frame: u32, payload: &[u8], meter: &mut Meter) -> Option<()> {
    let (words, _) = payload.as_chunks::<4>();
    let mut words = words.iter().map(|&word| u32::from_le_bytes(word));
    meter.frame = frame;
    meter.quiet = words.next()? & 1 != 0;
    let sums = [
        &mut meter.wished,
        &mut meter.granted,
        &mut meter.cut_heat,
        &mut meter.cut_rail,
        &mut meter.cut_driver,
        &mut meter.enclosure_c,
    ];
    for sum in sums {
        *sum = f32::from_bits(words.next()?);
    }
    for node in [&mut meter.coil, &mut meter.backing] {
        *node = NodeMeter {
            coil: words.next()?,
            now_c: f32::from_bits(words.next()?),
            bound_c: f32::from_bits(words.next()?),
            limit_c: f32::from_bits(words.next()?),
        };
    }
    let lists = [&mut meter.band_dbfs, &mut meter.rail_mean_a, &mut meter.rail_peak_a];
    for value in lists.into_iter().flatten() {
        *value = f32::from_bits(words.next()?);
    }
    Some(())
}
