//! A sheet as headings, tables and sentences.

use super::{Block, BoardLine, CoilLine, RailLine, Sheet};
use crate::preset::Choice as _;

/// What is printed for a value that nobody stated.
const UNKNOWN: &str = "?";

/// The whole sheet, top to bottom.
pub fn blocks(sheet: &Sheet) -> Vec<Block> {
    let mut blocks = vec![
        Block::Title(format!("{}: build sheet", sheet.display)),
        Block::Line(format!(
            "Full current: the whole rail over a winding at room temperature, {} C. For ever: RMS \
             that heat allows at all times with all coils at work; a coil alone may hold more. Wires carry 4 A per mm2 (common practice, no source).",
            sheet.room_c
        )),
    ];
    if !sheet.mend.is_empty() {
        blocks.push(Block::Heading("To mend before power comes on".to_owned()));
        blocks.extend(sheet.mend.iter().cloned().map(Block::Step));
    }
    blocks.push(Block::Heading("Wiring".to_owned()));
    blocks.push(wiring(&sheet.coils));
    blocks.push(Block::Heading("Currents of each coil".to_owned()));
    blocks.push(currents(&sheet.coils));
    blocks.push(Block::Heading("Rails".to_owned()));
    blocks.push(rails(&sheet.rails));
    blocks.push(Block::Line(
        "Spread: pulses spread evenly over the period, all coils at one duty. Ripple: peak to \
         peak, pulses at half duty, without the capacitor's own resistance."
            .to_owned(),
    ));
    blocks.push(Block::Heading("Driver and line".to_owned()));
    blocks.push(Block::Line(driver(sheet)));
    blocks.push(boards(&sheet.boards));
    blocks.push(Block::Heading("Cautions".to_owned()));
    blocks.extend(sheet.cautions.iter().cloned().map(Block::Line));
    blocks.push(Block::Heading("Switching on, in this order".to_owned()));
    blocks.extend(sheet.power_up.iter().cloned().map(Block::Step));
    blocks
}

/// A number with so many digits, or a question mark.
fn maybe(value: Option<f64>, digits: usize, unit: &str) -> String {
    value.map_or_else(|| UNKNOWN.to_owned(), |value| format!("{value:.digits$}{unit}"))
}

/// Coils that differ only by counting up, as one: `ring 1-24` on channels `0-23`.
fn runs(coils: &[CoilLine], cells: impl Fn(&CoilLine) -> Vec<String>) -> Vec<Vec<String>> {
    let mut runs: Vec<(&CoilLine, &CoilLine, Vec<String>)> = Vec::new();
    for coil in coils {
        let rest = cells(coil);
        match runs.last_mut() {
            Some((_, last, known))
                if last.block == coil.block
                    && last.channel.checked_add(1) == Some(coil.channel)
                    && *known == rest =>
            {
                *last = coil;
            }
            _ => runs.push((coil, coil, rest)),
        }
    }
    let row = |(first, last, rest): (&CoilLine, &CoilLine, Vec<String>)| {
        let (mut name, mut channel) = (first.name.clone(), first.channel.to_string());
        if first.channel != last.channel {
            let number = last.name.rsplit(' ').next().unwrap_or_default();
            name = format!("{name}-{number}");
            channel = format!("{channel}-{}", last.channel);
        }
        [name, first.board.to_string(), channel].into_iter().chain(rest).collect()
    };
    runs.into_iter().map(row).collect()
}

fn wiring(coils: &[CoilLine]) -> Block {
    let cells = |coil: &CoilLine| {
        let wire = coil.wire.as_ref();
        vec![
            coil.rail.clone(),
            wire.map_or_else(|| UNKNOWN.to_owned(), |wire| wire.size.clone()),
            maybe(wire.map(|wire| wire.length_m), 2, ""),
            coil.fuse_a.map_or_else(|| UNKNOWN.to_owned(), |amps| amps.to_string()),
            coil.connector_a.map_or_else(|| UNKNOWN.to_owned(), |amps| amps.to_string()),
            format!("{:.2}", coil.ohms_20_c),
        ]
    };
    let head =
        vec!["coil", "board", "channel", "rail", "wire", "m", "fuse A", "contact A", "ohm at 20 C"];
    Block::Table { head, rows: runs(coils, cells) }
}

