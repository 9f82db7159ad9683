//! What is to be done about the coils of a display together, in words.

use super::lift::{CoilLift, Wanted};
use crate::preset::Display;

/// Coils that do not lift, hold for good or lift by themselves; a magnet that gets too warm.
pub(super) fn array_advice(display: &Display, wanted: &Wanted, coils: &[CoilLift]) -> Vec<String> {
    let two_way = display.driver.two_way();
    let count = |is: &dyn Fn(&CoilLift) -> bool| coils.iter().filter(|coil| is(coil)).count();
    let of = |number: usize| format!("{number} of {} coils", coils.len());
    let mut all = Vec::new();
    let alone = count(&|coil| coil.law.q0 >= 1.0);
    if alone > 0 {
        let said = "held up by the magnets alone: move them back";
        all.push(format!("Fluid of {} is {said}.", of(alone)));
    }
    let reached = |u: f64| u.abs() <= 1.0 && (two_way || u >= 0.0);
    let never = count(&|coil| coil.law.q0 < 1.0 && !coil.law.lift_u.is_some_and(reached));
    if never > 0 {
        let why = if two_way { "at full current" } else { "with a driver that works one way" };
        all.push(format!(
            "{} do not lift {why}: more bias, a magnet that aids the current, or the fluid nearer.",
            of(never)
        ));
    }
    let holds = count(&|coil| {
        let held = coil.law.q0 > coil.drop_share && coil.law.q0 < 1.0;
        held && (!two_way || !coil.law.drop_u.is_some_and(reached))
    });
    if holds > 0 {
        let why = if two_way { "no opposing current" } else { "a driver that works one way never" };
        let never = if two_way { "lets it drop" } else { "lets it drop again" };
        all.push(format!(
            "Once lifted, fluid of {} stays up: {why} {never}. Less bias: below the share at which it \
             drops.",
            of(holds)
        ));
    }
    all.extend(too_warm(display, wanted));
    all
}

/// A magnet above what it stands.
fn too_warm(display: &Display, wanted: &Wanted) -> Option<String> {
    let stands = display.magnet.as_ref()?.limit_c.value;
    (wanted.magnet.0 > stands).then(|| {
        format!(
            "At {:.0} C the magnets are above the {stands:.0} C that they stand, and weaken for good: a \
             grade that stands more, a lower backing_limit_c, or magnets away from the iron.",
            wanted.magnet.0
        )
    })
}
