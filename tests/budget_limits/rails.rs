//! Supplies that are too small for all coils at once.

use coilscore::budget::{Budget, BudgetSettings};
use coilscore::units::{Amps, Share};

use super::nets::{Demand, Dice, rail, random};
use super::plant::{Plant, heat_of};

fn two_rails(dice: &mut Dice, coils: usize) -> BudgetSettings {
    let mut settings = random(dice, coils);
    settings.rails.push(rail("second", 24.0, 1.0));
    let limit = dice.between(0.2, 8.0);
    settings.rails[0].limit = Amps(limit);
    settings.rails[1].limit = Amps(limit / 2.0);
    for coil in &mut settings.coils {
        coil.rail = dice.one_of(&[0, 1]);
    }
    settings
}

#[test]
fn rails_only_lower_and_never_give_more_than_they_may() {
    for seed in 0..60 {
        let mut dice = Dice(seed);
        let settings = two_rails(&mut dice, 24);
        let mut free = settings.clone();
        free.rails.iter_mut().for_each(|rail| rail.limit = Amps(f64::INFINITY));
        let mut budget = Budget::new(&settings).unwrap();
        let demand = Demand::any(&mut dice);
        let mut wishes = vec![Share::NONE; 24];
        // A real display may be as cold as the room whatever the model believes.
        let mut plant = Plant::new(&settings);
        for frame in 0..60 {
            demand.wishes(&mut dice, frame, &mut wishes);
            // What heat alone would allow now.
            let heats = budget.load().node_c.iter().map(|&c| coilscore::units::Celsius(c));
            free.start = coilscore::budget::Start::Nodes(heats.collect());
            let mut unfed = Budget::new(&free).unwrap();
            let allowed: Vec<i32> = unfed.permit(&wishes).iter().map(|duty| duty.code()).collect();
            let mut now =
                Budget::new(&BudgetSettings { start: free.start.clone(), ..settings.clone() })
                    .unwrap();
            let codes: Vec<i32> = now.permit(&wishes).iter().map(|duty| duty.code()).collect();
            budget.permit(&wishes);
            check(&settings, &plant, &allowed, &codes);
            plant.hold(&codes, settings.frame_rate.period().0, |_| {});
        }
    }
}

fn check(settings: &BudgetSettings, plant: &Plant, allowed: &[i32], codes: &[i32]) {
    let amps = plant.supply_a(codes);
    for (index, rail) in settings.rails.iter().enumerate() {
        let own: Vec<usize> = (0..24).filter(|&i| settings.coils[i].rail == index).collect();
        let given: f64 = own.iter().map(|&i| amps[i]).sum();
        assert!(given <= rail.limit.0 * (1.0 + 1e-9), "{} gives {given} A", rail.name);
        let lowered = |i: &&usize| codes[**i].abs() < allowed[**i].abs();
        let Some(first) = own.iter().filter(lowered).map(|&i| settings.coils[i].priority).min()
        else {
            continue;
        };
        for &i in &own {
            assert!(codes[i].abs() <= allowed[i].abs(), "coil {i} was raised");
            match settings.coils[i].priority.cmp(&first) {
                std::cmp::Ordering::Less => {
                    assert_eq!(codes[i], allowed[i], "coil {i} comes first")
                }
                std::cmp::Ordering::Greater => {
                    assert_eq!(codes[i], 0, "coil {i} was served before its turn");
                }
                std::cmp::Ordering::Equal => {}
            }
        }
        // Within the priority at which it runs short: the same share of each one's heat, down to
        // one step of the driver and what the chords of the heat table are worth.
        let driven = |i: &usize| settings.coils[*i].priority == first && allowed[*i] != 0;
        let (mut most, mut least): (f64, f64) = (0.0, 1.0);
        for i in own.into_iter().filter(driven) {
            let heat = |code: i32| heat_of(&plant.coils[i], code);
            most = most.max((heat(codes[i]) - 3e-4) / heat(allowed[i]));
            least = least.min((heat(codes[i].abs() + 1) + 3e-4) / heat(allowed[i]));
        }
        assert!(most <= least, "{}: {most} to one, {least} to another", rail.name);
    }
}
