//! Safe is not enough: nothing is cut that need not be.

use coilscore::budget::{Budget, Polarity};
use coilscore::units::{KelvinPerWatt, Ohms, Share};

use super::nets::{Dice, display, worked_coil};
use super::oracle::Oracle;
use super::plant::Plant;

/// Bars of four beats, every coil with its own loudness: what music asks for.
fn beat(frame: u32, coil: usize) -> f64 {
    let beat = f64::from(frame % 10) / 10.0;
    let accent = if (frame / 10 + coil as u32).is_multiple_of(4) { 1.0 } else { 0.6 };
    accent * (1.0 - beat)
}

/// Energy over 100 s at 20 frames a second, horizon one frame.
#[test]
fn as_much_heat_is_spent_as_by_the_dense_limiter() {
    for seed in 0..8 {
        let mut dice = Dice(seed);
        let mut settings = display(20, vec![]);
        for _ in 0..5 {
            let mut coil = worked_coil(dice.between(70.0, 95.0), dice.between(50.0, 65.0));
            coil.resistance = Ohms(dice.between(8.0, 13.0));
            coil.heat.backing_to_around = KelvinPerWatt(dice.between(8.0, 20.0));
            coil.period_over_tau = dice.one_of(&[f64::INFINITY, 0.761]);
            settings.coils.push(coil);
        }
        for coil in 1..5 {
            settings.neighbours.push(coilscore::budget::Neighbours {
                a: coilscore::units::CoilId(coil - 1),
                b: coilscore::units::CoilId(coil),
                coils: coilscore::units::WattsPerKelvin(0.01),
                backings: coilscore::units::WattsPerKelvin(0.15),
            });
        }
        for loud in [true, false] {
            let mut budget = Budget::new(&settings).unwrap();
            let mut oracle = Oracle::new(&settings, 0.05);
            let mut plant = Plant::new(&settings);
            let (mut ours, mut theirs) = (0.0, 0.0);
            for frame in 0..2_000 {
                let duties: Vec<f64> =
                    (0..5).map(|coil| if loud { 1.0 } else { beat(frame, coil) }).collect();
                let wishes: Vec<Share> = duties.iter().map(|&d| Share::saturating(d)).collect();
                let codes: Vec<i32> = budget.permit(&wishes).iter().map(|d| d.code()).collect();
                ours += plant.power_w(&codes).iter().sum::<f64>();
                plant.hold(&codes, 0.05, |_| {});
                theirs += oracle.frame(&duties).iter().sum::<f64>();
            }
            let part = ours / theirs;
            assert!((0.99..1.01).contains(&part), "seed {seed}, loud {loud}: {part} of the oracle");
        }
    }
}

/// Whatever is wished is either granted or accounted for.
#[test]
fn cuts_add_up_and_both_ways_count_the_same() {
    let mut one_way = display(200, vec![worked_coil(90.0, 65.0); 2]);
    one_way.coils[1].steps = 10;
    one_way.start = coilscore::budget::Start::Warm;
    one_way.rails[0].limit = coilscore::units::Amps(1.5);
    let mut bridge = one_way.clone();
    bridge.coils.iter_mut().for_each(|coil| {
        coil.polarity = Polarity::SignMagnitude;
        coil.steps = coil.steps.min(32_767);
    });
    one_way.coils[0].steps = 32_767;
    let mut forwards = Budget::new(&one_way).unwrap();
    let mut backwards = Budget::new(&bridge).unwrap();
    for frame in 0..20_000 {
        let size = [beat(frame / 20, 0), 1.0];
        let codes: Vec<i32> =
            forwards.permit(&size.map(Share::saturating)).iter().map(|d| d.code()).collect();
        let mirrored: Vec<i32> = backwards
            .permit(&size.map(|s| Share::saturating(-s)))
            .iter()
            .map(|d| -d.code())
            .collect();
        assert_eq!(codes, mirrored);
        let load = forwards.load();
        let sum = load.granted + load.cut_heat + load.cut_rail + load.cut_driver;
        assert!((load.wished - sum).abs() < 1e-8, "frame {frame}: {load:?}");
    }
    let totals = forwards.totals();
    for coil in 0..2 {
        let sum = totals.granted[coil]
            + totals.cut_heat[coil]
            + totals.cut_rail[coil]
            + totals.cut_driver[coil];
        assert!((totals.wished[coil] - sum).abs() < 1e-4);
        assert!(totals.cut_heat[coil] > 0.0 && totals.cut_rail[coil] > 0.0);
    }
    let back = Budget::new(&one_way).unwrap().permit(&[Share::saturating(-1.0)]).to_vec();
    assert!(back.iter().all(|duty| duty.code() == 0));
}

/// A wish of exactly k steps on a cool display comes out as k.
#[test]
fn an_uncut_wish_comes_out_as_wished() {
    let settings = display(200, vec![worked_coil(90.0, 65.0)]);
    let mut budget = Budget::new(&settings).unwrap();
    for code in (0..=65_535).step_by(13) {
        let wish = Share::saturating(f64::from(code) / 65_535.0);
        assert_eq!(budget.permit(&[wish])[0].code(), code);
    }
}
