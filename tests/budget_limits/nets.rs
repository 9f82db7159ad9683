//! Displays to test with: the worked one, and random ones from a seed.

use coilscore::budget::{
    Budget, BudgetSettings, CoilBudget, CoilHeat, Enclosure, Neighbours, Polarity, Pull, PullRange,
    PullSettings, Rail, Start,
};
use coilscore::coil::lift::PullLaw;
use coilscore::units::{
    Amps, Celsius, CoilId, JoulesPerKelvin, KelvinPerWatt, Ohms, Rate, Seconds, Share, Volts,
    WattsPerKelvin,
};

/// The worked coil: 10 ohm at 20 C, 4 and 25 J/K, 2.5 and 15 K/W, limits as given. Invented.
pub(crate) fn worked_coil(coil_limit_c: f64, backing_limit_c: f64) -> CoilBudget {
    CoilBudget {
        rail: 0,
        priority: 0,
        resistance: Ohms(10.0),
        reference: Celsius(20.0),
        period_over_tau: f64::INFINITY,
        heat: CoilHeat {
            coil: JoulesPerKelvin(4.0),
            backing: JoulesPerKelvin(25.0),
            coil_to_backing: KelvinPerWatt(2.5),
            backing_to_around: KelvinPerWatt(15.0),
            coil_to_around: KelvinPerWatt(f64::INFINITY),
            coil_limit: Celsius(coil_limit_c),
            backing_limit: Celsius(backing_limit_c),
        },
        margin: 0.0,
        power_scale: 1.0,
        polarity: Polarity::Unipolar,
        steps: 65_535,
        least_duty: 0.0,
        turn_rest: Seconds(0.0),
        pull: Pull::Straight,
    }
}

/// A rail that may start and rise as it likes.
pub(crate) fn rail(name: &str, volts: f64, limit_a: f64) -> Rail {
    Rail {
        name: name.into(),
        volts: Volts(volts),
        limit: Amps(limit_a),
        ramp: Seconds(0.0),
        slew_a_per_s: f64::INFINITY,
    }
}

/// A display of these coils on 12 V without a current limit, room 25 C, cold.
pub(crate) fn display(rate_hz: u32, coils: Vec<CoilBudget>) -> BudgetSettings {
    BudgetSettings {
        frame_rate: Rate::new(rate_hz, 1).unwrap(),
        hold_s: Seconds(0.0),
        knee_s: Seconds(0.0),
        room: Celsius(25.0),
        coils,
        neighbours: vec![],
        enclosure: None,
        rails: vec![rail("main", 12.0, f64::INFINITY)],
        start: Start::Cold,
    }
}

/// Repeatable numbers (SplitMix64).
pub(crate) struct Dice(pub u64);

impl Dice {
    pub(crate) fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// 0 to 1.
    pub(crate) fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    pub(crate) fn one_of<T: Copy>(&mut self, of: &[T]) -> T {
        of[(self.bits() % of.len() as u64) as usize]
    }
}

/// A random display: rows of six coils that touch, mixed drivers and PWM, any frame rate.
pub(crate) fn random(dice: &mut Dice, coils: usize) -> BudgetSettings {
    let coil = |dice: &mut Dice| random_coil(dice);
    let mut settings = display(1, (0..coils).map(|_| coil(dice)).collect());
    settings.frame_rate = Rate::new(dice.one_of(&[1, 2, 5, 20, 60, 200, 1000]), 1).unwrap();
    settings.hold_s = Seconds(dice.one_of(&[0.0, 0.25, 2.5]));
    settings.knee_s = Seconds(dice.one_of(&[0.0, 0.3, 2.0]));
    settings.room = Celsius(dice.between(15.0, 35.0));
    let links = dice.one_of(&[0.0, 0.05, 0.3]);
    for coil in 0..coils {
        for next in [coil + 1, coil + 6] {
            if next < coils && links > 0.0 {
                settings.neighbours.push(Neighbours {
                    a: CoilId(coil as u32),
                    b: CoilId(next as u32),
                    coils: WattsPerKelvin(links * dice.unit()),
                    backings: WattsPerKelvin(links * dice.between(0.5, 2.0)),
                });
            }
        }
    }
    if dice.unit() < 0.5 {
        settings.enclosure = Some(Enclosure {
            heat: JoulesPerKelvin(dice.between(20.0, 100.0) * coils as f64),
            to_room: KelvinPerWatt(dice.between(0.5, 5.0) / coils as f64),
            limit: dice.one_of(&[None, Some(Celsius(48.0))]),
        });
    }
    let volts = dice.one_of(&[12.0, 24.0]);
    settings.rails[0].volts = Volts(volts);
    settings.start = random_start(dice, &settings);
    settings
}

