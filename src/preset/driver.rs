//! What switches the coils, described honestly: what it can do follows by arithmetic.

use serde::Serialize;

use super::finding::{At, Weight};
use super::limits::{
    BRIDGE_ZERO, BUS, BYTES_PER_CHANNEL, CHANNELS_PER_CHIP, CLOCK, DIODE_DROP, KEEPS, KNEE, MIN_ON,
    PWM, RIDE, STEPS, SWITCH_DROP,
};
use super::section::Section;
use super::values::{Menu, Picked};
use crate::budget::Polarity;

/// How compare values become pulses.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum DriverKind {
    /// One compare unit of a counter per channel.
    Timer {
        /// What the counter counts, Hz; left out: nothing follows from it.
        clock_hz: Option<f64>,
    },
    /// PWM chips on a shared two-wire bus.
    Expander {
        /// What the chips count, Hz.
        clock_hz: f64,
        /// Channels of one chip.
        channels_per_chip: u32,
        /// Clock of the bus, Hz.
        bus_hz: f64,
        /// Bytes that the bus carries per channel; default 2.
        bytes_per_channel: u32,
    },
    /// Shift registers in a chain that is filled once per step: PWM by program.
    ShiftChain {
        /// Shift clock, Hz.
        clock_hz: f64,
        /// Outputs of one register.
        channels_per_chip: u32,
    },
}

/// A byte on a two-wire bus: eight bits and one to acknowledge (the I2C-bus specification, from
/// memory).
const BUS_BITS_PER_BYTE: f64 = 9.0;
/// Address and register number before the values of a chip.
const BUS_BYTES_AHEAD: f64 = 2.0;
/// Start and stop of a transfer take about one bit each.
const BUS_BITS_AROUND: f64 = 2.0;

impl DriverKind {
    /// Its word.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Timer { .. } => "timer",
            Self::Expander { .. } => "expander",
            Self::ShiftChain { .. } => "shift_chain",
        }
    }

    /// The highest PWM frequency with so many steps on a board with so many channels, Hz; `None`
    /// where nobody said what it counts.
    ///
    /// A counter passes all its steps once per period: clock / steps. A shift chain is filled anew
    /// for every step: clock / (outputs x steps).
    pub fn fastest_pwm_hz(&self, steps: u16, channels: u32) -> Option<f64> {
        let steps = f64::from(steps);
        match *self {
            Self::Timer { clock_hz } => clock_hz.map(|clock_hz| clock_hz / steps),
            Self::Expander { clock_hz, .. } => Some(clock_hz / steps),
            Self::ShiftChain { clock_hz, channels_per_chip } => {
                let outputs = channels.div_ceil(channels_per_chip.max(1)) * channels_per_chip;
                Some(clock_hz / (f64::from(outputs) * steps))
            }
        }
    }

    /// The most steps at a PWM frequency, a fraction; `None` as above.
    pub fn most_steps(&self, pwm_hz: f64, channels: u32) -> Option<f64> {
        self.fastest_pwm_hz(1, channels).map(|one_step_hz| one_step_hz / pwm_hz)
    }

    /// How often the bus can bring new values to all chips of a board, per second; `None` without
    /// a bus. Per chip: bytes x 9 bits + 2, where the bytes are address, register and values.
    pub fn bus_frames_per_s(&self, channels: u32) -> Option<f64> {
        let Self::Expander { channels_per_chip, bus_hz, bytes_per_channel, .. } = *self else {
            return None;
        };
        let chips = channels.div_ceil(channels_per_chip.max(1));
        let bytes = BUS_BYTES_AHEAD + f64::from(channels_per_chip * bytes_per_channel);
        Some(bus_hz / (f64::from(chips) * (bytes * BUS_BITS_PER_BYTE + BUS_BITS_AROUND)))
    }
}

/// When the pulses of a board begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stagger {
    /// All at once.
    Together,
    /// Evenly over the period.
    Spread,
}

/// Outputs while the board starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum AtReset {
    /// Nobody said.
    Unknown,
    /// Off.
    Off,
    /// Neither on nor off.
    Floating,
    /// On: a display that says so is refused.
    On,
}

