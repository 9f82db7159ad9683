//! Every number a file may hold: its key, its unit, its range, and the reason for the range.

/// A number as the files know it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Quantity {
    /// As written; the unit is part of the name.
    pub(super) key: &'static str,
    /// Printed after numbers; empty for plain counts.
    pub(super) unit: &'static str,
    /// Smallest that is accepted.
    pub(super) low: f64,
    /// Largest that is accepted.
    pub(super) high: f64,
    /// Printed under a number outside the range.
    pub(super) because: &'static str,
}

impl Quantity {
    /// `10 to 24000 Hz`.
    pub(super) fn range(&self) -> String {
        format!("{} to {}{}", self.low, self.high, self.unit_after())
    }

    /// The unit with the space before it.
    pub(super) fn unit_after(&self) -> String {
        if self.unit.is_empty() { String::new() } else { format!(" {}", self.unit) }
    }

    /// What to write, for someone who wrote something that is no number.
    pub(super) fn wanted(&self, kind: &str) -> String {
        let unit = if self.unit.is_empty() { String::new() } else { format!(", in {}", self.unit) };
        format!("write a {kind} number from {} to {}{unit}", self.low, self.high)
    }

    /// What to add when it is missing.
    pub(super) fn cure(&self) -> String {
        format!("add `{} = ...`, {}", self.key, self.range())
    }
}

pub(super) const fn limits(
    key: &'static str,
    unit: &'static str,
    (low, high): (f64, f64),
    because: &'static str,
) -> Quantity {
    Quantity { key, unit, low, high, because }
}

const HEARING: &str = "music lies between 20 Hz and 20 kHz; a little more is accepted at each end";
const RISE: &str = "from at once to 10 s: slower than that, nothing moves with the music";
const ANY_ANGLE: &str = "one turn either way says every direction";
const ON_FRONT: &str = "displays larger than 10 m are not foreseen";
const BELOW_TOP: &str = "0 dB is the top of what the band did lately";
const FULL_SCALE: &str = "0 dBFS is the loudest sine a file can hold, and -120 dBFS is silence";

// Mapping.
pub(super) const REST: Quantity =
    limits("rest_ms", "ms", (10.0, 60_000.0), "a fade is neither a jump nor longer than a minute");
pub(super) const QUIET: Quantity = limits("level_dbfs", "dBFS", (-120.0, 0.0), FULL_SCALE);
pub(super) const LOW: Quantity = limits("low_hz", "Hz", (10.0, 24_000.0), HEARING);
pub(super) const HIGH: Quantity = limits("high_hz", "Hz", (10.0, 24_000.0), HEARING);
pub(super) const NOMINAL: Quantity = limits("nominal_hz", "Hz", (10.0, 24_000.0), HEARING);
pub(super) const FROM: Quantity = limits("from_hz", "Hz", (10.0, 24_000.0), HEARING);
pub(super) const TO: Quantity = limits("to_hz", "Hz", (10.0, 24_000.0), HEARING);
pub(super) const BAND: Quantity =
    limits("band", "", (1.0, 24.0), "Bark bands have the numbers 1 to 24");
pub(super) const FIRST_BAND: Quantity = Quantity { key: "from_band", ..BAND };
pub(super) const LAST_BAND: Quantity = Quantity { key: "to_band", ..BAND };
pub(super) const BAND_COUNT: Quantity =
    limits("count", "", (1.0, 128.0), "a route hears 1 to 128 bands");
pub(super) const EDGES: Quantity = limits("hz", "Hz", (10.0, 24_000.0), HEARING);
pub(super) const FLOOR: Quantity = limits("floor_db", "dB", (-80.0, -1.0), BELOW_TOP);
pub(super) const FULL: Quantity = limits("full_db", "dB", (-60.0, 12.0), BELOW_TOP);
pub(super) const FLOOR_DBFS: Quantity = limits("floor_dbfs", "dBFS", (-120.0, 0.0), FULL_SCALE);
pub(super) const FULL_DBFS: Quantity = limits("full_dbfs", "dBFS", (-120.0, 6.0), FULL_SCALE);
pub(super) const EXPONENT: Quantity =
    limits("exponent", "", (0.1, 10.0), "beyond that the curve is a switch");
