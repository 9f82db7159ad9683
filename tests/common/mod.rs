//! What several test programs share: small displays and mappings as text, and sound through the
//! engine in any chunking.
#![allow(dead_code, reason = "each test program uses a part of this")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "tests stop at the first surprise"
)]

use coilscore::analysis::Arith;
use coilscore::audio::{SampleBlock, SoundFormat};
use coilscore::budget::{BudgetSettings, Pull, PullRange, PullSettings, Start};
use coilscore::coil::lift::PullLaw;
use coilscore::engine::{Engine, Prepared};
use coilscore::frame::{BandHead, CoilRun, Head, Packing, RailHead};
use coilscore::preset::{Display, Mapping, display, mapping, prepare};
use coilscore::units::{Amps, Rate, Seconds, Volts};

/// One coil that nothing ever limits, driven to the last step: what it does is what was asked.
pub(crate) const UNLIMITED: &str = r#"
schema = 1
name = "unlimited bench coil (invented)"
room_c = 20
[driver]
steps = 65535
polarity = "one_way"
hold_ms = 250
[[rail]]
name = "bench"
volts = 5
limit_a = 10
[[coil_type]]
name = "cool"
resistance_ohm = 50
reference_c = 20
coil_j_per_k = 400
backing_j_per_k = 4000
coil_to_backing_k_per_w = 0.5
backing_to_around_k_per_w = 0.5
coil_limit_c = 90
backing_limit_c = 60
trust = "estimate"
[[coils]]
group = "one"
type = "cool"
rail = "bench"
board = 0
first_channel = 0
place.at = { mm = [[0, 0]] }
"#;

/// Twenty-four coils that music takes to their limit within seconds.
pub(crate) const HOT_RING: &str = r#"
schema = 1
name = "hot ring (invented)"
room_c = 25
[driver]
steps = 4095
polarity = "one_way"
hold_ms = 250
[neighbours]
within_mm = 45
coils_w_per_k = 0.01
backings_w_per_k = 0.15
[[rail]]
name = "main"
volts = 24
limit_a = 50
[[coil_type]]
name = "small"
resistance_ohm = 13.4
reference_c = 20
coil_j_per_k = 1.0
backing_j_per_k = 2.0
coil_to_backing_k_per_w = 2.5
backing_to_around_k_per_w = 15
coil_limit_c = 80
backing_limit_c = 60
trust = "estimate"
[[coils]]
group = "ring"
type = "small"
rail = "main"
board = 0
first_channel = 0
place.ring = { count = 24, radius_mm = 150, start_deg = 90, clockwise = true, centre_mm = [0, 0] }
"#;

/// A mapping with one route that hears one band against fixed levels, at once.
pub(crate) fn one_band(
    group: &str,
    low_hz: f64,
    high_hz: f64,
    floor_dbfs: f64,
    full_dbfs: f64,
) -> String {
    format!(
        r#"
schema = 1
name = "one band"
intent = "what the band does, the coils do"
combine = "max"
rest_ms = 1000
quiet.fixed = {{ level_dbfs = -100 }}
[[route]]
name = "only"
channel = "all"
hears.band = {{ low_hz = {low_hz}, high_hz = {high_hz} }}
range.fixed = {{ floor_dbfs = {floor_dbfs}, full_dbfs = {full_dbfs} }}
curve = "straight"
attack_ms = 0
hold_ms = 0
release_ms = 0
moves.level_all = {{ group = "{group}" }}
weight = 1.0
"#
    )
}

/// A mapping that uses every motion, curve and combination at once.
pub(crate) const BUSY: &str = r#"
schema = 1
name = "busy"
intent = "everything at once, for tests"
combine = "add"
rest_ms = 500
quiet = "follow"
[[route]]
name = "low"
channel = "all"
hears.band = { low_hz = 40, high_hz = 120 }
range.follow = { floor_db = -30, full_db = -3 }
curve = "soft"
attack_ms = 2
hold_ms = 40
release_ms = 150
moves.level_all = { group = "ring" }
weight = 0.8
[[route]]
name = "voice"
channel = "mid"
weighting = "a"
hears.scale_band = { scale = "octave", nominal_hz = 1000 }
range.fixed = { floor_dbfs = -50, full_dbfs = -10 }
curve.power = { exponent = 1.5 }
attack_ms = 10
hold_ms = 0
release_ms = 300
moves.column = { group = "ring", towards_deg = 90, edge_mm = 30 }
weight = 0.7
[[route]]
name = "spread"
channel = "side"
hears.bands = { scale = "bark", from_band = 2, to_band = 20 }
weighting = "a"
range.follow = { floor_db = -24, full_db = 0 }
curve = "straight"
attack_ms = 0
hold_ms = 0
release_ms = 60
moves.along = { group = "ring", towards_deg = 0 }
weight = 1.0
[[route]]
name = "spot"
hears.edges = { hz = [100, 300, 900, 2700] }
range.follow = { floor_db = -12, full_db = 0 }
moves.carry = { group = "ring", path = "ring", spot_mm = 90, fastest_mm_per_s = 300 }
weight = 0.4
[[route]]
name = "front"
hears.band = { low_hz = 3000, high_hz = 9000 }
range.follow = { floor_db = -12, full_db = 0 }
moves.outward = { group = "ring", from_mm = [0, -200], mm_per_s = 700, fade_per_m = 0.5 }
weight = 0.4
"#;

