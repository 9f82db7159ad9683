//! A bench of its own: a coil under a supply, stepped so finely that how does not matter, and two
//! meters with noise. It shares nothing with the program. All coils are invented.

use coilscore::fit::log::Cold;
use coilscore::fit::{FitError, Fitted, Log, Settings, fit, table};

/// Repeatable noise: SplitMix64, and the method of Box and Muller for a normal distribution.
pub(crate) struct Noise(pub u64);

impl Noise {
    pub(crate) fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn normal(&mut self) -> f64 {
        let (a, b) = (1.0 - self.unit(), self.unit());
        (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
}

/// A test as someone would run it.
#[derive(Clone)]
pub(crate) struct Bench {
    /// C_c, R_cb, C_b, R_ba.
    pub(crate) coil: [f64; 4],
    /// Winding straight to the room, W/K.
    pub(crate) direct: f64,
    /// Resistance at 20 C.
    pub(crate) ohm_20: f64,
    pub(crate) room_c: f64,
    /// Drift of the room, K per hour.
    pub(crate) drift_k_per_h: f64,
    pub(crate) drive_v: f64,
    pub(crate) sense_v: f64,
    /// Small current before, drive, small current after, s.
    pub(crate) spans_s: [f64; 3],
    /// Time between readings soon after a switch, and later, s.
    pub(crate) every_s: [f64; 2],
    /// Noise of a temperature reading, K.
    pub(crate) noise_k: f64,
    /// Likeness of the noise from reading to reading.
    pub(crate) alike: f64,
    pub(crate) ambient: bool,
}

impl Bench {
    pub(crate) fn worked() -> Self {
        Self {
            coil: [4.0, 2.5, 25.0, 15.0],
            direct: 0.0,
            ohm_20: 10.0,
            room_c: 21.5,
            drift_k_per_h: 0.0,
            drive_v: 8.0,
            sense_v: 0.8,
            spans_s: [20.0, 1400.0, 900.0],
            every_s: [0.25, 2.0],
            noise_k: 0.2,
            alike: 0.0,
            ambient: false,
        }
    }

    /// What the meters showed: time, volts, amps, room, backing.
    pub(crate) fn readings(&self, seed: u64) -> Vec<[f64; 5]> {
        let mut noise = Noise(seed.wrapping_mul(7919).wrapping_add(1));
        // Nobody switches at the moment of a reading.
        let on_s = self.spans_s[0] + 0.3 * noise.unit();
        let off_s = on_s + self.spans_s[1] + 0.3 * noise.unit();
        let end_s = off_s + self.spans_s[2];
        let ohm_at = |c: f64| self.ohm_20 * (234.5 + c) / 254.5;
        let h = 0.005;
        let (mut winding, mut backing) = (self.room_c, self.room_c);
        let (mut time_s, mut next_s, mut before) = (0.0, 0.0, 0.0);
        let mut rows = Vec::new();
        while time_s < end_s {
            let volts = if (on_s..off_s).contains(&time_s) { self.drive_v } else { self.sense_v };
            let room_c = self.room_c + self.drift_k_per_h * time_s / 3600.0;
            if time_s >= next_s {
                let own = (1.0_f64 - self.alike * self.alike).sqrt() * noise.normal();
                before = self.alike * before + own;
                let seen_c = winding + self.noise_k * before;
                rows.push([time_s, volts, volts / ohm_at(seen_c), room_c, backing]);
                let soon = time_s < on_s + 40.0 || (off_s..off_s + 40.0).contains(&time_s);
                next_s += if soon { self.every_s[0] } else { self.every_s[1] };
                next_s = next_s.max(time_s + h);
            }
            // The midpoint rule, 5 ms at a time.
            let speed = |winding: f64, backing: f64| {
                let inner = (winding - backing) / self.coil[1];
                let heat = volts * volts / ohm_at(winding) - self.direct * (winding - room_c);
                let out = (backing - room_c) / self.coil[3];
                ((heat - inner) / self.coil[0], (inner - out) / self.coil[2])
            };
            let (a, b) = speed(winding, backing);
            let (a, b) = speed(winding + a * h / 2.0, backing + b * h / 2.0);
            (winding, backing) = (winding + a * h, backing + b * h);
            time_s += h;
        }
        rows
    }

    pub(crate) fn csv(&self, seed: u64) -> String {
        let ambient = if self.ambient { ",ambient_c" } else { "" };
        let mut text = format!("# an invented test\ntime_s,voltage_v,current_a{ambient}\n");
        for [time_s, volts, amps, room_c, _] in self.readings(seed) {
            let room = if self.ambient { format!(",{room_c:.2}") } else { String::new() };
            text += &format!("{time_s:.3},{volts:.4},{amps:.8}{room}\n");
        }
        text
    }

    pub(crate) fn fitted(&self, seed: u64) -> Fitted {
        self.fit_text(&self.csv(seed)).unwrap_or_else(|error| panic!("seed {seed}: {error}"))
    }

    pub(crate) fn fit_text(&self, text: &str) -> Result<Fitted, FitError> {
        let cold = Cold { celsius: (!self.ambient).then_some(self.room_c), ohm: None };
        let settings = Settings { coil_to_around_w_per_k: self.direct, ..Settings::default() };
        fit(&Log::new(&table::read(text)?, cold, |_| None)?, &settings)
    }
}

/// The four figures of a fit, with their relative standard errors.
pub(crate) fn figures(fitted: &Fitted) -> [(f64, f64); 4] {
    [
        fitted.coil_j_per_k,
        fitted.coil_to_backing_k_per_w,
        fitted.backing_j_per_k,
        fitted.backing_to_around_k_per_w,
    ]
    .map(|figure| (figure.value, figure.error / figure.value))
}