pub(super) const ATTACK: Quantity = limits("attack_ms", "ms", (0.0, 10_000.0), RISE);
pub(super) const HOLD: Quantity = limits("hold_ms", "ms", (0.0, 10_000.0), RISE);
pub(super) const RELEASE: Quantity = limits(
    "release_ms",
    "ms",
    (0.0, 60_000.0),
    "from at once to a minute: slower than that, nothing falls in a song",
);
pub(super) const TOWARDS: Quantity = limits("towards_deg", "degrees", (-360.0, 360.0), ANY_ANGLE);
pub(super) const EDGE: Quantity =
    limits("edge_mm", "mm", (0.1, 10_000.0), "the front needs a width, no larger than a display");
pub(super) const SPOT: Quantity =
    limits("spot_mm", "mm", (0.1, 10_000.0), "a spot has a width, no larger than a display");
pub(super) const FASTEST: Quantity = limits(
    "fastest_mm_per_s",
    "mm/s",
    (1.0, 10_000.0),
    "slower than 1 mm/s nobody sees it move, and no fluid follows 10 m/s",
);
pub(super) const SPEED: Quantity = limits(
    "mm_per_s",
    "mm/s",
    (1.0, 100_000.0),
    "slower than 1 mm/s nobody sees it travel, faster than 100 m/s it is everywhere at once",
);
pub(super) const FADE: Quantity =
    limits("fade_per_m", "", (0.0, 0.999), "it is the part lost on each metre: 0 loses nothing");
pub(super) const SOURCE: Quantity = limits("from_mm", "mm", (-10_000.0, 10_000.0), ON_FRONT);
pub(super) const LAYER: Quantity =
    limits("priority", "", (0.0, 100.0), "routes of higher priority cover those of lower");
pub(super) const MASTER: Quantity =
    limits("master", "", (0.0, 1.0), "1 leaves all wishes as they are, 0 none of them");
pub(super) const LEAD: Quantity =
    limits("lead_ms", "ms", (0.0, 1000.0), "no fluid needs longer to answer");
pub(super) const SURE: Quantity =
    limits("sure", "", (0.0, 1.0), "0 takes every beat, 1 only what is certain");
pub(super) const KEEP: Quantity =
    limits("keep", "", (0.05, 2.0), "it is dB of the wish for each LU below what is usual");
pub(super) const LEAST: Quantity =
    limits("least", "", (0.0, 1.0), "it is the smallest factor a soft passage is given");
pub(super) const TURN: Quantity = limits("turn_deg", "degrees", (-360.0, 360.0), ANY_ANGLE);
pub(super) const IDLE_LEVEL: Quantity =
    limits("level", "", (0.0, 0.3), "it is to be seen, not to heat the coils all night");
pub(super) const PERIOD: Quantity =
    limits("period_s", "s", (1.0, 600.0), "idle motion is slow, and still motion");
pub(super) const WEIGHT: Quantity =
    limits("weight", "", (-1.0, 1.0), "1 is all a coil can do, and -1 all of it the other way");

// Display.
pub(super) const ROOM: Quantity =
    limits("room_c", "C", (-20.0, 60.0), "rooms people stand in lie within that");
pub(super) const PWM: Quantity =
    limits("pwm_hz", "Hz", (20.0, 1_000_000.0), "coil drivers switch within that");
pub(super) const STEPS: Quantity =
    limits("steps", "", (1.0, 65_535.0), "a compare value has at most 16 bits");
pub(super) const KEEPS: Quantity = limits(
    "hold_ms",
    "ms",
    (0.0, 60_000.0),
    "a driver that keeps its last frame for more than a minute cannot be made safe",
);
pub(super) const KNEE: Quantity =
    limits("knee_ms", "ms", (0.0, 60_000.0), "a softer knee than a minute is no limit any more");
