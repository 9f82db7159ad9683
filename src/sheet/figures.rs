//! The figures of a build sheet, each by the formula of its module.

use super::{BoardLine, CoilLine, DriverLine, RailLine, Sheet, WireLine, cautions};
use crate::budget::{Budget, BudgetError, BudgetSettings, Start};
use crate::coil::chords::Chords;
use crate::coil::copper::resistance_at;
use crate::coil::harness::{capacitor_ripple, capacitor_ripple_spread, pair_resistance};
use crate::frame::Packing;
use crate::frame::wire::line::{BITS_PER_BYTE, duty_bytes, packets_per_s};
use crate::preset::display::{Block, Rail, Wire};
use crate::preset::{Display, Names, prepare_display};
use crate::units::{Amps, Celsius, Rate};

/// Works out the build sheet of a display, for frames at `rate`.
///
/// # Errors
/// As [`Budget::new`]: a display whose budget cannot be reckoned.
pub fn build(display: &Display, rate: Rate) -> Result<Sheet, BudgetError> {
    let (settings, names) = prepare_display(display, rate, Start::Unknown);
    let budget = Budget::new(&settings)?;
    let coils = coil_lines(display, &settings, &names, &budget);
    let rails = display.rails.iter().enumerate();
    let rails = rails.map(|(at, rail)| rail_line(display, &settings, &coils, at, rail)).collect();
    let boards: Vec<_> = display.boards().into_iter().map(|it| board_line(display, it)).collect();
    Ok(Sheet {
        display: display.name.clone(),
        room_c: display.room_c.value,
        driver: driver_line(display),
        mend: cautions::mend(display, &coils, &boards, rate),
        cautions: cautions::cautions(display),
        power_up: cautions::power_up(display),
        boards,
        rails,
        coils,
    })
}

fn driver_line(display: &Display) -> DriverLine {
    let driver = &display.driver;
    DriverLine {
        kind: driver.kind.value.word(),
        pwm_hz: driver.pwm_hz.as_ref().map(|pwm| pwm.value),
        steps: driver.steps,
        least_duty: driver.least_duty(),
        stagger: driver.stagger,
        at_reset: driver.at_reset,
        bridge_zero_ms: driver.two_way().then_some(driver.bridge_zero_ms),
        hold_ms: driver.hold_ms,
    }
}

fn board_line(display: &Display, (board, channels): (u16, u32)) -> BoardLine {
    let driver = &display.driver;
    // A display whose coils no packing holds does not get here: its file is refused.
    let packing = Packing::narrowest(&display.coil_runs()).unwrap_or(Packing::Word);
    let packet_bytes = duty_bytes(packing, usize::try_from(channels).unwrap_or(usize::MAX));
    let baud = display.link.as_ref().map(|link| link.baud.value);
    let line_frames_per_s = baud.map(|baud| packets_per_s(baud, packet_bytes));
    let kind = driver.kind.value;
    let pwm_hz = driver.pwm_hz.as_ref().map(|pwm| pwm.value);
    let fastest_pwm_hz = kind.fastest_pwm_hz(driver.steps, channels);
    let bus_frames_per_s = kind.bus_frames_per_s(channels);
    let limits = [line_frames_per_s, bus_frames_per_s, pwm_hz.or(fastest_pwm_hz)];
    BoardLine {
        board,
        channels,
        packet_bytes,
        line_bytes_per_s: baud.map(|baud| baud / BITS_PER_BYTE),
        line_frames_per_s,
        fastest_pwm_hz,
        most_steps: pwm_hz.and_then(|pwm_hz| kind.most_steps(pwm_hz, channels)),
        bus_frames_per_s,
        frames_per_s: limits.into_iter().flatten().min_by(f64::total_cmp),
    }
}

