//! The build sheet against tables and hand arithmetic.
//!
//! The display is invented. Every figure of its sheet is worked out in the comment beside it.

#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::float_cmp,
    reason = "tests stop at the first surprise"
)]

use coilscore::budget::{Duty, Start};
use coilscore::coil::harness::{awg_area_mm2, pair_resistance};
use coilscore::frame::Packing;
use coilscore::frame::wire::Encoder;
use coilscore::preset::{display, prepare_display};
use coilscore::sheet::{Sheet, blocks, build, text};
use coilscore::units::{Celsius, Rate};

/// Twelve coils of 10 ohm (at 20 C, and the room is at 20 C) on 12 V; slow PWM is assumed, as the
/// inductance is left out.
const DISPLAY: &str = r#"
schema = 1
name = "Sheet by hand"
room_c = 20
[driver]
pwm_hz = 20_000
steps = 1000
kind.timer = { clock_hz = 48_000_000 }
stagger = "spread"
min_on_us = 1
switch_drop_v = 0.2
diode_drop_v = 0.5
at_reset = "off"
[link]
baud = 115_200
[magnet]
grade = "H"
[[rail]]
name = "main"
volts = 12
limit_a = 3.6
ramp_ms = 150
slew_a_per_s = 50
capacitor_uf = 1000
[[coil_type]]
name = "round"
resistance_ohm = 10
coil_j_per_k = 4
backing_j_per_k = 25
coil_to_backing_k_per_w = 2.5
backing_to_around_k_per_w = 15
trust.fit = { margin_percent = 0, power_percent = 0 }
[[coils]]
group = "ring"
type = "round"
rail = "main"
first_channel = 4
wire = { area_mm2 = 0.5, length_m = 1.45 }
connector_a = 2
fuse_a = 1.5
place.ring = { count = 12, radius_mm = 100 }
"#;

fn near(what: &str, is: f64, should: f64) {
    assert!((is - should).abs() <= 1e-9 * should.abs().max(1.0), "{what}: {is}, not {should}");
}

fn sheet(file: &str, rate: u32) -> Sheet {
    let display = display::read("display.toml", file).unwrap();
    build(&display, Rate::new(rate, 1).unwrap()).unwrap()
}

