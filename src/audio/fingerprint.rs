//! A digest of the samples themselves, to tell whether two sounds are the same sound.

use xxhash_rust::xxh3::Xxh3;

use super::SampleBlock;

/// How many samples are turned into bytes at once.
const BATCH: usize = 1024;

/// XXH3-128 over the samples as little-endian IEEE 754 single precision, interleaved.
///
/// Two sounds share a fingerprint when every sample has the same bits, whatever file or chunks they
/// came in. Rate and channel count are not part of it. Not a cryptographic digest.
#[derive(Clone)]
pub struct Fingerprint {
    state: Xxh3,
    bytes: Box<[u8; 4 * BATCH]>,
}

impl Fingerprint {
    /// Of nothing yet. Takes all its memory here.
    pub fn new() -> Self {
        Self { state: Xxh3::new(), bytes: Box::new([0; 4 * BATCH]) }
    }

    /// Takes in what comes next.
    pub fn update(&mut self, block: SampleBlock<'_>) {
        for batch in block.interleaved().chunks(BATCH) {
            let (slots, _) = self.bytes.as_chunks_mut::<4>();
            for (slot, sample) in slots.iter_mut().zip(batch) {
                *slot = sample.to_le_bytes();
            }
            let filled = self.bytes.get(..4 * batch.len()).unwrap_or_default();
            self.state.update(filled);
        }
    }

    /// 32 hexadecimal digits for what was taken in so far.
    pub fn hex(&self) -> String {
        format!("{:032x}", self.state.digest128())
    }
}

impl Default for Fingerprint {
    fn default() -> Self {
        Self::new()
    }
}

impl std::fmt::Debug for Fingerprint {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Fingerprint").field(&self.hex()).finish()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;
    use crate::audio::tone;

    fn of(samples: &[f32], chunk: usize) -> String {
        let mut print = Fingerprint::new();
        for part in samples.chunks(chunk) {
            print.update(SampleBlock::new(part, 1).unwrap());
        }
        print.hex()
    }

    #[test]
    fn chunks_do_not_matter() {
        let noise = tone::white_noise(1, 0.5, 5_000);
        let whole = of(&noise, 5_000);
        for chunk in [1, 7, 1023, 1024, 1025] {
            assert_eq!(of(&noise, chunk), whole);
        }
    }

    #[test]
    fn one_bit_matters() {
        let mut noise = tone::white_noise(1, 0.5, 5_000);
        let before = of(&noise, 5_000);
        let last = noise.last_mut().unwrap();
        *last = f32::from_bits(last.to_bits() ^ 1);
        assert_ne!(of(&noise, 5_000), before);
    }

    /// Streaming equals the one-shot function over the same bytes; of nothing, XXH3-128 gives
    /// 99aa06d3014798d86001c324468d497f (the reference implementation's own self-test value, from
    /// memory).
    #[test]
    fn it_is_xxh3_over_little_endian_bytes() {
        assert_eq!(Fingerprint::new().hex(), "99aa06d3014798d86001c324468d497f");
        let noise = tone::white_noise(2, 0.5, 3_000);
        let bytes: Vec<u8> = noise.iter().flat_map(|s| s.to_le_bytes()).collect();
        assert_eq!(of(&noise, 100), format!("{:032x}", xxhash_rust::xxh3::xxh3_128(&bytes)));
    }
}