fn currents(coils: &[CoilLine]) -> Block {
    let cells = |coil: &CoilLine| {
        let wire = coil.wire.as_ref();
        vec![
            format!("{:.3}", coil.full_a),
            format!("{:.3}", coil.steady_a),
            maybe(wire.map(|wire| wire.carries_a), 2, ""),
            maybe(wire.map(|wire| wire.drop_v), 3, ""),
            maybe(wire.map(|wire| wire.drop_percent), 2, ""),
            format!("{:.2}", coil.coil_v),
        ]
    };
    let head = vec![
        "coil",
        "board",
        "channel",
        "full A",
        "for ever A",
        "wire A",
        "drop V",
        "drop %",
        "coil V",
    ];
    Block::Table { head, rows: runs(coils, cells) }
}

fn rails(rails: &[RailLine]) -> Block {
    let row = |rail: &RailLine| {
        vec![
            rail.name.clone(),
            rail.volts.to_string(),
            rail.coils.to_string(),
            rail.limit_a.to_string(),
            format!("{:.2}", rail.mean_a),
            format!("{:.2}", rail.peak_together_a),
            format!("{:.2}", rail.peak_spread_a),
            maybe(rail.ripple_together_v, 3, ""),
            maybe(rail.ripple_spread_v, 4, ""),
            rail.ramp_ms.to_string(),
            rail.slew_a_per_s.map_or_else(|| "any".to_owned(), |slew| slew.to_string()),
        ]
    };
    let head = vec![
        "rail", "V", "coils", "limit A", "mean A", "peak A", "spread A", "ripple V", "spread V",
        "ramp ms", "A/s",
    ];
    Block::Table { head, rows: rails.iter().map(row).collect() }
}

fn driver(sheet: &Sheet) -> String {
    let driver = &sheet.driver;
    let mut text = format!(
        "{}, {} steps, PWM {}, pulses {}, at reset {}, keeps a frame for {} ms",
        driver.kind,
        driver.steps,
        driver.pwm_hz.map_or_else(|| UNKNOWN.to_owned(), |hz| format!("{hz} Hz")),
        driver.stagger.word(),
        driver.at_reset.word(),
        driver.hold_ms
    );
    if let Some(zero_ms) = driver.bridge_zero_ms {
        text += &format!(", {zero_ms} ms of zero between signs");
    }
    if driver.least_duty > 0.0 {
        text += &format!(", nothing below {:.2} % duty", driver.least_duty * 100.0);
    }
    let dead = sheet.rails.iter().map(|rail| rail.dead_duty).fold(0.0, f64::max);
    if dead > 0.0 {
        text +=
            &format!(", the diode takes all of a smooth current below {:.2} % duty", dead * 100.0);
    }
    text + "."
}

fn boards(boards: &[BoardLine]) -> Block {
    let row = |board: &BoardLine| {
        vec![
            board.board.to_string(),
            board.channels.to_string(),
            board.packet_bytes.to_string(),
            maybe(board.line_bytes_per_s, 0, ""),
            maybe(board.line_frames_per_s, 2, ""),
            maybe(board.bus_frames_per_s, 2, ""),
            maybe(board.fastest_pwm_hz, 0, ""),
            maybe(board.most_steps, 0, ""),
            maybe(board.frames_per_s, 2, ""),
        ]
    };
    let head = vec![
        "board",
        "channels",
        "packet B",
        "line B/s",
        "line 1/s",
        "bus 1/s",
        "PWM Hz at most",
        "steps at most",
        "frames 1/s at most",
    ];
    Block::Table { head, rows: boards.iter().map(row).collect() }
}
