//! Colours that keep their order for every eye and on every printer.
//!
//! The two ramps run along straight lines in CIELAB (CIE 15:2018, D65), at equal colour difference
//! per step: equal steps of the value look like equal steps of ink, lighter is always less, and a
//! grey print keeps the order. Both start at the same pale paper tone, so "nothing" is pale in
//! every panel. Lines and areas take their colours from Okabe & Ito, "Color Universal Design"
//! (2008), and are never told apart by colour alone.

/// Red, green, blue, sRGB (IEC 61966-2-1), 8 bits each.
pub type Rgb = [u8; 3];

/// Page.
pub const PAPER: Rgb = [255, 255, 255];
/// Text and frames.
pub const INK: Rgb = [38, 38, 42];
/// Units, notes and other text that may step back.
pub const SOFT_INK: Rgb = [96, 96, 102];
/// Grid.
pub const GRID: Rgb = [222, 222, 224];
/// Where the file says nothing.
pub const UNKNOWN: Rgb = [236, 236, 238];

/// Okabe & Ito 2008, orange.
pub const ORANGE: Rgb = [230, 159, 0];
/// Okabe & Ito 2008, sky blue.
pub const SKY: Rgb = [86, 180, 233];
/// Okabe & Ito 2008, bluish green.
pub const GREEN: Rgb = [0, 158, 115];
/// Okabe & Ito 2008, blue.
pub const BLUE: Rgb = [0, 114, 178];
/// Okabe & Ito 2008, vermilion.
pub const VERMILION: Rgb = [213, 94, 0];
/// Okabe & Ito 2008, reddish purple.
pub const PURPLE: Rgb = [204, 121, 167];

type Lab = [f64; 3];

const NOTHING: Lab = [96.0, 0.0, 2.0];
/// Levels: sea green to a dark blue.
const LEVEL_KNOTS: [Lab; 4] =
    [NOTHING, [76.0, -26.0, 2.0], [48.0, -18.0, -22.0], [18.0, 12.0, -34.0]];
/// Duty forwards: amber to a dark brown.
const FORWARD_KNOTS: [Lab; 4] =
    [NOTHING, [80.0, 14.0, 46.0], [53.0, 42.0, 52.0], [24.0, 30.0, 26.0]];
/// Duty in reverse: sky to a dark blue.
const REVERSE_KNOTS: [Lab; 4] =
    [NOTHING, [78.0, -8.0, -24.0], [51.0, 2.0, -45.0], [22.0, 22.0, -46.0]];

/// Colours of a ramp, from nothing to everything.
const STEPS: usize = 256;

/// A value from 0 to 1 as a colour.
#[derive(Debug, Clone, PartialEq)]
pub struct Ramp {
    table: Vec<Rgb>,
}

impl Ramp {
    /// For levels.
    pub fn levels() -> Self {
        Self::through(&LEVEL_KNOTS)
    }

    /// For duty forwards, and for all duty that goes one way.
    pub fn forward() -> Self {
        Self::through(&FORWARD_KNOTS)
    }

    /// For duty in reverse.
    pub fn reverse() -> Self {
        Self::through(&REVERSE_KNOTS)
    }

    /// The colour of a value; what lies outside 0 to 1 takes the end it passed.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped to the table"
    )]
    pub fn colour(&self, value: f64) -> Rgb {
        let at = (value.clamp(0.0, 1.0) * (STEPS - 1) as f64).round() as usize;
        self.table.get(at).copied().unwrap_or(UNKNOWN)
    }

    fn through(knots: &[Lab]) -> Self {
        let whole: f64 = lengths(knots).sum();
        let table = (0..STEPS)
            .map(|step| to_rgb(along(knots, whole * step as f64 / (STEPS - 1) as f64)))
            .collect();
        Self { table }
    }
}

/// Colour difference of CIE 1976 from each knot to the next.
fn lengths(knots: &[Lab]) -> impl Iterator<Item = f64> {
    knots.iter().zip(knots.iter().skip(1)).map(|(a, b)| difference(*a, *b))
}

fn difference(a: Lab, b: Lab) -> f64 {
    a.iter().zip(b).map(|(a, b)| (b - a) * (b - a)).sum::<f64>().sqrt()
}

/// The point so far along the line through the knots.
fn along(knots: &[Lab], mut way: f64) -> Lab {
    let mut here = knots.first().copied().unwrap_or(NOTHING);
    for (&next, length) in knots.iter().skip(1).zip(lengths(knots)) {
        if way <= length {
            let [l, a, b] = here;
            let share = way / length;
            let part = |from: f64, to: f64| from + (to - from) * share;
            return [part(l, next[0]), part(a, next[1]), part(b, next[2])];
        }
        way -= length;
        here = next;
    }
    here
}