/// Reads both texts.
pub(crate) fn files(mapping_text: &str, display_text: &str) -> (Mapping, Display) {
    let mapping = mapping::read("test mapping", mapping_text).unwrap_or_else(|e| panic!("{e}"));
    let display = display::read("test display", display_text).unwrap_or_else(|e| panic!("{e}"));
    (mapping, display)
}

/// Settings for a sound and a frame rate, from cold, portable arithmetic.
pub(crate) fn prepared(
    mapping_text: &str,
    display_text: &str,
    rate_hz: u32,
    channels: u16,
    frame_rate: &str,
) -> Prepared {
    let (mapping, display) = files(mapping_text, display_text);
    let rate: Rate = frame_rate.parse().expect("a frame rate");
    let sound = SoundFormat { rate_hz, channels };
    let ready = prepare(&mapping, &display, sound, rate, Start::Cold, Arith::Portable);
    ready.unwrap_or_else(|e| panic!("{e}")).0
}

/// Gives every coil a law of pull and lets wishes span `range`; a magnet of half the lifting pull,
/// full current at 20 C, 150 ms to rise.
pub(crate) fn lay_law(budget: &mut BudgetSettings, range: PullRange) {
    for coil in &mut budget.coils {
        let volts = budget.rails.get(coil.rail).expect("its rail").volts;
        coil.pull = Pull::Law(PullSettings {
            law: PullLaw { q0: 0.5, c1: 1.51321, c2: 0.777_090 },
            full: Amps(volts.0 / coil.resistance.0),
            most_u: 1.0,
            drop_share: 0.6,
            switch_drop: Volts(0.0),
            freewheel_drop: Volts(0.5),
            rise: Seconds(0.15),
            release: Seconds(0.1),
            range,
        });
    }
}

/// Every frame's codes, the sound cut into the given lengths (in instants; repeated as needed).
pub(crate) fn codes(prepared: &Prepared, samples: &[f32], chunks: &[usize]) -> Vec<Vec<i32>> {
    let mut engine = Engine::new(prepared).unwrap_or_else(|e| panic!("{e}"));
    let channels = prepared.analysis.sound.channels;
    let mut frames = Vec::new();
    let mut rest = SampleBlock::new(samples, channels).expect("whole instants");
    let mut lengths = chunks.iter().copied().cycle();
    while rest.instants() > 0 {
        let (mut chunk, after) = rest.split_at(lengths.next().expect("some chunk length"));
        rest = after;
        loop {
            let (left, step) = engine.step(chunk);
            let Some(step) = step else { break };
            assert_eq!(step.number as usize, frames.len(), "frames come in order");
            frames.push(step.duties.iter().map(|duty| duty.code()).collect());
            chunk = left;
        }
    }
    if let Some(step) = engine.finish() {
        frames.push(step.duties.iter().map(|duty| duty.code()).collect());
    }
    frames
}

/// A file head that fits an engine, with what does not matter left plain.
pub(crate) fn head(engine: &Engine, settings: &Prepared) -> Head {
    let (num, den) = settings.budget.frame_rate.ratio();
    let first = settings.budget.coils.first().expect("a coil");
    let count = u32::try_from(settings.budget.coils.len()).expect("few coils");
    let band = |band: &coilscore::analysis::BandInfo| BandHead {
        low_hz: band.request.low_hz.0,
        high_hz: band.request.high_hz.0,
        channel: band.request.channel.to_string(),
        weighting: band.request.weighting.word().into(),
        delay_s: band.delay_s.0,
    };
    let rail = |rail: &coilscore::budget::Rail| RailHead {
        name: rail.name.clone(),
        volts: rail.volts.0,
        limit_a: rail.limit.0,
    };
    Head {
        version: coilscore::frame::record::FORMAT,
        rate: [num, den],
        lead_us: 0,
        lag: None,
        arith: "portable".into(),
        coils: vec![CoilRun { count, steps: first.steps, two_way: false }],
        packing: if first.steps > 4095 { Packing::Word } else { Packing::Twelve },
        display: "test".into(),
        mapping: "test".into(),
        display_digest: "00".repeat(16),
        mapping_digest: "00".repeat(16),
        sound_rate_hz: settings.analysis.sound.rate_hz,
        sound_channels: settings.analysis.sound.channels,
        room_c: settings.budget.room.0,
        start: "cold".into(),
        bands: engine.analysis().bands().iter().map(band).collect(),
        rails: settings.budget.rails.iter().map(rail).collect(),
    }
}