pub(super) const CLOCK: Quantity =
    limits("clock_hz", "Hz", (1000.0, 1e9), "counters and shift registers run within that");
pub(super) const CHANNELS_PER_CHIP: Quantity =
    limits("channels_per_chip", "", (1.0, 512.0), "a board has at most 512 channels");
pub(super) const BUS: Quantity =
    limits("bus_hz", "Hz", (1000.0, 5e7), "two-wire buses run at 100 kHz to a few MHz");
pub(super) const BYTES_PER_CHANNEL: Quantity = limits(
    "bytes_per_channel",
    "",
    (1.0, 8.0),
    "two bytes hold a compare value, four the places of both edges",
);
pub(super) const MIN_ON: Quantity =
    limits("min_on_us", "us", (0.0, 1000.0), "switches take nanoseconds to microseconds");
pub(super) const SWITCH_DROP: Quantity = limits(
    "switch_drop_v",
    "V",
    (0.0, 5.0),
    "a field-effect switch drops millivolts, a bipolar one 1 V or 2",
);
pub(super) const DIODE_DROP: Quantity = limits(
    "diode_drop_v",
    "V",
    (0.0, 5.0),
    "a silicon diode drops about 0.8 V, a Schottky diode 0.4 V",
);
pub(super) const BRIDGE_ZERO: Quantity = limits(
    "bridge_zero_ms",
    "ms",
    (0.0, 1000.0),
    "a pause of more than a second is no turn any more",
);
pub(super) const BAUD: Quantity =
    limits("baud", "bit/s", (1200.0, 1.2e7), "serial lines run within that");
pub(super) const MAGNET_LIMIT: Quantity =
    limits("limit_c", "C", (40.0, 350.0), "magnets weaken for good from 60 C to 350 C");
pub(super) const THICKNESS: Quantity =
    limits("thickness_mm", "mm", (0.1, 200.0), "magnets one can handle lie within that");
pub(super) const DIAMETER: Quantity =
    limits("diameter_mm", "mm", (1.0, 300.0), "magnets one can handle lie within that");
pub(super) const DEAD: Quantity =
    limits("dead_ms", "ms", (0.0, 500.0), "fluid that has not moved by then does not follow music");
pub(super) const NATURAL: Quantity =
    limits("natural_hz", "Hz", (0.3, 50.0), "blobs of a centimetre swing about 3 times a second");
pub(super) const DAMPING: Quantity =
    limits("damping", "", (0.05, 3.0), "1 just does not overshoot; wall films give 0.3 to 1");
pub(super) const T10: Quantity =
    limits("t10_ms", "ms", (1.0, 1000.0), "counted from the switching, on a video of one coil");
pub(super) const T90: Quantity = Quantity { key: "t90_ms", ..T10 };
pub(super) const SPACE_HEAT: Quantity = limits(
    "heat_j_per_k",
    "J/K",
    (1.0, 1e7),
    "a kilogram of steel holds about 480 J/K, a litre of water 4200 J/K",
);
pub(super) const TO_ROOM: Quantity =
    limits("to_room_k_per_w", "K/W", (0.001, 1000.0), "cases and tanks lie within that");
pub(super) const SPACE_LIMIT: Quantity =
    limits("limit_c", "C", (0.0, 120.0), "tanks, glue and fluid end far below 120 C");
pub(super) const WITHIN: Quantity =
    limits("within_mm", "mm", (1.0, 1000.0), "only coils side by side warm each other");
pub(super) const COILS_LINK: Quantity =
    limits("coils_w_per_k", "W/K", (0.0, 10.0), "thick copper between two coils reaches 10 W/K");
pub(super) const BACKINGS_LINK: Quantity = limits(
    "backings_w_per_k",
    "W/K",
    (0.0, 10.0),
    "a shared steel plate of 3 mm gives about 0.15 W/K, thick copper 10",
);
pub(super) const VOLTS: Quantity = limits(
    "volts",
    "V",
    (0.5, 60.0),
    "below 0.5 V nothing moves; above 60 V direct current a touch can hurt",
);
pub(super) const AMPS: Quantity =
    limits("limit_a", "A", (0.01, 200.0), "bench and case supplies lie within that");
