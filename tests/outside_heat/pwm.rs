//! PWM into resistance and inductance.

use coilscore::coil::chords::Chords;
use coilscore::coil::pwm::{Drive, heat_share};
use coilscore::units::{Ohms, Volts};

/// V, R, L (H), f (Hz), D, RMS A, heat W. Computed by quadrature of the waveform and by 4000-cycle
/// exact stepping with scipy 1.17.1, ideal freewheel path.
#[rustfmt::skip]
const COMPUTED: &[(f64, f64, f64, f64, f64, f64, f64)] = &[
    (12.0, 12.0, 0.00012,    490.0, 0.1,    0.30838288,  1.14120000),
    (12.0, 12.0, 0.00012,    490.0, 0.5,    0.70363343,  5.94120000),
    (12.0, 12.0, 0.00012,   1000.0, 0.25,   0.48989795,  2.88000000),
    (12.0, 12.0, 0.00012,   5000.0, 0.1,    0.23825777,  0.68120118),
    (12.0, 12.0, 0.00012,   5000.0, 0.4167, 0.60556787,  4.40054927),
    (12.0, 12.0, 0.00012,   5000.0, 0.5,    0.67082378,  5.40005448),
    (12.0, 12.0, 0.00012,  20000.0, 0.1,    0.14714768,  0.25982928),
    (12.0, 12.0, 0.00012,  20000.0, 0.25,   0.33122751,  1.31653997),
    (12.0, 12.0, 0.00012,  20000.0, 0.5,    0.57475497,  3.96411926),
    (12.0, 12.0, 0.00012,  20000.0, 0.9,    0.90645046,  9.85982928),
    (12.0, 12.0, 0.00012, 100000.0, 0.1,    0.10325714,  0.12794444),
    (12.0, 12.0, 0.00012, 100000.0, 0.4167, 0.42242535,  2.14131809),
    (12.0, 12.0, 0.00012, 100000.0, 0.9,    0.90036772,  9.72794444),
    (12.0,  8.0, 0.004,      100.0, 0.4167, 0.90835180,  6.60082391),
    (12.0,  8.0, 0.004,      490.0, 0.1,    0.20459371,  0.33486869),
    (12.0,  8.0, 0.004,      490.0, 0.5,    0.83697040,  5.60415566),
    (12.0,  8.0, 0.004,     1000.0, 0.25,   0.40594624,  1.31833881),
    (12.0,  8.0, 0.004,     5000.0, 0.1,    0.15080530,  0.18193791),
    (12.0,  8.0, 0.004,    25000.0, 0.1,    0.15003239,  0.18007775),
    (12.0,  8.0, 0.004,    25000.0, 0.5,    0.75004999,  4.50059990),
    (12.0,  8.0, 0.004,    25000.0, 0.9,    1.35000360, 14.58007775),
];

#[test]
fn heat_and_current_match_computed_waveforms() {
    for &(v, r, l, f, d, rms, heat) in COMPUTED {
        let x = r / (l * f);
        let drive = Drive {
            supply: Volts(v),
            switch_drop: Volts(0.0),
            freewheel_drop: Volts(0.0),
            resistance: Ohms(r),
            x,
        };
        let steady = drive.steady(d);
        // Half a unit of the last printed digit.
        assert!((steady.rms.0 - rms).abs() < 6e-9, "{v} V {f} Hz {d}: {steady:?}");
        assert!((steady.heat.0 - heat).abs() < 6e-9, "{v} V {f} Hz {d}: {steady:?}");
        assert!((v * v / r * heat_share(d, x) - heat).abs() < 6e-9);
        assert!((steady.mean.0 - d * v / r).abs() < 1e-12, "the mean is D V/R exactly");
        assert!((steady.supply.0 - steady.heat.0 / v).abs() < 1e-12, "supply gives the heat");
        assert!(steady.continuous);
    }
}

/// Supply at 2.4 times the continuous voltage, L/R = 65.683 us: PWM period over L/R, duty for the
/// continuous heat, its mean current over the rated one. Derived, not published.
#[test]
fn continuous_duty_follows_the_pwm_frequency() {
    let table = [
        (100.0, 0.180179, 0.432431),
        (500.0, 0.206391, 0.495339),
        (2_000.0, 0.290071, 0.696170),
        (5_000.0, 0.372997, 0.895192),
        (10_000.0, 0.403760, 0.969024),
        (20_000.0, 0.413294, 0.991906),
        (40_000.0, 0.415814, 0.997954),
    ];
    let rated = 1.0 / (2.4 * 2.4);
    for (f, duty, current) in table {
        let x = 13.4046 / (0.880455e-3 * f);
        let chords = Chords::new(x);
        let ours = chords.duty(rated);
        // The chords are on the safe side by no more than their stated error.
        assert!(ours <= duty + 6e-7 && ours > duty - 3e-4, "{f} Hz: {ours} for {duty}");
        assert!((heat_share(duty, x) - rated).abs() < 2e-6, "{f} Hz");
        assert!((2.4 * ours - current).abs() < 6e-4, "{f} Hz: {ours}");
    }
    assert!((Chords::new(f64::INFINITY).duty(rated) - 0.173611).abs() < 1e-6);
    assert!((Chords::new(0.0).duty(rated) - 0.416667).abs() < 1e-5);
}