#[test]
fn every_line_of_the_sheet_is_what_pencil_and_paper_give() {
    let sheet = sheet(DISPLAY, 200);

    let coil = &sheet.coils[0];
    assert_eq!((coil.name.as_str(), coil.board, coil.channel), ("ring 1", 0, 4));
    assert_eq!((sheet.coils.len(), sheet.coils[11].channel), (12, 15));
    near("full: 12 V / 10 ohm", coil.full_a, 1.2);
    let wire = coil.wire.as_ref().unwrap();
    near("wire: 1/58 ohm mm2/m x 2 x 1.45 m / 0.5 mm2 = 0.05 / 0.5", wire.ohms, 0.1);
    near("drop: 1.2 A x 0.1 ohm", wire.drop_v, 0.12);
    near("of 12 V: 0.12 / 12", wire.drop_percent, 1.0);
    near("carries: 0.5 mm2 x 4 A/mm2", wire.carries_a, 2.0);
    near("at the winding: 12 - 0.2 - 0.12", coil.coil_v, 11.68);
    near("on the meter: 10 + 0.1", coil.ohms_20_c, 10.1);
    // The backing may rise 60 - 20 = 40 K through 15 K/W: 8/3 W for ever. The winding is 2.5 K/W
    // above it: 60 + 8/3 x 2.5 = 66.67 C, and has 10 x (234.5 + 66.67) / (234.5 + 20) = 11.834 ohm.
    let hot_ohm: f64 = 10.0 * (234.5 + 60.0 + 2.5 * 8.0 / 3.0) / 254.5;
    // The network is solved to about 1e-8.
    let steady_a = f64::sqrt(8.0 / 3.0 / hot_ohm);
    assert!((coil.steady_a - steady_a).abs() < 1e-7, "sqrt(8/3 W / 11.834 ohm): {}", coil.steady_a);

    let rail = &sheet.rails[0];
    near("all: 12 x 1.2 A", rail.all_full_a, 14.4);
    near("mean: the limit is less", rail.mean_a, 3.6);
    near("peak together", rail.peak_together_a, 14.4);
    // Slow PWM takes duty times full current: 3.6 / 14.4 = 0.25, and 0.25 x 12 = 3 coils at once.
    near("peak spread: 3 x 1.2 A", rail.peak_spread_a, 3.6);
    near("ripple: 14.4 A / (4 x 20 kHz x 1 mF)", rail.ripple_together_v.unwrap(), 0.18);
    near("spread: 0.18 V / 12 / 12", rail.ripple_spread_v.unwrap(), 0.00125);
    near("diode takes all below 0.5 / 12.5", rail.dead_duty, 0.04);
    assert_eq!((rail.ramp_ms, rail.slew_a_per_s), (150.0, Some(50.0)));

    let board = &sheet.boards[0];
    assert_eq!(board.channels, 16, "channels 0 to 15 travel, wired or not");
    // 1000 steps need 12 bits: 16 x 3 / 2 = 24 bytes; 9 of packet, 1 of stuffing, 1 delimiter.
    assert_eq!(board.packet_bytes, 35);
    near("line: 115200 / 10", board.line_bytes_per_s.unwrap(), 11_520.0);
    near("frames: 11520 / 35", board.line_frames_per_s.unwrap(), 11_520.0 / 35.0);
    near("PWM: 48 MHz / 1000", board.fastest_pwm_hz.unwrap(), 48_000.0);
    near("steps: 48 MHz / 20 kHz", board.most_steps.unwrap(), 2400.0);
    near("the line is the slowest", board.frames_per_s.unwrap(), 11_520.0 / 35.0);

    near("least duty: 1 us x 20 kHz", sheet.driver.least_duty, 0.02);
    assert_eq!(sheet.mend, Vec::<String>::new());
    assert!(sheet.cautions.iter().any(|line| line.contains("grade H stands 120 C")));
}

/// 96 MHz / 22 kHz = 4363.6: 4363 steps fit into a period, and 4364 are refused. 96 MHz / 4370 =
/// 21967.96 Hz.
#[test]
fn what_is_said_to_be_the_most_is_accepted() {
    let file = DISPLAY.replace("clock_hz = 48_000_000", "clock_hz = 96_000_000");
    let file = file.replace("pwm_hz = 20_000", "pwm_hz = 22_000");
    let printed = text(&blocks(&sheet(&file, 200)));
    assert!(printed.contains(" 4363 ") && !printed.contains("4364"), "{printed}");
    assert!(display::read("display.toml", &file.replace("steps = 1000", "steps = 4363")).is_ok());
    let more = file.replace("steps = 1000", "steps = 4370");
    let refused = display::read("display.toml", &more).unwrap_err().to_string();
    assert!(refused.contains("at most 21967 Hz"), "{refused}");
    assert!(display::read("display.toml", &more.replace("22_000", "21_967")).is_ok());
}