fn rail_line(
    display: &Display,
    settings: &BudgetSettings,
    coils: &[CoilLine],
    at: usize,
    rail: &Rail,
) -> RailLine {
    let members = settings.coils.iter().zip(coils).filter(|(coil, _)| coil.rail == at);
    let mut amps: Vec<f64> = members.clone().map(|(_, line)| line.full_a).collect();
    amps.sort_by(|a, b| b.total_cmp(a));
    let all_full_a: f64 = amps.iter().sum();
    let mean_a = rail.limit_a.value.min(all_full_a);
    let share = if all_full_a > 0.0 { mean_a / all_full_a } else { 0.0 };
    // At one duty for all, the coil with the smoothest current needs the highest for that mean.
    let duty =
        members.map(|(coil, _)| Chords::new(coil.period_over_tau).duty(share)).fold(0.0, f64::max);
    let at_once = (duty * amps.len() as f64 - 1e-9).ceil().max(0.0);
    #[expect(clippy::cast_possible_truncation, reason = "no more than the number of coils")]
    #[expect(clippy::cast_sign_loss, reason = "made no less than 0")]
    let at_once = at_once as usize;
    let pwm_hz = display.driver.pwm_hz.as_ref().map(|pwm| pwm.value);
    let known = rail.capacitor_uf.map(|uf| uf * 1e-6).zip(pwm_hz);
    let diode = display.driver.diode_drop_v;
    RailLine {
        name: rail.name.value.clone(),
        volts: rail.volts,
        limit_a: rail.limit_a.value,
        coils: amps.len(),
        all_full_a,
        mean_a,
        peak_together_a: all_full_a,
        peak_spread_a: amps.iter().take(at_once).sum(),
        ripple_together_v: known.map(|(c, f)| capacitor_ripple(Amps(all_full_a), f, c).0),
        ripple_spread_v: known
            .map(|(c, f)| capacitor_ripple_spread(Amps(all_full_a), amps.len(), f, c).0),
        ramp_ms: rail.ramp_ms,
        slew_a_per_s: rail.slew_a_per_s,
        // Smooth current: D V = (1 - D) V_diode where nothing is left for it.
        dead_duty: diode / (rail.volts + diode),
    }
}

fn coil_lines(
    display: &Display,
    settings: &BudgetSettings,
    names: &Names,
    budget: &Budget,
) -> Vec<CoilLine> {
    let wired = display.blocks.iter().enumerate().flat_map(|(at, block)| {
        block.channels.value.iter().map(move |&channel| (at, block, channel))
    });
    let limits = settings.coils.iter().zip(budget.floor_w()).zip(budget.bound_c());
    let mut lines = Vec::with_capacity(names.coils.len());
    for (((at, block, channel), name), ((coil, floor_w), bound_c)) in
        wired.zip(&names.coils).zip(limits)
    {
        let full_a = display.full_a(block);
        let hot = resistance_at(coil.resistance, coil.reference, Celsius(*bound_c));
        let cool = resistance_at(coil.resistance, coil.reference, Celsius(20.0));
        let rail = settings.rails.get(coil.rail);
        let volts = rail.map_or(0.0, |rail| rail.volts.0);
        let wire = block.harness.wire.as_ref().map(|wire| wire.value);
        let line = wire.map(|wire| wire_line(display, block, wire, volts));
        let drop_v = line.as_ref().map_or(0.0, |line| line.drop_v);
        let leads =
            wire.map_or(0.0, |it| pair_resistance(it.area_mm2, it.length_m, Celsius(20.0)).0);
        lines.push(CoilLine {
            name: name.label.clone(),
            block: at,
            board: block.board,
            channel,
            rail: rail.map_or_else(String::new, |rail| rail.name.clone()),
            ohms_20_c: cool.0 + leads,
            full_a,
            steady_a: (floor_w / hot.0).sqrt().min(full_a),
            wire: line,
            connector_a: block.harness.connector_a.as_ref().map(|it| it.value),
            fuse_a: block.harness.fuse_a.as_ref().map(|it| it.value),
            coil_v: (volts - display.driver.switch_drop_v - drop_v).max(0.0),
        });
    }
    lines
}

fn wire_line(display: &Display, block: &Block, wire: Wire, volts: f64) -> WireLine {
    let room = Celsius(display.room_c.value);
    let ohms = pair_resistance(wire.area_mm2, wire.length_m, room).0;
    let drop_v = ohms * display.full_a(block);
    WireLine {
        size: wire.size(),
        area_mm2: wire.area_mm2,
        length_m: wire.length_m,
        ohms,
        drop_v,
        drop_percent: drop_v / volts * 100.0,
        carries_a: wire.carries_a(),
    }
}
