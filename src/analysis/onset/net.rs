//! Weighing what stands out: three small layers of sums.
//!
//! There are two nets. The first tells everything. Its weights were found by fitting (cross entropy,
//! gradient descent) to sounds with known events: some hundred half-minute pieces made at random for
//! the purpose, of drum strokes, plucked, struck, bowed and blown notes and mixes of them, at many
//! levels, with noise, compressed, band-limited; and sounds without events: noises, hum, held chords
//! with vibrato, sweeps, swells. The program of that first fit is lost. They were then fitted onward
//! with `examples/onset_fit`, which says how, to lone strokes and bursts out of silence and to more
//! sounds without events, and held to what they said before in music (G. Hinton, O. Vinyals, J. Dean,
//! "Distilling the knowledge in a neural network", 2015).
//!
//! The second tells kicks, snares and hats only. It was fitted to songs of which most are played on
//! sampled drum kits; the first had heard none but drums made by arithmetic. It also hears how far
//! each band falls below its own top (between the strokes of a hi-hat further than between those of a
//! ride, which rings on) and whether one partial stands out of a band (a ride's ping does, a hat hisses).
//! Each net errs where the other does not; the mean of their scores counts (T. Dietterich, "Ensemble
//! methods in machine learning", Multiple Classifier Systems 2000).
//!
//! Layers, rectifier and fit as in any textbook: C. Bishop, "Pattern Recognition and Machine Learning",
//! Springer 2006, chapter 5.

/// One layer: its weights input by input, its offsets, and what it gave last.
#[derive(Debug, Clone)]
struct Layer {
    weights: Vec<f32>,
    offsets: Vec<f32>,
    out: Vec<f32>,
}

impl Layer {
    fn new(numbers: &mut impl Iterator<Item = f32>, inputs: usize, outputs: usize) -> Self {
        let weights = numbers.take(inputs * outputs).collect();
        let offsets: Vec<f32> = numbers.take(outputs).collect();
        Self { weights, offsets, out: vec![0.0; outputs] }
    }

    fn weigh(&mut self, inputs: &[f32]) -> &mut [f32] {
        self.out.copy_from_slice(&self.offsets);
        // Input by input: every sum is added up in the same order on every processor.
        for (input, weights) in inputs.iter().zip(self.weights.chunks_exact(self.out.len())) {
            for (sum, weight) in self.out.iter_mut().zip(weights) {
                *sum += input * weight;
            }
        }
        &mut self.out
    }

    /// As [`Layer::weigh`], what is below 0 counted as 0.
    fn weigh_up(&mut self, inputs: &[f32]) -> &[f32] {
        let out = self.weigh(inputs);
        for sum in out.iter_mut() {
            *sum = sum.max(0.0);
        }
        out
    }
}

/// Three layers.
#[derive(Debug, Clone)]
pub(super) struct Net<const OUTPUTS: usize> {
    first: Layer,
    second: Layer,
    last: Layer,
}

impl<const OUTPUTS: usize> Net<OUTPUTS> {
    /// `text`: lines of numbers, the first being the sizes of the two inner layers; lines that
    /// begin with `#` are for people, and in a line `x SCALE` and numbers all are to be scaled. The texts
    /// are part of the program: a test reads them whole.
    pub(super) fn new(text: &str, inputs: usize) -> Self {
        let lines = text.lines().filter(|line| !line.starts_with('#'));
        let mut numbers = lines.flat_map(numbers);
        let mut size = || size(numbers.next());
        let (wide, narrow) = (size(), size());
        Self {
            first: Layer::new(&mut numbers, inputs, wide),
            second: Layer::new(&mut numbers, wide, narrow),
            last: Layer::new(&mut numbers, narrow, OUTPUTS),
        }
    }

    pub(super) fn weigh(&mut self, inputs: &[f32]) -> [f32; OUTPUTS] {
        let wide = self.first.weigh_up(inputs);
        let narrow = self.second.weigh_up(wide);
        let out = self.last.weigh(narrow);
        <[f32; OUTPUTS]>::try_from(&*out).unwrap_or([f32::NAN; OUTPUTS])
    }
}

/// All numbers of a line.
fn numbers(line: &str) -> impl Iterator<Item = f32> {
    let read = |number: &str| number.parse::<f32>().unwrap_or(f32::NAN);
    let mut words = line.split_ascii_whitespace().peekable();
    let scaled = words.next_if_eq(&"x").is_some();
    let scale = if scaled { words.next().map_or(f32::NAN, read) } else { 1.0 };
    words.map(move |number| scale * read(number))
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small whole numbers")]
fn size(number: Option<f32>) -> usize {
    number.map_or(0, |number| number as usize)
}

#[cfg(test)]
#[allow(
    clippy::float_cmp,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "sums of small whole numbers are exact; tests stop at the first surprise"
)]
mod tests {
    use super::super::view::{FIRST_OUTPUTS, SECOND_OUTPUTS, VIEWS};
    use super::*;

    /// By hand: (1 2)(1 -1; 3 1) + (0 -4) = (7 -3), rectified (7 0); times (1; 5) + 1 = 8; times
    /// (1 2 3 4 5 6) + (0 0 0 0 0 -1).
    #[test]
    fn three_layers_worked_by_hand() {
        let text = "# sizes\n2 1\n1 -1\nx 0.5 6 2\n0 -4\n1\n5\n1\n1 2 3 4 5 6\n0 0 0 0 0 -1\n";
        let mut net = Net::<6>::new(text, 2);
        assert_eq!(net.weigh(&[1.0, 2.0]), [8.0, 16.0, 24.0, 32.0, 40.0, 47.0]);
        assert_eq!(net.weigh(&[0.0, 0.0]), [1.0, 2.0, 3.0, 4.0, 5.0, 5.0]);
    }

    /// Inputs, outputs and text of every net.
    #[test]
    fn the_texts_hold_every_number_and_no_more() {
        let first = VIEWS.map(|view| (view.first, FIRST_OUTPUTS));
        let second = VIEWS.map(|view| (view.second, SECOND_OUTPUTS));
        for (part, outputs) in first.into_iter().chain(second) {
            let mut lines = part.weights.lines().filter(|line| !line.starts_with('#'));
            let sizes: Vec<usize> = lines
                .next()
                .unwrap()
                .split_ascii_whitespace()
                .map(|size| size.parse().unwrap())
                .collect();
            let numbers: Vec<f32> = lines.flat_map(numbers).collect();
            assert!(numbers.iter().all(|number| number.is_finite()));
            let count = numbers.len();
            let (wide, narrow) = (sizes[0], sizes[1]);
            let expected =
                (part.inputs() + 1) * wide + (wide + 1) * narrow + (narrow + 1) * outputs;
            assert_eq!(count, expected);
        }
    }
}
