//! Cold displays bound by their heat and by their supply: every coil moves as it was wished, and gets
//! at least twice what a fixed clamp would grant.

use coilscore::audio::{SampleBlock, SoundFormat};
use coilscore::budget::{Clamp, Start};
use coilscore::engine::Engine;
use coilscore::preset::{Display, Mapping, prepare};
use coilscore::run::plan::{Bound, PlanReport, Tally};
use coilscore::units::Seconds;

use super::common::{HOT_RING, files, one_band};
use super::{RATE, SOUND_HZ, bursts, job, piece, planned, read};

/// Seconds of song.
const SONG_S: usize = 40;

fn loud() -> String {
    one_band("ring", 100.0, 3000.0, -45.0, -20.0)
}

/// Much iron: in one song no coil gets warm. The supply is good for a third of what all coils take.
fn short_of_supply() -> String {
    HOT_RING
        .replace("limit_a = 50", "limit_a = 14\nramp_ms = 200")
        .replace("coil_j_per_k = 1.0", "coil_j_per_k = 40")
        .replace("backing_j_per_k = 2.0", "backing_j_per_k = 400")
}

/// What is planned for so many songs of so many seconds.
fn songs(display: &str, songs: usize, seconds: usize) -> PlanReport {
    let (mapping, display) = files(&loud(), display);
    let dir = tempfile::tempdir().unwrap();
    let job = job(&mapping, &display, Start::Cold);
    let one = |number| piece(bursts(seconds), 4096, &dir.path().join(format!("{number}.duty")));
    planned((0..songs).map(one).collect(), &job).plan
}

/// A fifth of a second at the start of every song, in which no gain gets more out of the supply, must
/// not turn down all that follows: a short song has as much of it as a long one.
#[test]
fn a_supply_that_comes_up_turns_down_no_more_than_itself() {
    for number in [1, 3] {
        let energy_j = |display: &str| songs(display, number, 5).all.energy_j[0];
        let with = energy_j(&short_of_supply());
        let without = energy_j(&short_of_supply().replace("ramp_ms = 200", ""));
        println!("{number}: {with} J of {without} J");
        // A twenty-fifth of each song lies in the ramp, and that at its loudest.
        assert!(with > 0.88 * without, "{number} songs: {with} J of {without} J");
    }
}

#[test]
fn a_song_that_ends_before_its_supply_has_come_up_is_not_turned_down() {
    let plan = songs(&short_of_supply().replace("ramp_ms = 200", "ramp_ms = 5000"), 2, 2);
    assert!(plan.gains.is_empty(), "{:?}", plan.gains);
    for coil in &plan.coils {
        assert!((0.1..0.99).contains(&coil.likeness[0]), "{coil:?}");
    }
}

/// Lowest likeness of any coil with the limiter and the supply alone.
fn likeness_alone(mapping: &Mapping, display: &Display) -> f64 {
    alone(mapping, display).coils().map(|coil| coil.likeness[0]).fold(1.0, f64::min)
}

/// What came of the song with the limiter and the supply alone.
fn alone(mapping: &Mapping, display: &Display) -> Tally {
    let job = job(mapping, display, Start::Cold);
    let sound = SoundFormat { rate_hz: SOUND_HZ, channels: 1 };
    let (mut prepared, _) =
        prepare(mapping, display, sound, job.rate, Start::Cold, job.arith).unwrap();
    prepared.budget.ride = Seconds(0.0);
    let mut engine = Engine::new(&prepared).unwrap();
    let steps = prepared.budget.coils.iter().map(|coil| coil.steps);
    let clamp = Clamp::new(&prepared.budget).unwrap();
    let mut tally = Tally::new(clamp, steps, 1.0 / f64::from(RATE));
    let samples = bursts(SONG_S);
    let mut rest = SampleBlock::new(&samples, 1).unwrap();
    while let (left, Some(step)) = engine.step(rest) {
        tally.add(step.wishes, step.budget);
        rest = left;
    }
    tally
}

fn plan_of(mapping: &Mapping, display: &Display) -> PlanReport {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("bound.duty");
    let job = job(mapping, display, Start::Cold);
    let plan = planned(vec![piece(bursts(SONG_S), 4096, &out)], &job).plan;
    // What the picture tells is what the report tells.
    let held = read(&out).2.held_back.unwrap();
    let coil = plan.names.iter().position(|name| *name == held.coil).unwrap();
    let (rail, bound_s) = match plan.bounds[coil] {
        Bound::Nothing => panic!("{held:?}"),
        Bound::Heat { at_s, .. } => (None, at_s),
        Bound::Rail { rail, at_s, .. } => (Some(plan.rails[rail].clone()), at_s),
    };
    assert_eq!((held.rail, held.at_s), (rail, Some(bound_s)));
    plan
}

