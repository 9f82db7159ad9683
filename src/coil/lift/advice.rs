//! What follows from a law, in words a maker can act on.

use super::law::PullLaw;
use crate::coil::fluid::spikes::Spikes;

/// Whether this coil can lift this fluid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reach {
    /// The coil lifts by itself, at this share of full current; a magnet saves heat.
    CoilAlone {
        /// Share of full current without the magnet.
        u: f64,
    },
    /// Only together with the magnet.
    WithBias {
        /// Share of full current.
        u: f64,
    },
    /// The magnet holds the fluid up by itself, current or not.
    MagnetAlone,
    /// Not even together.
    No {
        /// Pull over weight at full current.
        pull: f64,
    },
}

/// Judges a law within the coil's full current.
pub fn reach(law: &PullLaw) -> Reach {
    if law.q0 >= 1.0 {
        return Reach::MagnetAlone;
    }
    if law.c2 >= 1.0 {
        return Reach::CoilAlone { u: (1.0 / law.c2).sqrt() };
    }
    match law.lift() {
        Some(u) if u.abs() <= 1.0 => Reach::WithBias { u },
        _ => Reach::No { pull: law.pull(if law.c1 < 0.0 { -1.0 } else { 1.0 }) },
    }
}

/// How lifted fluid is let go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Release {
    /// Current off is enough.
    Off,
    /// It needs an opposing current, and so a driver that works both ways.
    Oppose {
        /// Share of full current, negative.
        u: f64,
    },
    /// Not even that: the pull grows again before it is low enough. Less bias.
    Never,
}

/// Judges letting go at `drop_share` of the lifting pull.
pub fn release(law: &PullLaw, drop_share: f64) -> Release {
    if law.q0 <= drop_share {
        return Release::Off;
    }
    match law.drop(drop_share) {
        Some(u) if u.abs() <= 1.0 => Release::Oppose { u },
        _ => Release::Never,
    }
}

/// The sentences: reach, release, polarity, spikes. `bias_t` is the bias field at the fluid.
pub fn sentences(law: &PullLaw, drop_share: f64, bias_t: f64, spikes: &Spikes) -> Vec<String> {
    let mut all = vec![reach_sentence(law)];
    all.push(match release(law, drop_share) {
        Release::Off => "Fluid drops when the current goes off: a driver that works one way will do, \
             with the current aiding the magnet."
            .to_owned(),
        Release::Oppose { u } => format!(
            "The magnet alone holds lifted fluid: dropping it takes {:.0} % of full current the other \
             way, so a driver that works both ways; on a one-way driver bring the bias below {drop_share}.",
            -100.0 * u * law.c1.signum()
        ),
        Release::Never => {
            format!("No opposing current within reach drops the fluid: bring the bias below {drop_share}.")
        }
    });
    if law.c1 < 0.0 {
        all.push(
            "Positive current works against the magnet: swap the coil's leads or turn the magnet."
                .into(),
        );
    }
    if law.least_pull_at().abs() < 1.0 {
        all.push(format!(
            "Opposing current beyond {:.0} % of full lifts again: never go there.",
            100.0 * law.least_pull_at().abs()
        ));
    }
    if bias_t > spikes.applied_t {
        all.push(format!(
            "A flat surface grows spikes from {:.1} mT on, {:.0} mm apart; the bias is {:.1} mT at the \
             fluid (deep layer, constant susceptibility).",
            spikes.applied_t * 1e3,
            spikes.spacing_m * 1e3,
            bias_t * 1e3
        ));
    }
    all
}

fn reach_sentence(law: &PullLaw) -> String {
    match reach(law) {
        Reach::CoilAlone { u } => format!(
            "The coil alone lifts at {:.0} % of full current{}.",
            100.0 * u,
            law.lift().map_or(String::new(), |with| format!(
                ", with the magnet at {:.0} %",
                100.0 * with
            ))
        ),
        Reach::WithBias { u } => format!(
            "The coil alone cannot lift (pull {:.2} of the weight at full current); with the magnet it \
             lifts at {:.0} % of full current.",
            law.c2,
            100.0 * u.abs()
        ),
        Reach::MagnetAlone => {
            "The magnet alone holds the fluid up: move it back, or the coil has nothing to do."
                .into()
        }
        Reach::No { pull } => format!(
            "Not even with the magnet does full current lift: the pull is {pull:.2} of the weight. Bring \
             the magnet or the fluid nearer, make the liquid heavier with salt, or take a coil with more \
             field per ampere."
        ),
    }
}