#[test]
fn limits_of_slow_and_fast_pwm() {
    for step in 0..=100 {
        let d = f64::from(step) / 100.0;
        assert!((heat_share(d, f64::INFINITY) - d).abs() < 1e-15);
        assert!((heat_share(d, 1e9) - d).abs() < 1e-8);
        assert!((heat_share(d, 0.0) - d * d).abs() < 1e-15);
        // No seam where the series takes over.
        assert!((heat_share(d, 0.999_999e-3) - heat_share(d, 1.000_001e-3)).abs() < 1e-12);
        for x in [1e-6, 1e-3, 0.1, 1.0, 10.0, 1e3] {
            let h = heat_share(d, x);
            assert!(h >= d * d - 1e-13 && h <= d + 1e-15, "D {d} x {x}: {h}");
        }
    }
    assert!(heat_share(7.0, 1.0) > 1.0 - 1e-15 && heat_share(-1.0, 1.0) < 1e-15);
}

/// Steps the switch, the coil and the diode through many periods: an exact exponential in small
/// pieces, the current stopped at 0 by the diode.
fn stepped(drive: &Drive, duty: f64) -> (f64, f64, f64) {
    let on = (drive.supply.0 - drive.switch_drop.0) / drive.resistance.0;
    let off = -drive.freewheel_drop.0 / drive.resistance.0;
    let pieces = 20_000;
    let on_pieces = (duty * f64::from(pieces)).round() as u32;
    let keep = (-drive.x / f64::from(pieces)).exp();
    let mut current = 0.0_f64;
    let mut sums = (0.0, 0.0, 0.0);
    let periods = (40.0 / drive.x).ceil() as u32 + 3;
    for period in 0..periods {
        for piece in 0..pieces {
            let driven = piece < on_pieces;
            let target = if driven { on } else { off };
            let next = target + (current - target) * keep;
            let next = if driven { next } else { next.max(0.0) };
            if period == periods - 1 {
                let middle = (current + next) / 2.0;
                sums.0 += middle;
                sums.1 += middle * middle;
                sums.2 += if driven { middle } else { 0.0 };
            }
            current = next;
        }
    }
    let per = f64::from(pieces);
    (sums.0 / per, sums.1 / per, sums.2 / per)
}

#[test]
fn a_diode_agrees_with_stepping_and_balances_power() {
    let mut kinds = [0, 0];
    for x in [0.2, 0.761, 3.0, 12.0] {
        for drop in [0.0, 0.5, 1.1] {
            for duty in [0.02, 0.04, 0.1, 0.35, 0.8, 1.0] {
                let drive = Drive {
                    supply: Volts(12.0),
                    switch_drop: Volts(0.2),
                    freewheel_drop: Volts(drop),
                    resistance: Ohms(10.0),
                    x,
                };
                let steady = drive.steady(duty);
                kinds[usize::from(steady.continuous)] += 1;
                let (mean, square, supply) = stepped(&drive, duty);
                let close = |ours: f64, theirs: f64| (ours - theirs).abs() < 3e-5 * theirs + 2e-6;
                assert!(close(steady.mean.0, mean), "x {x} {drop} V {duty}: {steady:?} {mean}");
                assert!(close(steady.heat.0 / 10.0, square), "x {x} {drop} V {duty}: {steady:?}");
                assert!(close(steady.supply.0, supply), "x {x} {drop} V {duty}: {steady:?}");
                let given = (12.0 - 0.2) * steady.supply.0;
                let taken = steady.heat.0 + drop * (steady.mean.0 - steady.supply.0);
                assert!((given - taken).abs() < 1e-9, "x {x} {drop} V {duty}: {given} {taken}");
            }
        }
    }
    assert!(kinds[0] > 5 && kinds[1] > 30, "one of the two conduction modes was not met");
}

#[test]
fn short_and_endless_periods_with_a_diode() {
    let drive = |x: f64| Drive {
        supply: Volts(12.0),
        switch_drop: Volts(0.0),
        freewheel_drop: Volts(0.5),
        resistance: Ohms(10.0),
        x,
    };
    // Fast PWM gives no current below D0 = V_d/(V + V_d) = 4 %.
    assert!(drive(0.0).steady(0.039).mean.0 == 0.0 && drive(0.0).steady(0.041).mean.0 > 0.0);
    // Between the series and the closed form there is no seam.
    let (low, high) = (drive(0.4999).steady(0.02), drive(0.5001).steady(0.02));
    assert!((low.heat.0 / high.heat.0 - 1.0).abs() < 1e-3 && !low.continuous);
    let slow = drive(f64::INFINITY).steady(0.3);
    assert!((slow.heat.0 - 0.3 * 14.4).abs() < 1e-12 && (slow.mean.0 - 0.36).abs() < 1e-12);
    assert!((drive(1e6).steady(0.3).heat.0 - slow.heat.0).abs() < 1e-4);
}
