//! Fluid and liquid: Langevin, spikes, densities, response.

use coilscore::coil::fluid::langevin::{langevin, langevin_slope, log_sinh_over};
use coilscore::coil::fluid::response::Response;
use coilscore::coil::fluid::spikes::Surface;
use coilscore::coil::fluid::{Blob, Liquid, TYPICAL, reduced_weight};
use coilscore::coil::turn::MU0;
use coilscore::units::{Celsius, Seconds};
use proptest::prelude::*;

use crate::agree::{Table, Worst};

#[test]
fn langevin_matches_mpmath() {
    let mut worst = Worst::new("Langevin function: mpmath, 40 digits", 1e-11);
    let mut slope = Worst::new("its slope: mpmath, 40 digits", 1e-10);
    for row in Table::read(include_str!("data/langevin.csv")).rows() {
        let xi = row.get("xi");
        worst.number(langevin(xi), row.get("L(xi)_mpmath40"));
        slope.number(langevin_slope(xi), row.get("dL/dxi"));
        assert_eq!(langevin(-xi), -langevin(xi));
    }
    worst.print();
    slope.print();
    assert_eq!((langevin(0.0), langevin_slope(0.0), log_sinh_over(0.0)), (0.0, 1.0 / 3.0, 0.0));
    assert!((langevin(1e6) - 1.0).abs() < 2e-6 && langevin_slope(1e6) < 2e-12);
    assert!((log_sinh_over(1e5) - (1e5 - 2e5_f64.ln())).abs() < 1e-6, "no overflow");
}

#[test]
fn series_and_closed_forms_meet() {
    for f in [langevin, langevin_slope, log_sinh_over] {
        let (below, above) = (f(0.1 - 1e-12), f(0.1));
        assert!((below / above - 1.0).abs() < 1e-10, "{below} {above}");
    }
    // Langevin is the slope of the pressure integral.
    for a in [0.02, 0.3, 2.0, 30.0] {
        let slope = (log_sinh_over(a + 1e-5) - log_sinh_over(a - 1e-5)) / 2e-5;
        assert!((slope / langevin(a) - 1.0).abs() < 1e-6, "{a}");
    }
}

#[test]
fn spikes_begin_where_cowley_and_rosensweig_say() {
    let mut worst = Worst::new("normal-field instability: computed table", 1e-6);
    for row in Table::read(include_str!("data/rosensweig.csv")).rows() {
        let surface = Surface {
            density_difference_kg_per_m3: row.get("drho_kg_m3"),
            interface_n_per_m: row.get("sigma_N_m"),
            chi: row.get("chi"),
        };
        let spikes = surface.spikes();
        worst.number(spikes.magnetisation_a_per_m, row.get("Mc_A_m"));
        worst.number(spikes.h_a_per_m, row.get("H_inside_A_m"));
        worst.number(spikes.applied_t * 1e3, row.get("B_applied_mT"));
        worst.number(spikes.wavelength_m * 1e3, row.get("lambda_c_mm"));
        worst.number(spikes.spacing_m * 1e3, row.get("hex_peak_spacing_mm"));
    }
    worst.print();
    // Linear form B^2 = 2 mu0 (1 + chi)(2 + chi)/chi^2 sqrt(density g tension), worked by hand.
    for (density, tension, field_mt, wave_mm) in
        [(200.0, 5e-3, 5.21596, 10.0320), (1210.0, 29e-3, 12.6949, 9.82259)]
    {
        let spikes =
            Surface { density_difference_kg_per_m3: density, interface_n_per_m: tension, chi: 1.7 }
                .spikes();
        assert!((spikes.applied_t * 1e3 / field_mt - 1.0).abs() < 1e-5);
        assert!((spikes.wavelength_m * 1e3 / wave_mm - 1.0).abs() < 1e-5);
    }
}

#[test]
fn sea_water_matches_teos_10() {
    let mut worst = Worst::new("sea water, EOS-80 against TEOS-10 (gsw 3.6.23)", 2e-5);
    for row in Table::read(include_str!("data/seawater_density_teos10.csv")).rows() {
        // Absolute salinity 35.16504 g/kg is practical salinity 35.
        let salinity = row.get("S_A_g_per_kg") * 35.0 / 35.16504;
        for c in [15.0, 20.0, 25.0, 30.0] {
            let ours = Liquid::SeaWater { salinity }.density(Celsius(c)).unwrap();
            worst.number(ours, row.get(&format!("rho_{c}C")));
        }
    }
    worst.print();
    let at = |salinity, c| Liquid::SeaWater { salinity }.density(Celsius(c)).unwrap();
    // UNESCO check values, from memory: 35 at 25 C 1023.343, and 35 at 20 C 1024.763.
    assert!((at(35.0, 25.0) - 1023.343).abs() < 1e-3, "{}", at(35.0, 25.0));
    assert!((at(35.0, 20.0) - 1024.763).abs() < 1e-3);
    // Steam tables, from memory: water at 40, 50, 60 C.
    for (c, water) in [(40.0, 992.2), (50.0, 988.0), (60.0, 983.2)] {
        assert!((at(0.0, c) / water - 1.0).abs() < 5e-4, "{c} C: {}", at(0.0, c));
    }
}

