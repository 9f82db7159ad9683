//! What stands in the files, and when.

use coilscore::budget::{Budget, BudgetSettings, Start};
use coilscore::preset::prepare_display;
use coilscore::run::plan::Bound;
use coilscore::run::{Flow, render, render_planned};
use coilscore::units::{Celsius, Rate, Share};

use super::common::{HOT_RING, UNLIMITED, files, one_band};
use super::{RATE, bursts, job, piece, planned, read, source};

fn loud_ring() -> String {
    one_band("ring", 100.0, 3000.0, -45.0, -20.0)
}

#[test]
fn one_gain_for_each_coil_keeps_the_shape_and_uses_the_heat() {
    let (mapping, display) = files(&loud_ring(), HOT_RING);
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("a.duty");
    let run = planned(vec![piece(bursts(60), 4096, &out)], &job(&mapping, &display, Start::Cold));
    let (head, frames, tail) = read(&out);
    assert_eq!(head.gains, run.plan.gains);
    assert_eq!(head.gains.len(), 24);
    assert!(head.gains.iter().all(|gain| (0.05..0.98).contains(gain)), "{:?}", head.gains);
    assert_eq!(head.version, [1, 1]);
    let gained = tail.gained.unwrap();
    assert_eq!(gained, run.plan.all);
    assert!(gained.likeness[0] > 0.99, "{gained:?}");
    assert!(
        gained.likeness[0] > gained.likeness[1] + 0.05,
        "the clamp must flatten it: {gained:?}"
    );
    assert!(gained.energy_j[0] > gained.energy_j[1], "{gained:?}");
    // The coil with the lowest gain, and when the report says that its heat bounds it.
    let lowest = head.gains.iter().copied().fold(1.0, f64::min);
    let coil = head.gains.iter().position(|gain| gain.to_bits() == lowest.to_bits()).unwrap();
    let Bound::Heat { at_s, .. } = run.plan.bounds[coil] else { panic!("{:?}", run.plan.bounds) };
    let held = tail.held_back.unwrap();
    assert_eq!((&held.coil, held.rail), (&run.plan.names[coil], None));
    assert_eq!((held.gain.to_bits(), held.at_s), (lowest.to_bits(), Some(at_s)));

    // The limiter alone grants more heat and keeps less of the shape; the plan must be near it.
    let alone = dir.path().join("alone.duty");
    let cold = job(&mapping, &display, Start::Cold);
    let ride_less = HOT_RING.replace("hold_ms = 250", "hold_ms = 250\nride_s = 0");
    let (_, still) = files(&loud_ring(), &ride_less);
    let source = source(bursts(60), 4096);
    let still_job = coilscore::run::RenderJob { display: &still, ..cold };
    let report = render(source, &still_job, &alone, &mut |_| Flow::Continue(())).unwrap();
    assert!(report.cut_heat_share > 0.05, "nothing was hot: {report:?}");

    // Wished is granted and cut, gains included, coil by coil.
    for coil in 0..24 {
        let cut = tail.cut_heat[coil] + tail.cut_rail[coil] + tail.cut_driver[coil];
        let sum = tail.granted[coil] + cut;
        assert!((tail.wished[coil] - sum).abs() < 1e-6 * sum, "coil {coil}");
        let [wished, granted, plan, limiter, _, _] = run.plan.duty[coil];
        assert!((plan / wished - (1.0 - head.gains[coil])).abs() < 1e-9, "coil {coil}");
        assert!(limiter < 0.02 * wished, "coil {coil}: the limiter took {limiter} of {wished}");
        assert!(run.plan.coils[coil].likeness[0] > 0.99, "coil {coil}: {:?}", run.plan.coils[coil]);
        assert!(granted > 0.0);
    }
    // The fullest moment comes within a few percent of the bound: nothing is given away.
    let report = &run.songs[0];
    let fills = (report.peak_coil_c - 25.0) / (report.peak_coil_bound_c - 25.0);
    assert!((0.93..=1.0).contains(&fills), "{report:?}");
    assert_eq!(frames.len(), tail.frames as usize);
}

#[test]
fn a_plan_comes_out_the_same_every_time_and_for_any_blocks() {
    let (mapping, display) = files(&loud_ring(), HOT_RING);
    let dir = tempfile::tempdir().unwrap();
    let bytes = |block: usize| {
        let out = dir.path().join("same.duty");
        planned(vec![piece(bursts(30), block, &out)], &job(&mapping, &display, Start::Warm));
        std::fs::read(&out).unwrap()
    };
    let whole = bytes(100_000);
    for block in [160, 1_001] {
        assert!(bytes(block) == whole, "blocks of {block}");
    }
}