fn random_coil(dice: &mut Dice) -> CoilBudget {
    let mut coil = worked_coil(dice.between(65.0, 110.0), dice.between(50.0, 80.0));
    coil.resistance = Ohms(dice.between(6.0, 15.0));
    coil.period_over_tau = dice.one_of(&[f64::INFINITY, 0.0, 0.3, 0.761, 5.0, 30.0]);
    coil.heat.coil = JoulesPerKelvin(dice.between(1.0, 6.0));
    coil.heat.backing = JoulesPerKelvin(dice.between(8.0, 40.0));
    coil.heat.coil_to_backing = KelvinPerWatt(dice.between(0.7, 5.0));
    coil.heat.backing_to_around = KelvinPerWatt(dice.between(5.0, 25.0));
    coil.heat.coil_to_around = KelvinPerWatt(dice.one_of(&[f64::INFINITY, 60.0]));
    coil.steps = dice.one_of(&[1, 100, 255, 4095, 32_767]);
    coil.polarity = dice.one_of(&[Polarity::Unipolar, Polarity::SignMagnitude]);
    coil.priority = dice.one_of(&[0, 1, 2]);
    coil
}

fn random_start(dice: &mut Dice, settings: &BudgetSettings) -> Start {
    match dice.bits() % 4 {
        0 => Start::Cold,
        1 => Start::Warm,
        2 => Start::Unknown,
        _ => {
            // Anywhere within the box.
            let budget = Budget::new(settings).unwrap();
            let room_c = settings.room.0;
            let inside = |&c: &f64| Celsius(room_c + dice.unit() * (c - room_c));
            Start::Nodes(budget.bound_c().iter().map(inside).collect())
        }
    }
}

/// Gives most coils of a display a random law that can be driven, with random ways to use it.
pub(crate) fn with_laws(dice: &mut Dice, settings: &mut BudgetSettings) {
    for coil in 0..settings.coils.len() {
        if dice.unit() < 0.2 {
            continue;
        }
        let held = PullRange::Held { margin: dice.between(0.0, 0.5), at: dice.between(0.05, 1.0) };
        let c1 = dice.between(0.0, 2.5);
        let rest = dice.unit();
        let law = PullLaw {
            q0: dice.one_of(&[0.0, rest]),
            c1: if dice.unit() < 0.2 { -c1 } else { c1 },
            c2: dice.between(0.0, 2.0),
        };
        let pull = PullSettings {
            law,
            full: Amps(settings.rails[0].volts.0 / settings.coils[coil].resistance.0),
            most_u: dice.between(0.5, 1.0),
            drop_share: dice.between(0.4, 0.9),
            switch_drop: Volts(dice.one_of(&[0.0, 0.3])),
            freewheel_drop: Volts(dice.one_of(&[0.0, 0.5])),
            rise: Seconds(dice.between(0.0, 0.3)),
            release: Seconds(dice.one_of(&[0.0, 0.1])),
            range: dice.one_of(&[PullRange::FromRest, PullRange::FromLift, held]),
        };
        settings.coils[coil].pull = Pull::Law(pull);
        if Budget::new(settings).is_err() {
            settings.coils[coil].pull = Pull::Straight;
        }
    }
}

/// How a tester tries to hurt a display.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Demand {
    Random,
    Full,
    /// All on, all off, changing with this many frames.
    BangBang(u64),
    /// Rest, and now and then one frame of everything.
    Spikes,
    /// Neighbouring coils in turns.
    Turns(u64),
}

impl Demand {
    pub(crate) fn any(dice: &mut Dice) -> Self {
        let frames = 1 + dice.bits() % 40;
        [Self::Random, Self::Full, Self::BangBang(frames), Self::Spikes, Self::Turns(frames)]
            [(dice.bits() % 5) as usize]
    }

    pub(crate) fn wishes(self, dice: &mut Dice, frame: u64, wishes: &mut [Share]) {
        let spike = dice.unit() < 0.1;
        for (coil, wish) in wishes.iter_mut().enumerate() {
            let sign = if dice.unit() < 0.2 { -1.0 } else { 1.0 };
            let size = match self {
                Self::Random => dice.unit(),
                Self::Full => 1.0,
                Self::BangBang(frames) => f64::from(u8::from((frame / frames).is_multiple_of(2))),
                Self::Spikes => f64::from(u8::from(spike)),
                Self::Turns(frames) => {
                    f64::from(u8::from((frame / frames + coil as u64).is_multiple_of(2)))
                }
            };
            *wish = Share::saturating(sign * size);
        }
    }
}