#[test]
fn what_must_be_mended_is_said() {
    // 329.1 frames a second fit the line; a wire of 0.25 mm2 carries 1 A, less than 1.2 A.
    let mend = sheet(&DISPLAY.replace("area_mm2 = 0.5", "area_mm2 = 0.25"), 400).mend;
    let expected = [
        "coils 1 (ring), wire: 0.25 mm2 carries 1 A, and a coil takes 1.2 A in full; from 0.3 mm2 on \
         it does",
        "board 0: 400 frames a second are too many, it takes 329.1",
    ];
    assert_eq!(mend, expected);

    // 0.31 mm2 carry 1.24 A: enough for 1.2 A, not for a fuse of 1.5 A.
    let mend = sheet(&DISPLAY.replace("area_mm2 = 0.5", "area_mm2 = 0.31"), 200).mend;
    let expected = [
        "coils 1 (ring), fuse_a: 1.5 A does not protect a wire that carries 1.24 A; 1.24 A or less \
          does",
    ];
    assert_eq!(mend, expected);

    // 0.4747 A may flow for ever, and 75 % of 0.63 A are 0.4725 A; 1.2 A opens such a fuse anyway.
    let mend = sheet(&DISPLAY.replace("fuse_a = 1.5", "fuse_a = 0.63"), 200).mend;
    let expected = [
        "coils 1 (ring), fuse_a: 0.63 A opens at full duty, as a coil takes 1.2 A; from 1.2 A on it \
         holds",
        "coils 1 (ring), fuse_a: 0.63 A ages, as 0.47 A may flow for ever; fuses carry 75 % of their \
         rating for ever",
    ];
    assert_eq!(mend, expected);
}

#[test]
fn what_the_file_says_reaches_the_budget() {
    let rate = Rate::new(200, 1).unwrap();
    let prepared = |file: &str| {
        let display = display::read("display.toml", file).unwrap();
        prepare_display(&display, rate, Start::Cold).0
    };
    let settings = prepared(DISPLAY);
    near("1 us of 50 us", settings.coils[0].least_duty, 0.02);
    assert_eq!((settings.rails[0].ramp.0, settings.rails[0].slew_a_per_s), (0.15, 50.0));
    let bridge = prepared(&DISPLAY.replace("pwm_hz", "polarity = \"sign_magnitude\"\npwm_hz"));
    assert_eq!(bridge.coils[0].turn_rest.0, 0.005, "5 ms unless said otherwise");
    // A default limit of the backing gives way to the magnet's, a stated one is refused.
    let cool = DISPLAY.replace("grade = \"H\"", "grade = \"H\"\nlimit_c = 52");
    assert_eq!(prepared(&cool).coils[0].heat.backing_limit.0, 52.0);
    let stated = cool.replace("trust.fit", "backing_limit_c = 55\ntrust.fit");
    assert!(display::read("display.toml", &stated).is_err());
    for (letter, limit_c) in
        [("N", 80.0), ("M", 100.0), ("H", 120.0), ("SH", 150.0), ("UH", 180.0), ("EH", 200.0)]
    {
        // Tables of magnet makers.
        let file = DISPLAY.replace("\"H\"", &format!("\"{letter}\""));
        let magnet = display::read("display.toml", &file).unwrap().magnet.unwrap();
        assert_eq!(magnet.limit_c.value, limit_c, "{letter}");
    }
}

#[test]
fn expanders_and_shift_chains_follow_their_arithmetic() {
    let kind = |kind: &str| DISPLAY.replace("kind.timer = { clock_hz = 48_000_000 }", kind);
    // 16 channels, 2 chips of 8: each 2 + 8 x 2 = 18 bytes of 9 bits and 2 bits = 164 bits.
    let expander = "kind.expander = { clock_hz = 25e6, channels_per_chip = 8, bus_hz = 400e3 }";
    let board = &sheet(&kind(expander), 200).boards[0];
    near("bus: 400 kHz / (2 x 164)", board.bus_frames_per_s.unwrap(), 400e3 / 328.0);
    near("PWM: 25 MHz / 1000", board.fastest_pwm_hz.unwrap(), 25e3);
    // 16 outputs x 1000 steps per period: 8 MHz / 16000.
    let chain = kind("kind.shift_chain = { clock_hz = 8e6, channels_per_chip = 8 }");
    let board = &sheet(&chain.replace("pwm_hz = 20_000", "pwm_hz = 500"), 200).boards[0];
    near("PWM: 8 MHz / (16 x 1000)", board.fastest_pwm_hz.unwrap(), 500.0);
    assert!(display::read("chain", &chain.replace("pwm_hz = 20_000", "pwm_hz = 501")).is_err());
}