#[test]
fn salt_water_matches_a_second_table() {
    // Percent NaCl by mass, kg/m3 at 20 C: chemical table (WNT 1974) as a university prints it; an
    // engineering page agrees at 1, 10 and 20 %.
    let table = [
        (1.0, 1005.3),
        (2.0, 1012.2),
        (4.0, 1026.8),
        (6.0, 1041.3),
        (8.0, 1055.9),
        (10.0, 1070.7),
        (12.0, 1085.7),
        (16.0, 1116.2),
        (20.0, 1147.8),
        (26.0, 1197.2),
    ];
    let at =
        |nacl_percent: f64, c: f64| Liquid::SaltWater { nacl_percent }.density(Celsius(c)).unwrap();
    let mut worst = Worst::new("salt water at 20 C, 1 to 26 %: published table", 5e-4);
    for (percent, density) in table {
        worst.number(at(percent, 20.0), density);
    }
    worst.print();
    // Fresh water is that of TEOS-10; salt and warmth do what they must, without a step.
    assert!((at(0.0, 20.0) - 998.2077).abs() < 0.1);
    for percent in 0..26 {
        for c in 0..60 {
            let (percent, c) = (f64::from(percent), f64::from(c));
            assert!(at(percent + 1.0, c) - at(percent, c) > 6.0, "{percent} % {c} C");
            let fall = at(percent, c) - at(percent, c + 1.0);
            assert!(fall > -0.1 && fall < 0.75, "{percent} % {c} C: {fall}");
        }
    }
}

#[test]
fn a_blob_magnetises_as_a_linear_one_in_weak_fields() {
    let weak = 1e-5;
    let linear = |n: f64| TYPICAL.chi / (1.0 + n * TYPICAL.chi) * weak / MU0;
    for n in [0.0, 1.0 / 3.0, 1.0] {
        let ours = TYPICAL.magnetisation_of(n, weak);
        assert!((ours / linear(n) - 1.0).abs() < 1e-6, "{n}: {ours}");
    }
    assert!(TYPICAL.magnetisation_of(0.3, 5.0) < TYPICAL.saturation_a_per_m);
    assert!(TYPICAL.magnetisation_of(0.3, 5.0) > 0.99 * TYPICAL.saturation_a_per_m);
    assert_eq!(TYPICAL.magnetisation_of(0.3, f64::NAN), 0.0);
}

#[test]
fn weight_and_pressure_come_out_as_worked() {
    // 200 kg/m3, 5 mN/m, blob 5 mm by 10 mm: 2161.33 N/m3 (worked).
    let blob = Blob { demagnetising: 1.0 / 3.0, radius_m: 5e-3, length_m: 10e-3 };
    assert!((reduced_weight(200.0, 5e-3, &blob) - 2161.33).abs() < 1e-9);
    // The fluid's pressure is the integral of mu0 M dH, midpoint rule.
    let steps = 20_000;
    let step = 50_000.0 / f64::from(steps);
    let sum: f64 =
        (0..steps).map(|n| TYPICAL.magnetisation((f64::from(n) + 0.5) * step)).sum::<f64>();
    assert!((TYPICAL.pressure_pa(50_000.0) / (MU0 * sum * step) - 1.0).abs() < 1e-7);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, failure_persistence: None, ..ProptestConfig::default() })]

    /// The exact step against many small steps of Heun's method.
    #[test]
    fn the_exact_step_agrees_with_small_steps(
        w in 5.0..60.0_f64, damping in 0.02..3.0_f64, time in 0.002..0.2_f64,
        y in -1.0..1.0_f64, speed in -5.0..5.0_f64, input in -1.0..1.0_f64,
    ) {
        let response = Response { natural_rad_per_s: w, damping };
        let exact = response.step(Seconds(time)).next([y, speed], input);
        let accel = |y: f64, v: f64| w * w * (input - y) - 2.0 * damping * w * v;
        let steps = 40_000;
        let h = time / f64::from(steps);
        let (mut a, mut v) = (y, speed);
        for _ in 0..steps {
            let (first, second) = (v, accel(a, v));
            let (third, fourth) = (v + h * second, accel(a + h * first, v + h * second));
            a += h * (first + third) / 2.0;
            v += h * (second + fourth) / 2.0;
        }
        let size = 1.0 + w;
        prop_assert!((exact[0] - a).abs() < 1e-6 && (exact[1] - v).abs() < 1e-6 * size, "{exact:?} {a} {v}");
    }

    #[test]
    fn two_steps_are_one_of_both(w in 5.0..60.0_f64, damping in 0.02..3.0_f64, time in 0.002..0.2_f64) {
        for damping in [damping, 1.0, 1.0 - 1e-14] {
            let response = Response { natural_rad_per_s: w, damping };
            let twice = response.step(Seconds(time));
            let [y, v] = twice.next(twice.next([0.3, -1.0], 0.7), 0.7);
            let [one_y, one_v] = response.step(Seconds(2.0 * time)).next([0.3, -1.0], 0.7);
            prop_assert!((y - one_y).abs() < 1e-9 && (v - one_v).abs() < 1e-7);
        }
    }
}
