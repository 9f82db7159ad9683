//! `coilscore coil`: what a coil comes to, from its geometry, before it is ordered.

use std::path::{Path, PathBuf};

use clap::Subcommand;
use coilscore::coil::figures::{Use, figures};
use coilscore::coil::geometry::{Group, Shape, SpiralShape, WireSize, WoundShape};
use coilscore::coil::inductance::sings;
use coilscore::coil::iron::Iron;
use coilscore::coil::sweep::Sweep;
use coilscore::coil::winding::Winding;
use coilscore::picture::curves;
use coilscore::units::{Celsius, Hertz, KelvinPerWatt, Volts};

use super::coil_print::{Asked, csv, curves_of, json, json_rows, table, text};
use super::{Failure, Outcome, inputs, print, tell, write_whole};

/// Flags as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    #[command(subcommand)]
    kind: Kind,
}

#[derive(Debug, Subcommand)]
enum Kind {
    /// A flat spiral on a board, one or more layers
    Spiral(SpiralArgs),
    /// Enamelled wire on a bobbin
    Wound(WoundArgs),
}

// So that -5 is refused as a size, not as a flag.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
struct SpiralArgs {
    /// Diameter of the free middle: inner edge of the innermost copper, mm
    #[arg(long)]
    inner_mm: f64,
    /// Diameter over all copper, mm
    #[arg(long)]
    outer_mm: f64,
    /// Width of the trace, mm
    #[arg(long)]
    trace_mm: f64,
    /// Space between traces, mm
    #[arg(long)]
    space_mm: f64,
    /// Copper layers in series
    #[arg(long, default_value_t = 1)]
    layers: u32,
    /// Finished copper, um: one thickness for all layers, or one for each, front to back: 45,30,30,45
    #[arg(long, value_delimiter = ',', default_value = "35")]
    copper_um: Vec<f64>,
    /// From one copper layer to the next, middle to middle, mm
    #[arg(long, default_value_t = 0.2)]
    layer_pitch_mm: f64,
    #[command(flatten)]
    work: WorkArgs,
}

// So that -5 is refused as a size, not as a flag.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
struct WoundArgs {
    /// Diameter of the bobbin's core, mm
    #[arg(long)]
    inner_mm: f64,
    /// Diameter up to which wire is wound, mm
    #[arg(long)]
    outer_mm: f64,
    /// Between the flanges, mm
    #[arg(long)]
    length_mm: f64,
    /// Bare wire, mm
    #[arg(long, required_unless_present = "awg", conflicts_with = "awg")]
    wire_mm: Option<f64>,
    /// Bare wire by its gauge
    #[arg(long)]
    awg: Option<u32>,
    /// Enamel on one side, um
    #[arg(long, default_value_t = 20.0)]
    enamel_um: f64,
    #[command(flatten)]
    work: WorkArgs,
}

/// Where and how the coil works, and what is wanted.
#[derive(Debug, clap::Args)]
struct WorkArgs {
    /// From the front copper to the fluid, mm
    #[arg(long, default_value = "8", value_parser = between(0.1, 300.0))]
    fluid_mm: f64,
    /// From the coil's axis to the fluid, mm
    #[arg(long, default_value = "0", value_parser = between(0.0, 300.0))]
    aside_mm: f64,
    /// Supply, V
    #[arg(long, default_value = "12", value_parser = between(0.5, 100.0))]
    volts: f64,
    /// PWM frequency, Hz; left out: the one worth using
    #[arg(long, value_parser = between(10.0, 1e6))]
    pwm_hz: Option<f64>,
    /// Coils of a group in series
    #[arg(long, default_value_t = 1)]
    series: u32,
    /// Strings of a group side by side
    #[arg(long, default_value_t = 1)]
    parallel: u32,
    /// From winding to room, K/W; left out: a bare coil in still air (an estimate)
    #[arg(long, value_parser = between(0.05, 1000.0))]
    to_room_k_per_w: Option<f64>,
    /// Room, C
    #[arg(long, default_value = "35", value_parser = between(-20.0, 60.0))]
    room_c: f64,
    /// Highest temperature of the winding, C
    #[arg(long, default_value = "90", value_parser = between(0.0, 200.0))]
    limit_c: f64,
    /// Iron behind the coil: from the last copper to its face, mm; left out: no iron
    #[arg(long, value_parser = between(0.01, 50.0))]
    iron_gap_mm: Option<f64>,
    /// Thickness of the iron, mm
    #[arg(long, default_value = "5", value_parser = between(0.1, 100.0), requires = "iron_gap_mm")]
    iron_mm: f64,
    /// Diameter of a disc of iron, mm; left out: a plate under all coils
    #[arg(long, value_parser = between(2.0, 1000.0), requires = "iron_gap_mm")]
    iron_diameter_mm: Option<f64>,
    /// Relative permeability of the iron
    #[arg(long, default_value = "1000", value_parser = between(1.0, 1e6), requires = "iron_gap_mm")]
    iron_mu_r: f64,
    /// Vary one size: layers=2..16, or with a step trace=0.2..1:0.1
    #[arg(long, value_name = "NAME=FROM..TO")]
    sweep: Option<Sweep>,
    /// Write the sweep as a table
    #[arg(long, value_name = "FILE.csv", requires = "sweep")]
    out: Option<PathBuf>,
    /// Draw the sweep
    #[arg(long, value_name = "FILE.png", requires = "sweep")]
    picture: Option<PathBuf>,
    /// Print the figures as JSON
    #[arg(long)]
    json: bool,
}

/// Reads a number within limits; NaN lies within none.
fn between(low: f64, high: f64) -> impl Fn(&str) -> Result<f64, String> + Clone + Send + Sync {
    move |text| match text.trim().parse::<f64>() {
        Ok(value) if (low..=high).contains(&value) => Ok(value),
        _ => Err(format!("write a number from {low} to {high}")),
    }
}

