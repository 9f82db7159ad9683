//! What to mend, what to know, and in which order to switch on.

use super::{BoardLine, CoilLine};
use crate::coil::harness::FUSE_STEADY_SHARE;
use crate::preset::Display;
use crate::preset::display::AtReset;
use crate::units::Rate;

/// Faults of wires and fuses, fuses that age, and lines too slow for the frames to come.
pub(super) fn mend(
    display: &Display,
    coils: &[CoilLine],
    boards: &[BoardLine],
    rate: Rate,
) -> Vec<String> {
    let mut list = Vec::new();
    for (at, block) in display.blocks.iter().enumerate() {
        let name = format!("coils {} ({})", at + 1, block.group.value);
        for fault in block.harness.faults(display.full_a(block)) {
            list.push(format!("{name}, {}: {}; {}", fault.key, fault.problem, fault.cure));
        }
        let steady_a = coils.iter().filter(|coil| coil.block == at).map(|coil| coil.steady_a);
        let steady_a = steady_a.fold(0.0, f64::max);
        if let Some(fuse) = block.harness.fuse_a.as_ref().map(|fuse| fuse.value)
            && fuse * FUSE_STEADY_SHARE < steady_a
        {
            list.push(format!(
                "{name}, fuse_a: {fuse} A ages, as {steady_a:.2} A may flow for ever; fuses carry \
                 {:.0} % of their rating for ever",
                FUSE_STEADY_SHARE * 100.0
            ));
        }
    }
    for board in boards {
        if let Some(most) = board.frames_per_s.filter(|most| *most < rate.per_second()) {
            list.push(format!(
                "board {}: {rate} frames a second are too many, it takes {most:.1}",
                board.board
            ));
        }
    }
    list
}

pub(super) fn cautions(display: &Display) -> Vec<String> {
    let mut list = Vec::new();
    let driver = &display.driver;
    list.push(
        "Fuse every rail at its supply, whatever fuses the coils have, and fit a cut-out on the \
         iron that works with the computer off."
            .to_owned(),
    );
    match driver.at_reset {
        AtReset::Off => {}
        AtReset::Floating => list.push(
            "Outputs float while the board starts: hold each gate off with a resistor to its \
             source, 10 kohm or so (common practice, no source)."
                .to_owned(),
        ),
        AtReset::Unknown | AtReset::On => list.push(
            "What the outputs do while the board starts is not said: measure it with the rails \
             off, and hold each gate off with a resistor to its source, 10 kohm or so (common \
             practice, no source)."
                .to_owned(),
        ),
    }
    let wired = |block: &crate::preset::display::Block| block.harness.wire.is_some();
    if !display.blocks.iter().all(wired) {
        list.push("Some wires are not described: nothing was checked about them.".to_owned());
    }
    if let Some(magnet) = &display.magnet {
        let grade = magnet.grade.map_or_else(String::new, |grade| format!(" of grade {grade}"));
        list.push(format!(
            "The magnet{grade} stands {} C; thin ones in a coil's opposing field weaken earlier.",
            magnet.limit_c.value
        ));
    } else {
        list.push(
            "The magnet is not described: plain neodymium weakens for good from 80 C, the \
             strongest grades from 60 C."
                .to_owned(),
        );
    }
    if driver.diode_drop_v + driver.switch_drop_v > 0.0 {
        list.push(
            "Drops of switch and diode are in this sheet only: heat is reckoned without them, \
             which is never too little."
                .to_owned(),
        );
    }
    list
}

pub(super) fn power_up(display: &Display) -> Vec<String> {
    let hold_ms = display.driver.hold_ms;
    let mut list = vec![
        "Nothing powered, tank empty, magnets fixed. Measure every channel at the driver: it must \
         show its ohms, and nothing to earth, to other channels or to the case."
            .to_owned(),
        "Rails off. Power the logic alone. Every output must be off, also while the board starts \
         and when its cable is pulled."
            .to_owned(),
        format!(
            "Still rails off. Send frames and stop: outputs must be off after {hold_ms} ms by \
             themselves."
        ),
    ];
    for rail in &display.rails {
        list.push(format!(
            "Rail {}: set the supply to {} V and its current limit to the least that starts, then \
             switch it on. With all duties 0 no current may flow.",
            rail.name.value, rail.volts
        ));
    }
    list.push(
        "One coil at a time, briefly, at low duty: the right one must pull and hardly warm; \
         measure, do not touch. Then raise the current limits, and fill the tank last."
            .to_owned(),
    );
    list.push(
        "Off again: duties to 0, rails off, then the logic. Coils and iron stay hot for minutes."
            .to_owned(),
    );
    list
}
