//! First and last packet of a run's duty file: what it was made from, what came of it.

use crate::analysis::Arith;
use crate::budget::{Budget, Start};
use crate::coil::fluid::Lag;
use crate::engine::{Engine, Prepared};
use crate::frame::pack::NoPacking;
use crate::frame::{BandHead, Head, LagHead, Packing, Tail, WayHead};
use crate::run::render::RenderJob;

/// The head of the file that a job makes.
///
/// # Errors
/// When no packing holds the driver's steps.
pub(super) fn head(
    job: &RenderJob<'_>,
    engine: &Engine,
    prepared: &Prepared,
) -> Result<Head, NoPacking> {
    let (num, den) = job.rate.ratio();
    let coils = job.display.coil_runs();
    Ok(Head {
        version: crate::frame::record::FORMAT,
        rate: [num, den],
        lead_us: 0,
        lag: job.display.fluid_lag().map(|lag| lag_head(&lag)),
        arith: match job.arith {
            Arith::Native => "native".into(),
            Arith::Portable => "portable".into(),
        },
        packing: Packing::narrowest(&coils)?,
        coils,
        display: job.display.name.clone(),
        mapping: job.mapping.name.clone(),
        display_digest: job.display.digest_hex(),
        mapping_digest: job.mapping.digest_hex(),
        sound_rate_hz: prepared.analysis.sound.rate_hz,
        sound_channels: prepared.analysis.sound.channels,
        room_c: prepared.budget.room.0,
        start: start_word(&job.start).into(),
        gains: Vec::new(),
        bands: bands(engine),
        rails: job.display.rail_heads(),
    })
}

fn lag_head(lag: &Lag) -> LagHead {
    let [rise, fall] = [&lag.rise, &lag.fall].map(|way| WayHead {
        dead_s: way.dead.0,
        natural_rad_per_s: way.response.natural_rad_per_s,
        damping: way.response.damping,
    });
    LagHead { rise, fall }
}

fn bands(engine: &Engine) -> Vec<BandHead> {
    let bands = engine.analysis().bands().iter();
    let head = |band: &crate::analysis::BandInfo| BandHead {
        low_hz: band.request.low_hz.0,
        high_hz: band.request.high_hz.0,
        channel: band.request.channel.to_string(),
        weighting: band.request.weighting.word().into(),
        delay_s: band.delay_s.0,
    };
    bands.map(head).collect()
}

/// The word for a start in heads and reports.
pub fn start_word(start: &Start) -> &'static str {
    match start {
        Start::Cold => "cold",
        Start::Warm => "warm",
        Start::Unknown => "unknown",
        Start::Nodes(_) => "nodes",
    }
}

/// The tail that an engine leaves behind.
pub fn tail(engine: &Engine, sound_digest: String) -> Tail {
    tail_of(engine.budget(), engine.next_frame(), engine.instants(), sound_digest)
}

/// The tail of so many frames of so much sound.
pub(super) fn tail_of(
    budget: &Budget,
    frames: u32,
    sound_instants: u64,
    sound_digest: String,
) -> Tail {
    let totals = budget.totals();
    Tail {
        frames,
        sound_instants,
        sound_digest,
        wished: totals.wished.to_vec(),
        granted: totals.granted.to_vec(),
        cut_heat: totals.cut_heat.to_vec(),
        cut_rail: totals.cut_rail.to_vec(),
        cut_driver: totals.cut_driver.to_vec(),
        node_c: budget.load().node_c.to_vec(),
        gained: None,
        held_back: None,
    }
}
