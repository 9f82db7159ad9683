//! What does not go together between driver, wires and magnet.

use super::display::{CoilType, Display};
use super::finding::{At, Weight};
use super::magnet::SLENDER;
use super::section::Pad;

pub(super) fn display(pad: &Pad, display: &Display) {
    pwm(pad, display);
    for (at, coil_type) in display.coil_types.iter().enumerate() {
        magnet(pad, display, at, coil_type);
    }
    slenderness(pad, display);
    for (at, block) in display.blocks.iter().enumerate() {
        let harness = &block.harness;
        for fault in harness.faults(display.full_a(block)) {
            let title = format!("coils {}, {}: {}", at + 1, fault.key, fault.problem);
            pad.warn(&harness.span_of(fault.key), title, fault.cure);
        }
    }
}

/// Heat is reckoned at the PWM frequency that was written, so the driver must be able to make it.
fn pwm(pad: &Pad, display: &Display) {
    let driver = &display.driver;
    let Some(pwm) = &driver.pwm_hz else { return };
    let kind = &driver.kind;
    let most = display.boards().into_iter().map(|(_, channels)| channels).max().unwrap_or(0);
    let Some(fastest) = kind.value.fastest_pwm_hz(driver.steps, most) else { return };
    if pwm.value <= fastest * (1.0 + 1e-9) {
        return;
    }
    let (word, steps) = (kind.value.word(), driver.steps);
    let title = format!("driver.pwm_hz: {} Hz is more than this {word} can make", pwm.value);
    let label = format!("at most {} Hz with {steps} steps", libm::floor(fastest));
    let finding = pad.finding(Weight::Refusal, &pwm.span, title, label);
    let finding = finding.related(pad.source.mark(&kind.span, "by these figures"));
    let fewer = kind.value.most_steps(pwm.value, most).map_or(0.0, libm::floor);
    pad.add(match fewer >= 1.0 {
        true => finding.help(format!("with `steps = {fewer}` it can; pulses get coarser then")),
        false => finding,
    });
}

/// Whether a value is the default: its place is the table then, which opens with a bracket.
fn left_out(pad: &Pad, value: &At<f64>) -> bool {
    pad.source.text.get(value.span.clone()).is_none_or(|text| text.starts_with(['[', '{']))
}

/// A stated limit of a backing above its magnet's; a default gives way by itself.
fn magnet(pad: &Pad, display: &Display, at: usize, coil_type: &CoilType) {
    let Some(magnet) = &display.magnet else { return };
    let (limit, stands) = (&coil_type.backing_limit_c, magnet.limit_c.value);
    if limit.value <= stands || left_out(pad, limit) {
        return;
    }
    let number = at + 1;
    let title =
        format!("coil_type {number}, backing_limit_c: {} C is too hot for the magnet", limit.value);
    let label = format!("write at most {stands} C");
    let finding = pad.finding(Weight::Refusal, &limit.span, title, label);
    let first = pad.source.mark(&magnet.limit_c.span, format!("it stands {stands} C"));
    pad.add(finding.related(first));
}

fn slenderness(pad: &Pad, display: &Display) {
    let Some(magnet) = &display.magnet else { return };
    let (Some(grade), Some(ratio)) = (magnet.grade, magnet.slenderness) else { return };
    if !magnet.limit_is_of_grade {
        return;
    }
    if ratio < SLENDER {
        let ratio = (ratio * 100.0).round() / 100.0;
        let title = format!("magnet: grade {grade} says too much for a thin magnet");
        let label = format!(
            "thickness is {ratio} of the diameter, and below {SLENDER} it weakens earlier: write the \
             `limit_c` of its data sheet"
        );
        pad.warn(&magnet.limit_c.span, title, label);
    }
}