/// Ohms per 1000 ft at 20 C of the Floyd/HyperPhysics wire table, and the areas and ohms per km
/// that the formula of ASTM B258 with IEC 60028 copper gives (worked out with NumPy).
#[test]
fn wire_gauges_are_those_of_the_table() {
    #[rustfmt::skip]
    let table = [
        (20, 0.517_619_2, 33.309_00, 10.15), (24, 0.204_730_3, 84.215_08, 25.67),
        (28, 0.080_975_5, 212.920_82, 64.90), (30, 0.050_926_0, 338.557_37, 103.2),
        (32, 0.032_027_7, 538.327_31, 164.1), (36, 0.012_667_7, 1_361.051_89, 414.8),
        (40, 0.005_010_4, 3_441.144_86, 1049.0),
    ];
    for (awg, area_mm2, ohm_per_km, ohm_per_1000_ft) in table {
        let area = awg_area_mm2(awg);
        assert!((area / area_mm2 - 1.0).abs() < 1e-5, "AWG {awg}: {area} mm2");
        // The pair is twice as long as it reaches.
        let km = pair_resistance(area, 500.0, Celsius(20.0)).0;
        assert!((km / ohm_per_km - 1.0).abs() < 1e-6, "AWG {awg}: {km} ohm/km");
        let feet = pair_resistance(area, 152.4, Celsius(20.0)).0;
        assert!((feet / ohm_per_1000_ft - 1.0).abs() < 3e-4, "AWG {awg}: {feet} ohm/1000 ft");
    }
    // R/R20 by IEC 60028, 0.00393 per K: 1.2358 at 80 C; the resistance-rise method is within
    // 0.01 % of it.
    let warm = pair_resistance(1.0, 1.0, Celsius(80.0)).0 * 29.0;
    assert!((warm / 1.2358 - 1.0).abs() < 1e-4, "{warm}");
}

/// 8N1: ten bits a byte (from the framing itself). The packets here are one byte longer than
/// eight bytes of header and check would make them.
#[test]
fn packets_are_as_long_as_the_encoder_makes_them() {
    for (baud, coils, packing, frames_per_s) in [
        (115_200.0, 16_usize, Packing::Byte, 11_520.0 / 27.0),
        (115_200.0, 64, Packing::Byte, 11_520.0 / 75.0),
        (115_200.0, 64, Packing::Word, 11_520.0 / 139.0),
        (115_200.0, 252, Packing::Word, 11_520.0 / 517.0),
    ] {
        let steps = if packing == Packing::Byte { "255" } else { "65535" };
        let file = DISPLAY
            .replace("steps = 1000", &format!("steps = {steps}"))
            .replace("kind.timer = { clock_hz = 48_000_000 }\n", "")
            .replace("first_channel = 4", "first_channel = 0")
            .replace("count = 12", &format!("count = {coils}"))
            .replace("radius_mm = 100", "radius_mm = 2000")
            .replace("baud = 115_200", &format!("baud = {baud}"));
        let board = sheet(&file, 20).boards[0].clone();
        near("frames", board.line_frames_per_s.unwrap(), frames_per_s);
        let duties = vec![Duty::OFF; coils];
        let longest = Encoder::new(600).duty(0x0101_0101, packing, &duties).unwrap().len();
        assert!(longest <= board.packet_bytes, "{longest} > {}", board.packet_bytes);
    }
}

#[test]
fn the_printed_sheet_names_wires_and_steps() {
    let printed = text(&blocks(&sheet(DISPLAY, 200)));
    for part in [
        "Sheet by hand: build sheet",
        "ring 1-12      0     4-15",
        "0.5 mm2",
        "Switching on, in this order",
        "[ ] Rail main: set the supply to 12 V",
    ] {
        assert!(printed.contains(part), "no `{part}` in\n{printed}");
    }
}