/// What switches the coils.
#[derive(Debug, Clone, Serialize)]
pub struct Driver {
    /// PWM frequency, Hz. Left out: heat is reckoned for slow PWM, which is never too little.
    pub pwm_hz: Option<At<f64>>,
    /// Compare value at full duty, 1 to 65535; 1 to 32767 for `sign_magnitude`.
    pub steps: u16,
    /// Which ways it can push; default one.
    pub polarity: Polarity,
    /// How long the last frame stays on the coils when no more come, ms; default 250.
    pub hold_ms: f64,
    /// How softly power is taken back near a limit, ms; default 300.
    pub knee_ms: f64,
    /// How far ahead slow gains look that turn a coil down before the limiter has to, s; 0: there are
    /// none. Only where sound is heard as it comes.
    #[serde(skip_serializing_if = "is_usual_ride")]
    pub ride_s: f64,
    /// How pulses are made; default a timer of which nothing more is known.
    pub kind: At<DriverKind>,
    /// When the pulses of a board begin; default together.
    pub stagger: Stagger,
    /// Shortest pulse that switches properly, microseconds; shorter ones are left out. Default 0.
    pub min_on_us: f64,
    /// Lost in the switch, V; default 0. For the build sheet and for the duty of a wanted pull: heat is
    /// reckoned without it.
    pub switch_drop_v: f64,
    /// Lost in the freewheel diode, V; default 0. As above.
    pub diode_drop_v: f64,
    /// Outputs while the board starts; default unknown.
    pub at_reset: AtReset,
    /// Zero between signs on a bridge, ms; default 5.
    pub bridge_zero_ms: f64,
}

/// Look ahead of slow gains where none is written, s.
const USUAL_RIDE_S: f64 = 60.0;

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde asks for a reference")]
fn is_usual_ride(ride_s: &f64) -> bool {
    *ride_s == USUAL_RIDE_S
}

impl Driver {
    /// Whether negative duties do anything.
    pub fn two_way(&self) -> bool {
        self.polarity == Polarity::SignMagnitude
    }

    /// Shortest pulse as a share of the PWM period, 0 to 1.
    pub fn least_duty(&self) -> f64 {
        let pwm_hz = self.pwm_hz.as_ref().map_or(0.0, |pwm| pwm.value);
        (self.min_on_us * 1e-6 * pwm_hz).min(1.0)
    }
}

/// Bridges have one bit less, as the sign takes it.
const MOST_TWO_WAY_STEPS: u32 = 32_767;

pub(super) fn read(root: &mut Section<'_>) -> Option<Driver> {
    let Some(mut section) = root.table("driver") else {
        root.need("driver", "add [driver] with `steps`");
        return None;
    };
    let pwm_hz = section.number_if(&PWM);
    let steps = section.whole(&STEPS);
    let polarity = read_polarity(&mut section);
    let hold_ms = section.number_or(&KEEPS, 250.0).value;
    let knee_ms = section.number_or(&KNEE, 300.0).value;
    let ride_s = section.number_or(&RIDE, USUAL_RIDE_S).value;
    let wide = steps.as_ref().filter(|steps| steps.value > MOST_TWO_WAY_STEPS);
    if let (Some(steps), Polarity::SignMagnitude) = (wide, polarity) {
        let title = format!("{}: {} is outside 1 to 32767", section.path("steps"), steps.value);
        section.pad.refuse(&steps.span, title, "the sign of a two-way driver takes one of 16 bits");
    }
    let kind = read_kind(&mut section);
    let stagger = section.choice("stagger");
    let min_on_us = read_min_on(&mut section, pwm_hz.as_ref());
    let switch_drop_v = section.number_or(&SWITCH_DROP, 0.0).value;
    let diode_drop_v = section.number_or(&DIODE_DROP, 0.0).value;
    let at_reset = read_at_reset(&mut section);
    let bridge_zero_ms = read_bridge_zero(&mut section, polarity);
    section.finish();
    Some(Driver {
        pwm_hz,
        steps: u16::try_from(steps?.value).ok()?,
        polarity,
        hold_ms,
        knee_ms,
        ride_s,
        kind: kind?,
        stagger,
        min_on_us,
        switch_drop_v,
        diode_drop_v,
        at_reset,
        bridge_zero_ms,
    })
}

fn read_polarity(section: &mut Section<'_>) -> Polarity {
    if let Some(found) =
        section.peek("polarity").filter(|f| f.value.as_str() == Some("locked_antiphase"))
    {
        section.find("polarity");
        let title = format!("{}: \"locked_antiphase\" cannot be made safe", found.path);
        let cure = "use \"sign_magnitude\", if the bridge can";
        let finding = section.pad.finding(Weight::Refusal, &found.span, title, cure);
        let why = "it heats the coil at rest: with slow PWM as much as at full duty";
        section.pad.add(finding.help(why));
        return Polarity::SignMagnitude;
    }
    section.choice("polarity")
}