pub(super) const RAMP: Quantity =
    limits("ramp_ms", "ms", (0.0, 60_000.0), "a start of more than a minute is no start any more");
pub(super) const SLEW: Quantity = limits(
    "slew_a_per_s",
    "A/s",
    (0.1, 1e6),
    "slower than 0.1 A/s nothing moves with the music; without a limit leave it out",
);
pub(super) const CAPACITOR: Quantity =
    limits("capacitor_uf", "uF", (0.1, 1e6), "from a film capacitor to a bank of large cans");
pub(super) const RESISTANCE: Quantity =
    limits("resistance_ohm", "ohm", (0.05, 10_000.0), "lower is a short circuit, higher a break");
pub(super) const REFERENCE: Quantity =
    limits("reference_c", "C", (-40.0, 120.0), "resistance is measured at room temperature or so");
pub(super) const INDUCTANCE: Quantity =
    limits("inductance_uh", "uH", (0.1, 1e7), "display coils lie within that, iron or not");
pub(super) const COIL_HEAT: Quantity =
    limits("coil_j_per_k", "J/K", (0.01, 10_000.0), "10 g of copper hold about 3.9 J/K");
pub(super) const BACKING_HEAT: Quantity =
    limits("backing_j_per_k", "J/K", (0.01, 100_000.0), "100 g of steel hold about 48 J/K");
pub(super) const COIL_TO_BACKING: Quantity =
    limits("coil_to_backing_k_per_w", "K/W", (0.01, 1000.0), "glued coils lie between 1 and 5 K/W");
pub(super) const BACKING_TO_AROUND: Quantity = limits(
    "backing_to_around_k_per_w",
    "K/W",
    (0.01, 1000.0),
    "a plate the size of a hand has about 5 K/W, a coin 40 K/W",
);
pub(super) const COIL_TO_AROUND: Quantity = limits(
    "coil_to_around_k_per_w",
    "K/W",
    (0.01, 10_000.0),
    "a bare coil in still air has about 50 K/W; leave it out where there is no such path",
);
pub(super) const COIL_LIMIT: Quantity =
    limits("coil_limit_c", "C", (30.0, 155.0), "common enamels and boards char above 155 C");
pub(super) const BACKING_LIMIT: Quantity = limits(
    "backing_limit_c",
    "C",
    (30.0, 120.0),
    "magnets, glue and tank sit there, and most end below 120 C",
);
pub(super) const MARGIN: Quantity = limits(
    "margin_percent",
    "percent",
    (0.0, 100.0),
    "the share by which each allowed rise shrinks",
);
pub(super) const POWER: Quantity = limits(
    "power_percent",
    "percent",
    (0.0, 100.0),
    "how much more heat than modelled is reckoned with",
);
pub(super) const AREA: Quantity =
    limits("area_mm2", "mm2", (0.005, 50.0), "wires to coils lie within that");
pub(super) const AWG: Quantity =
    limits("awg", "", (0.0, 40.0), "sizes 0 to 40 go from 53 mm2 to 0.005 mm2");
pub(super) const LENGTH: Quantity =
    limits("length_m", "m", (0.01, 100.0), "from driver to coil, one way; the way back is added");
pub(super) const CONNECTOR: Quantity =
    limits("connector_a", "A", (0.05, 100.0), "contacts for wires like these lie within that");
pub(super) const FUSE: Quantity =
    limits("fuse_a", "A", (0.02, 100.0), "fuses for wires like these lie within that");
pub(super) const PRIORITY: Quantity =
    limits("priority", "", (1.0, 255.0), "1 is served first when a rail is short");
pub(super) const TRIM: Quantity =
    limits("trim", "", (0.0, 1.0), "it holds back a coil that does more than the others");
pub(super) const LIFT: Quantity =
    limits("lift_duty", "", (0.0, 1.0), "it is a share of full duty; 0: nobody saw it lift");
pub(super) const DROP: Quantity =
    limits("drop_duty", "", (0.0, 1.0), "it is a share of full duty; 0: nobody saw it drop");