/// CIELAB to linear sRGB: CIE 15:2018 (8.2.1, reversed), white point D65, and the matrix of
/// IEC 61966-2-1.
fn to_linear([l, a, b]: Lab) -> [f64; 3] {
    let fy = (l + 16.0) / 116.0;
    let undo = |f: f64| {
        if f > 6.0 / 29.0 { f * f * f } else { 108.0 / 841.0 * (f - 4.0 / 29.0) }
    };
    let x = 0.950_47 * undo(fy + a / 500.0);
    let y = undo(fy);
    let z = 1.088_83 * undo(fy - b / 200.0);
    [
        3.240_6 * x - 1.537_2 * y - 0.498_6 * z,
        -0.968_9 * x + 1.875_8 * y + 0.041_5 * z,
        0.055_7 * x - 0.204_0 * y + 1.057_0 * z,
    ]
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 0..=255")]
fn to_rgb(lab: Lab) -> Rgb {
    to_linear(lab).map(|linear| {
        let linear = linear.clamp(0.0, 1.0);
        let coded = if linear <= 0.003_130_8 {
            12.92 * linear
        } else {
            1.055 * libm::pow(linear, 1.0 / 2.4) - 0.055
        };
        (coded * 255.0).round() as u8
    })
}

/// Part of the way from one colour to another.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between two bytes")]
pub fn mix(from: Rgb, to: Rgb, share: f64) -> Rgb {
    let share = share.clamp(0.0, 1.0);
    let part = |a: u8, b: u8| (f64::from(a) + (f64::from(b) - f64::from(a)) * share).round() as u8;
    [part(from[0], to[0]), part(from[1], to[1]), part(from[2], to[2])]
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [&[Lab; 4]; 3] = [&LEVEL_KNOTS, &FORWARD_KNOTS, &REVERSE_KNOTS];

    #[test]
    fn every_colour_of_a_ramp_exists_in_srgb() {
        for knots in ALL {
            let whole: f64 = lengths(knots).sum();
            for step in 0..=100 {
                let lab = along(knots, whole * f64::from(step) / 100.0);
                for part in to_linear(lab) {
                    assert!((-0.003..=1.003).contains(&part), "{lab:?} gives {:?}", to_linear(lab));
                }
            }
        }
    }

    /// CIE 1976 colour difference: each of 32 steps along a ramp is as large as the others, but
    /// for the chords that cut a knot's corner.
    #[test]
    fn steps_are_equal_and_always_darker() {
        for knots in ALL {
            let whole: f64 = lengths(knots).sum();
            let points: Vec<Lab> =
                (0..=32).map(|step| along(knots, whole * f64::from(step) / 32.0)).collect();
            for pair in points.windows(2) {
                let [a, b] = pair else { continue };
                let step = difference(*a, *b);
                assert!(step > 0.9 * whole / 32.0 && step < 1.001 * whole / 32.0, "{a:?} {b:?}");
                assert!(b[0] < a[0], "{b:?} is not darker than {a:?}");
            }
        }
    }

    /// Machado, Oliveira & Fernandes, "A Physiologically-based Model for Simulation of Color Vision
    /// Deficiency", IEEE TVCG 15(6), 2009, severity 1.0, for linear RGB. From memory; each row adds
    /// up to 1, so greys stay grey.
    const PROTAN: [[f64; 3]; 3] = [
        [0.152_286, 1.052_583, -0.204_868],
        [0.114_503, 0.786_281, 0.099_216],
        [-0.003_882, -0.048_116, 1.051_998],
    ];
    const DEUTAN: [[f64; 3]; 3] = [
        [0.367_322, 0.860_646, -0.227_968],
        [0.280_085, 0.672_501, 0.047_413],
        [-0.011_820, 0.042_940, 0.968_881],
    ];

    /// CIELAB as someone with this deficiency sees it: the way back of [`to_linear`].
    fn seen(lab: Lab, deficiency: [[f64; 3]; 3]) -> Lab {
        let linear = to_linear(lab);
        let dot = |row: [f64; 3], v: [f64; 3]| row[0] * v[0] + row[1] * v[1] + row[2] * v[2];
        let rgb = deficiency.map(|row| dot(row, linear).clamp(0.0, 1.0));
        let xyz = [
            dot([0.412_4, 0.357_6, 0.180_5], rgb) / 0.950_47,
            dot([0.212_6, 0.715_2, 0.072_2], rgb),
            dot([0.019_3, 0.119_2, 0.950_5], rgb) / 1.088_83,
        ];
        let f =
            |t: f64| if t > 216.0 / 24_389.0 { libm::cbrt(t) } else { 7.787 * t + 16.0 / 116.0 };
        let [x, y, z] = xyz.map(f);
        [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
    }

    /// Both common kinds of colour blindness: ramps stay in order of lightness, and forward and
    /// reverse of one size stay well apart (a difference of 10 is plain to see).
    #[test]
    fn colour_blind_readers_see_the_same_order_and_the_same_sides() {
        for eye in [PROTAN, DEUTAN] {
            assert!(eye.iter().all(|row| (row.iter().sum::<f64>() - 1.0).abs() < 1e-5));
            let at = |knots: &[Lab], share: f64| {
                seen(along(knots, share * lengths(knots).sum::<f64>()), eye)
            };
            for knots in ALL {
                for step in 0..20 {
                    let (here, next) = (f64::from(step) / 20.0, f64::from(step + 1) / 20.0);
                    let (here, next) = (at(knots, here), at(knots, next));
                    assert!(next[0] < here[0] - 0.5, "{here:?} {next:?}");
                }
            }
            for step in 3..=20 {
                let share = f64::from(step) / 20.0;
                let apart = difference(at(&FORWARD_KNOTS, share), at(&REVERSE_KNOTS, share));
                assert!(apart > 10.0, "at {share} only {apart}");
            }
        }
    }

    /// sRGB of CIELAB values, D65. White and black follow from the definition; the mid grey
    /// (L* 53.585 = sRGB 128) and pure red (53.24, 80.09, 67.20) are well-known values, from memory.
    #[test]
    fn lab_becomes_srgb() {
        assert_eq!(to_rgb([100.0, 0.0, 0.0]), [255, 255, 255]);
        assert_eq!(to_rgb([0.0, 0.0, 0.0]), [0, 0, 0]);
        assert_eq!(to_rgb([53.585, 0.0, 0.0]), [128, 128, 128]);
        assert_eq!(to_rgb([53.24, 80.09, 67.20]), [255, 0, 0]);
    }
}