const KINDS: Menu = Menu {
    words: &["timer"],
    tables: &[
        ("timer", "kind.timer = { clock_hz = 96_000_000 }"),
        (
            "expander",
            "kind.expander = { clock_hz = 8_000_000, channels_per_chip = 16, bus_hz = 400_000 }",
        ),
        ("shift_chain", "kind.shift_chain = { clock_hz = 8_000_000, channels_per_chip = 8 }"),
    ],
};

/// `None` where what was written is refused.
fn read_kind(section: &mut Section<'_>) -> Option<At<DriverKind>> {
    if section.find("kind").is_none() {
        let span = section.span.clone();
        return Some(At { value: DriverKind::Timer { clock_hz: None }, span });
    }
    let At { value: picked, span } = section.menu("kind", &KINDS, false)?;
    let value = match picked {
        Picked::Word(_) => DriverKind::Timer { clock_hz: None },
        Picked::Table(kind, mut table) => {
            let clock_hz = table.number(&CLOCK).map(|clock| clock.value);
            let kind = match kind {
                "timer" => Some(DriverKind::Timer { clock_hz }),
                "expander" => read_expander(&mut table, clock_hz),
                _ => table.whole(&CHANNELS_PER_CHIP).zip(clock_hz).map(|(channels, clock_hz)| {
                    DriverKind::ShiftChain { clock_hz, channels_per_chip: channels.value }
                }),
            };
            table.finish();
            kind?
        }
    };
    Some(At { value, span })
}

fn read_expander(table: &mut Section<'_>, clock_hz: Option<f64>) -> Option<DriverKind> {
    let channels = table.whole(&CHANNELS_PER_CHIP);
    let bus = table.number(&BUS);
    let bytes_per_channel = table.whole_or(&BYTES_PER_CHANNEL, 2).value;
    Some(DriverKind::Expander {
        clock_hz: clock_hz?,
        channels_per_chip: channels?.value,
        bus_hz: bus?.value,
        bytes_per_channel,
    })
}

/// Whoever says how long a pulse must be has to say how long a period is.
fn read_min_on(section: &mut Section<'_>, pwm_hz: Option<&At<f64>>) -> f64 {
    let Some(min_on) = section.number_if(&MIN_ON) else { return 0.0 };
    let path = section.path(MIN_ON.key);
    match pwm_hz {
        None if section.peek(PWM.key).is_none() => {
            let title = format!("{path}: a shortest pulse needs `pwm_hz` to be a share of");
            section.pad.refuse(&min_on.span, title, "add `pwm_hz = ...` to [driver]");
        }
        Some(pwm) if min_on.value * 1e-6 * pwm.value > LARGEST_LEAST_DUTY => {
            let percent = (min_on.value * 1e-4 * pwm.value).round();
            let title = format!("{path}: {} us is {percent} % of the period", min_on.value);
            let cure = "below that share nothing moves: lower pwm_hz, or find a faster switch";
            section.pad.refuse(&min_on.span, title, cure);
        }
        _ => {}
    }
    min_on.value
}

/// A driver whose shortest pulse is more than this share of the period is a slip.
const LARGEST_LEAST_DUTY: f64 = 0.5;

fn read_at_reset(section: &mut Section<'_>) -> AtReset {
    let written = section.peek("at_reset");
    let outputs = section.choice("at_reset");
    let Some(found) = written else { return outputs };
    let pull = "hold each gate off with a resistor to its source, 10 kohm or so";
    match outputs {
        AtReset::On => {
            let title = format!("{}: every coil is on while the board starts", found.path);
            let cure = "use outputs that start off, or a common enable that does";
            let finding = section.pad.finding(Weight::Refusal, &found.span, title, cure);
            section.pad.add(finding.help(format!("where the outputs can float instead: {pull}")));
        }
        AtReset::Floating => {
            let title = format!("{}: coils may switch on while the board starts", found.path);
            section.pad.warn(&found.span, title, format!("{pull}; then write \"off\""));
        }
        AtReset::Unknown | AtReset::Off => {}
    }
    outputs
}

fn read_bridge_zero(section: &mut Section<'_>, polarity: Polarity) -> f64 {
    let written = section.number_if(&BRIDGE_ZERO);
    if let (Some(zero), Polarity::Unipolar) = (&written, polarity) {
        let title =
            format!("{}: a one-way driver has no sign to turn", section.path("bridge_zero_ms"));
        section.pad.warn(&zero.span, title, "leave it out, or say `polarity = \"sign_magnitude\"`");
    }
    written.map_or(5.0, |zero| zero.value)
}