/// Reckons and prints.
pub(super) fn run(args: &Args) -> Outcome {
    let (shape, work) = match &args.kind {
        Kind::Spiral(spiral) => (spiral_shape(spiral)?, &spiral.work),
        Kind::Wound(wound) => (Shape::Wound(wound_shape(wound)), &wound.work),
    };
    let group = Group::new(work.series, work.parallel).ok_or_else(|| {
        Failure::Refused("--series and --parallel count coils: 1 or more".to_owned())
    })?;
    let winding = shape.wind().map_err(Failure::refused)?;
    let at = use_of(&winding, group, work);
    let asked = Asked { at, to_room_is_estimate: work.to_room_k_per_w.is_none() };
    match &work.sweep {
        Some(sweep) => swept(sweep, &shape, &asked, work),
        None => one(&shape, &asked, work),
    }
}

/// As the geometry has it.
const MOST_LAYERS: usize = 64;

fn spiral_shape(args: &SpiralArgs) -> Result<Shape, Failure> {
    let layers = args.layers as usize;
    if layers > MOST_LAYERS {
        return Err(Failure::Refused(format!(
            "--layers {layers}: boards have 1 to {MOST_LAYERS} copper layers"
        )));
    }
    let copper_um = match args.copper_um.as_slice() {
        [one] => vec![*one; layers],
        each if each.len() == layers => each.to_vec(),
        each => {
            return Err(Failure::Refused(format!(
                "--copper-um names {} layers, --layers says {layers}: give one thickness, or one for \
                 each layer",
                each.len()
            )));
        }
    };
    Ok(Shape::Spiral(SpiralShape {
        inner_mm: args.inner_mm,
        outer_mm: args.outer_mm,
        trace_mm: args.trace_mm,
        space_mm: args.space_mm,
        copper_um,
        layer_pitch_mm: args.layer_pitch_mm,
    }))
}

fn wound_shape(args: &WoundArgs) -> WoundShape {
    let by_gauge = args.awg.map(WireSize::Awg);
    let wire = by_gauge.unwrap_or(WireSize::Metric(args.wire_mm.unwrap_or(f64::NAN)));
    WoundShape {
        inner_mm: args.inner_mm,
        outer_mm: args.outer_mm,
        length_mm: args.length_mm,
        wire,
        enamel_um: args.enamel_um,
    }
}

/// Heat that still air takes from a surface, radiation included, W/m2K (common practice, no source).
const STILL_AIR: f64 = 10.0;

/// How a winding is used.
fn use_of(winding: &Winding, group: Group, work: &WorkArgs) -> Use {
    let iron = work.iron_gap_mm.map(|gap_mm| Iron::Plate {
        face_z_m: -winding.depth_m() - gap_mm * 1e-3,
        thickness_m: work.iron_mm * 1e-3,
        radius_m: work.iron_diameter_mm.map_or(f64::INFINITY, |mm| mm * 5e-4),
        mu_r: work.iron_mu_r,
    });
    // Both faces of a disc, and the rim of a long coil.
    let radius_m = winding.radii_m().last().copied().unwrap_or(0.0);
    let surface_m2 = core::f64::consts::TAU * radius_m * (radius_m + winding.depth_m());
    let estimate = 1.0 / (STILL_AIR * surface_m2);
    Use {
        iron,
        r_m: work.aside_mm * 1e-3,
        z_m: work.fluid_mm * 1e-3,
        group,
        supply: Volts(work.volts),
        pwm: work.pwm_hz.map(Hertz),
        to_room: KelvinPerWatt(work.to_room_k_per_w.unwrap_or(estimate)),
        room: Celsius(work.room_c),
        limit: Celsius(work.limit_c),
    }
}

fn one(shape: &Shape, asked: &Asked, work: &WorkArgs) -> Outcome {
    if work.limit_c <= work.room_c {
        return Err(Failure::Refused(format!(
            "--limit-c {}: not above the room, which has {} C (--room-c)",
            work.limit_c, work.room_c
        )));
    }
    let sheet = figures(shape, &asked.at).map_err(Failure::refused)?;
    if let Some(advice) = sheet.resistance.advice() {
        tell(&format!("coilscore: {advice}"));
    }
    if let Some(pwm) = asked.at.pwm.filter(|pwm| sings(*pwm)) {
        tell(&format!(
            "coilscore: at {:.0} Hz a coil near a magnet sings: take {:.0} Hz or more",
            pwm.0, sheet.pwm.0
        ));
    }
    if work.json {
        return print(&format!("{:#}\n", json(&sheet, asked)));
    }
    print(&text(shape, &sheet, asked))
}

fn swept(sweep: &Sweep, shape: &Shape, asked: &Asked, work: &WorkArgs) -> Outcome {
    let outputs: Vec<&Path> =
        [work.out.as_deref(), work.picture.as_deref()].into_iter().flatten().collect();
    inputs::keep_apart(&[], &outputs)?;
    let rows = sweep
        .run(shape, |winding| use_of(winding, asked.at.group, work))
        .map_err(Failure::refused)?;
    if let Some(out) = &work.out {
        write_whole(out, csv(sweep, &rows).as_bytes())?;
    }
    if let Some(out) = &work.picture {
        let mut png = Vec::new();
        curves::draw(&curves_of(sweep, shape, &rows, asked), &mut png).map_err(Failure::failed)?;
        write_whole(out, &png)?;
    }
    if work.json {
        return print(&format!("{:#}\n", json_rows(sweep, &rows, asked)));
    }
    print(&table(sweep, &rows, asked))
}