pub(super) const LAW_MAGNET: Quantity =
    limits("magnet", "", (0.0, 10.0), "pull of the magnet alone over the weight to lift; 1 lifts");
pub(super) const LAW_PER_A: Quantity = limits(
    "per_a",
    "1/A",
    (-1e4, 1e4),
    "what a current and the magnet do together, over the weight",
);
pub(super) const LAW_PER_A2: Quantity =
    limits("per_a2", "1/A2", (0.0, 1e6), "what a current does alone, over the weight");
pub(super) const MOST: Quantity =
    limits("most_percent", "percent", (1.0, 100.0), "a full wish takes no more than full current");
pub(super) const RISES: Quantity =
    limits("rise_ms", "ms", (1.0, 5000.0), "fluid takes from a blink to seconds to rise");
pub(super) const RELEASES: Quantity =
    limits("release_ms", "ms", (0.0, 5000.0), "as long as the fluid takes to let go; 0: no pulse");
pub(super) const HOLD_MARGIN: Quantity = limits(
    "margin_percent",
    "percent",
    (0.0, 100.0),
    "more pull than drops the fluid; magnet and liquid change as they warm",
);
pub(super) const LIFT_AT: Quantity =
    limits("lift_at", "", (0.01, 1.0), "the wish from which the fluid is lifted");
pub(super) const BOARD: Quantity = limits("board", "", (0.0, 255.0), "boards count from 0 to 255");
pub(super) const FIRST_CHANNEL: Quantity =
    limits("first_channel", "", (0.0, 511.0), "a board has channels 0 to 511");
pub(super) const CHANNELS: Quantity =
    limits("channels", "", (0.0, 511.0), "a board has channels 0 to 511");
pub(super) const COUNT: Quantity = limits(
    "count",
    "",
    (1.0, 512.0),
    "a board drives 1 to 512 coils: write one [[coils]] per board",
);
pub(super) const COLUMNS: Quantity = Quantity { key: "columns", ..COUNT };
pub(super) const ROWS: Quantity = Quantity { key: "rows", ..COUNT };
pub(super) const RADIUS: Quantity = limits("radius_mm", "mm", (1.0, 10_000.0), ON_FRONT);
pub(super) const PITCH: Quantity = limits(
    "pitch_mm",
    "mm",
    (1.0, 1000.0),
    "coils are neither thinner than 1 mm nor wider than 1 m",
);
pub(super) const START: Quantity = limits("start_deg", "degrees", (-360.0, 360.0), ANY_ANGLE);
pub(super) const CENTRE: Quantity = limits("centre_mm", "mm", (-10_000.0, 10_000.0), ON_FRONT);
pub(super) const LINE_FROM: Quantity = limits("from_mm", "mm", (-10_000.0, 10_000.0), ON_FRONT);
pub(super) const LINE_TO: Quantity = limits("to_mm", "mm", (-10_000.0, 10_000.0), ON_FRONT);
pub(super) const POINTS: Quantity = limits("mm", "mm", (-10_000.0, 10_000.0), ON_FRONT);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_quantities_lie_within_their_type() {
        let all = [
            STEPS,
            PRIORITY,
            LAYER,
            BOARD,
            FIRST_CHANNEL,
            CHANNELS,
            COUNT,
            COLUMNS,
            ROWS,
            BAND,
            BAND_COUNT,
            AWG,
            CHANNELS_PER_CHIP,
            BYTES_PER_CHANNEL,
        ];
        assert!(all.iter().all(|q| q.low >= 0.0 && q.high <= f64::from(u16::MAX)));
        assert!(PRIORITY.high <= f64::from(u8::MAX));
    }

    #[test]
    fn a_range_reads_as_a_sentence() {
        assert_eq!(ATTACK.range(), "0 to 10000 ms");
        assert_eq!(STEPS.cure(), "add `steps = ...`, 1 to 65535");
        assert_eq!(VOLTS.cure(), "add `volts = ...`, 0.5 to 60 V");
    }
}