#[test]
fn where_nothing_is_hot_the_file_is_the_one_without_a_plan() {
    let (mapping, display) = files(&one_band("one", 100.0, 3000.0, -45.0, -20.0), UNLIMITED);
    let dir = tempfile::tempdir().unwrap();
    let (out, plain) = (dir.path().join("planned.duty"), dir.path().join("plain.duty"));
    let job = job(&mapping, &display, Start::Cold);
    let run = planned(vec![piece(bursts(20), 999, &out)], &job);
    assert!(run.plan.gains.is_empty());
    assert!(run.plan.all.likeness[0] > 0.999, "{:?}", run.plan.all);
    let source = source(bursts(20), 4096);
    render(source, &job, &plain, &mut |_| Flow::Continue(())).unwrap();
    assert!(std::fs::read(&out).unwrap() == std::fs::read(&plain).unwrap());
}

#[test]
fn songs_in_a_row_are_one_run_of_heat() {
    let (mapping, display) = files(&loud_ring(), HOT_RING);
    let dir = tempfile::tempdir().unwrap();
    let path = |name: &str| dir.path().join(name);
    // Whole heat ticks (20 ms), so that the two runs below step alike: 1501 frames would not.
    let pieces = vec![
        piece(bursts(30), 4096, &path("1.duty")),
        piece(bursts(20), 4096, &path("2.duty")),
        piece(bursts(40), 4096, &path("3.duty")),
    ];
    let run = planned(pieces, &job(&mapping, &display, Start::Cold));
    let parts: Vec<_> = ["1.duty", "2.duty", "3.duty"].map(|name| read(&path(name))).into();
    assert_eq!(run.songs.len(), 3);
    assert_eq!(
        (&*parts[0].0.start, &*parts[1].0.start, &*parts[2].0.start),
        ("cold", "nodes", "nodes")
    );
    assert!(parts.iter().all(|part| part.0.gains == parts[0].0.gains), "one set of gains");
    let held: Vec<_> = parts.iter().map(|part| part.2.held_back.clone().unwrap()).collect();
    assert!(held.iter().all(|it| it.coil == held[0].coil), "one coil for all of them: {held:?}");
    let here = held.iter().filter(|it| it.at_s.is_some()).count();
    assert_eq!(here, 1, "its moment is in one of them: {held:?}");

    // All frames as one request to one budget: granted as they stand, and just as warm at the end.
    let rate = Rate::new(RATE, 1).unwrap();
    let (settings, _) = prepare_display(&display, rate, Start::Cold);
    let mut budget = Budget::new(&settings).unwrap();
    let (mut asked, mut granted) = (0, 0);
    for (_, frames, tail) in &parts {
        for frame in frames {
            let wishes: Vec<Share> =
                frame.iter().map(|code| Share::saturating(f64::from(*code) / 4095.0)).collect();
            for (duty, code) in budget.permit(&wishes).iter().zip(frame) {
                asked += code;
                granted += duty.code();
            }
        }
        budget.settle();
        for (node, (one, own)) in budget.load().node_c.iter().zip(&tail.node_c).enumerate() {
            assert!((one - own).abs() < 0.02, "node {node}: {own}, in one run {one}");
        }
    }
    assert!(granted <= asked && f64::from(asked - granted) < 1e-4 * f64::from(asked));
    // Heat went on from song to song: the second one alone, from cold, would have ended cooler.
    let (_, frames, tail) = &parts[1];
    let cool = alone(&settings, frames);
    assert!(tail.node_c[24] > cool[24] + 1.0, "{} after {}", tail.node_c[24], cool[24]);
}

fn alone(settings: &BudgetSettings, frames: &[Vec<i32>]) -> Vec<f64> {
    let mut budget = Budget::new(settings).unwrap();
    for frame in frames {
        let wishes: Vec<Share> =
            frame.iter().map(|code| Share::saturating(f64::from(*code) / 4095.0)).collect();
        budget.permit(&wishes);
    }
    budget.settle();
    budget.load().node_c.to_vec()
}

#[test]
fn a_run_that_is_stopped_leaves_its_part_and_no_file() {
    let (mapping, display) = files(&loud_ring(), HOT_RING);
    let dir = tempfile::tempdir().unwrap();
    let job = job(&mapping, &display, Start::Nodes(vec![Celsius(30.0); 48]));
    // While it is heard, and while it is made again (when the sound is over, and yet asked about).
    for after in [16_000, 8_000 * 100] {
        let out = dir.path().join("stopped.duty");
        let mut over = 0;
        let run = render_planned(vec![piece(bursts(100), 8_000, &out)], &job, &mut |_, heard| {
            over += u32::from(heard >= after);
            if over > u32::from(after > 16_000) { Flow::Break(()) } else { Flow::Continue(()) }
        })
        .unwrap();
        assert!(!run.songs[0].whole, "{:?}", run.songs[0]);
        assert!(!out.exists() && dir.path().join("stopped.duty.part").exists());
    }
}