fn is_alike_and_worth_it(plan: &PlanReport) {
    for (coil, gained) in plan.coils.iter().enumerate() {
        assert!(gained.likeness[0] > 0.99, "coil {coil}: {gained:?}");
        let times = gained.energy_j[0] / gained.energy_j[1];
        assert!(times >= 2.0, "coil {coil}: {times} times the clamp's energy");
    }
    assert!(plan.gains.iter().all(|gain| (0.05..1.0).contains(gain)), "{:?}", plan.gains);
}

#[test]
fn bound_by_heat_a_cold_display_keeps_the_shape_at_twice_the_clamp() {
    let (mapping, display) = files(&loud(), HOT_RING);
    let alone = likeness_alone(&mapping, &display);
    assert!(alone < 0.97, "the limiter flattens nothing: {alone}");
    let plan = plan_of(&mapping, &display);
    is_alike_and_worth_it(&plan);
    for bound in &plan.bounds {
        let Bound::Heat { song: 0, at_s, now_c, bound_c } = *bound else { panic!("{bound:?}") };
        assert!((5.0..=SONG_S as f64).contains(&at_s), "{bound:?}");
        assert!((bound_c - 2.0..bound_c + 1e-6).contains(&now_c), "{bound:?}");
    }
}

#[test]
fn bound_by_its_supply_it_does_so_too() {
    let (mapping, display) = files(&loud(), &short_of_supply());
    let alone = likeness_alone(&mapping, &display);
    assert!(alone < 0.98, "the supply flattens nothing: {alone}");
    let plan = plan_of(&mapping, &display);
    is_alike_and_worth_it(&plan);
    for bound in &plan.bounds {
        let Bound::Rail { rail: 0, song: 0, at_s } = *bound else { panic!("{bound:?}") };
        // Not while the supply comes up, when it takes from everyone.
        assert!(at_s > 0.2, "{bound:?}");
    }
    // Peaks are left to it, and no more than peaks: a gain that gives supply away is no plan.
    for (coil, [wished, _, _, limiter, rail, _]) in plan.duty.iter().enumerate() {
        assert!(*limiter < 1e-9, "coil {coil}: {limiter} by heat");
        let part = rail / wished;
        assert!((1e-4..0.03).contains(&part), "coil {coil}: {part} by the supply");
    }
}

/// A supply that needs a seventh of a second to rise to its limit costs likeness under every gain. No
/// coil is turned down for it to less than twice the clamp's energy, or than half of what it has without.
#[test]
fn a_supply_that_rises_slowly_does_not_turn_everything_down() {
    let text = HOT_RING.replace("limit_a = 50", "limit_a = 9.4\nslew_a_per_s = 70");
    let (mapping, display) = files(&loud(), &text);
    let without = alone(&mapping, &display);
    let plan = songs(&text, 1, SONG_S);
    for (without, coil) in without.coils().zip(&plan.coils) {
        let [energy_j, clamp_j] = coil.energy_j;
        println!(
            "{} J of {} J, clamp {clamp_j} J; {:?}",
            energy_j, without.energy_j[0], coil.likeness
        );
        assert!(energy_j > 0.98 * (2.0 * clamp_j).min(0.5 * without.energy_j[0]), "{coil:?}");
        assert!(coil.likeness[0] > without.likeness[0] + 0.2, "{coil:?} from {without:?}");
    }
}

/// A supply that is good for a twentieth of its coils: the gain is far below what heat allows.
#[test]
fn far_short_of_supply_a_plan_is_found_too() {
    let text = short_of_supply().replace("limit_a = 14", "limit_a = 2.3");
    let (mapping, display) = files(&loud(), &text);
    let without = alone(&mapping, &display).gained().energy_j[0];
    let plan = songs(&text, 1, SONG_S);
    println!("{:?} without {without} J, gains {:?}", plan.all, plan.gains);
    assert!(plan.all.likeness[0] > 0.985, "{:?}", plan.all);
    assert!(plan.all.energy_j[0] > 0.55 * without, "{:?} of {without} J", plan.all);
}
