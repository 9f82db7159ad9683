//! Findings as sentences: what was found and what to do.

use serde::Serialize;

use super::{Findings, Hum, LEAST_S, Legs, Meddling};

/// What +4 dBu gear gives above -10 dBV gear, dB: 0 dBu is 0.7746 V (1 mW in 600 ohm), 0 dBV is
/// 1 V, so 1.228 V stands against 0.316 V.
pub const PRO_OVER_HOME_DB: f64 = 11.78;

/// Peaks are wanted between these, dBFS. Common practice, no source.
const PEAKS_DBFS: (f64, f64) = (-20.0, -1.5);

/// Below this nothing is connected, dBFS. Common practice, no source.
const NOTHING_DBFS: f64 = -70.0;

/// A leg this far below the other is dead, dB. Common practice, no source.
const DEAD_DB: f64 = 30.0;

/// Legs that differ by more than this are worth a word, dB. Common practice, no source.
const UNEQUAL_DB: f64 = 4.0;

/// From here down the legs cancel each other. Common practice, no source.
const REVERSED: f64 = -0.6;

/// From here up both legs carry the same.
const SAME: f64 = 0.9999;

/// A mean value beyond this is worth a word, share of full scale.
const OFFSET: f64 = 0.01;

/// Hum below this stays under any quiet level, dBFS.
const HARMLESS_DBFS: f64 = -80.0;

/// One topic.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Advice {
    /// What it is about: `level`, `clipping`, `hum`, `offset`, `legs`, `meddling`.
    pub topic: &'static str,
    /// True when nothing needs doing.
    pub fine: bool,
    /// One or two sentences.
    pub text: String,
}

fn fine(topic: &'static str, text: impl Into<String>) -> Advice {
    Advice { topic, fine: true, text: text.into() }
}

fn amiss(topic: &'static str, text: impl Into<String>) -> Advice {
    Advice { topic, fine: false, text: text.into() }
}

/// One sentence a topic, always in the same order.
pub fn advise(findings: &Findings) -> Vec<Advice> {
    let level = level(findings);
    if findings.peak_dbfs.is_none_or(|peak| peak < NOTHING_DBFS) {
        return vec![level];
    }
    let mut advice = vec![level, clipping(findings), hum(findings)];
    advice.extend(offset(findings));
    advice.extend(findings.legs.map(legs));
    advice.push(meddling(findings.meddling));
    advice
}

fn level(findings: &Findings) -> Advice {
    let Some(peak) = findings.peak_dbfs.filter(|&peak| peak >= NOTHING_DBFS) else {
        return amiss(
            "level",
            "nothing is heard: play something, and check the plug, the input that is selected and \
             that it is not muted",
        );
    };
    let loud = findings.loud_dbfs.unwrap_or(peak);
    let said = format!("peaks at {peak:.1} dBFS, the louder half at {loud:.1} dBFS");
    let (low, high) = PEAKS_DBFS;
    if peak > high {
        amiss(
            "level",
            format!(
                "{said}: too close to the top. Turn it down until the loudest peaks stay under -6 \
                 dBFS; if this is +4 dBu studio gear in an input meant for -10 dBV home gear, it \
                 comes {PRO_OVER_HOME_DB:.0} dB too hot: set the input to +4 dBu or put in a 12 dB \
                 pad"
            ),
        )
    } else if peak < low {
        amiss(
            "level",
            format!(
                "{said}: low, the input's own noise comes closer. Turn it up by about {:.0} dB; if \
                 this is -10 dBV home gear in an input meant for +4 dBu studio gear, it comes \
                 {PRO_OVER_HOME_DB:.0} dB too low: set the input to -10 dBV",
                -8.0 - peak
            ),
        )
    } else {
        fine("level", format!("{said}: good"))
    }
}

fn clipping(findings: &Findings) -> Advice {
    let (full, below) = (findings.tops.at_full_scale, findings.tops.below_full_scale);
    if full > 0 {
        return amiss(
            "clipping",
            format!(
                "{full} tops are cut off at full scale: turn the source or the input down; kicks \
                 that are cut off smear into every band"
            ),
        );
    }
    // A few level samples at the top happen in any recording.
    if below >= 10 {
        return amiss(
            "clipping",
            format!(
                "{below} tops are cut off below full scale: something before the input is too \
                 loud (its own output stage, a mixer, a weak battery); turn down there, not here"
            ),
        );
    }
    fine("clipping", "none")
}

fn offset(findings: &Findings) -> Option<Advice> {
    let text = format!(
        "the sound sits {:.1} % of full scale off its middle: the input's direct-current filter is \
         off or the input is faulty; the lowest bands may see it",
        100.0 * findings.offset
    );
    (findings.offset > OFFSET).then(|| amiss("offset", text))
}

fn hum(findings: &Findings) -> Advice {
    if findings.heard_s < LEAST_S {
        return fine("hum", format!("not judged: that takes at least {LEAST_S:.0} s of sound"));
    }
    match &findings.hum {
        None => fine("hum", "no mains hum stands out"),
        Some(hum) if hum.dbfs < HARMLESS_DBFS => {
            fine("hum", format!("{}: too weak to stir the tank", hum_said(hum)))
        }
        Some(hum) if hum.mostly_even => amiss(
            "hum",
            format!(
                "{}, most of it at twice the mains: ripple of a power supply. Try another supply \
                 for the source, away from the coils' supply",
                hum_said(hum)
            ),
        ),
        Some(hum) => amiss(
            "hum",
            format!(
                "{}: a ground loop or a cable beside a transformer. Feed source and computer from \
                 one outlet, move the cable away from mains and coil leads, or put a line \
                 transformer (isolator) into it; never lift the protective earth",
                hum_said(hum)
            ),
        ),
    }
}

fn hum_said(hum: &Hum) -> String {
    format!(
        "mains hum of {:.0} Hz with {} of its first ten harmonics at {:.0} dBFS",
        hum.mains_hz,
        hum.harmonics.len(),
        hum.dbfs
    )
}

fn legs(legs: Legs) -> Advice {
    let (Some(left), Some(right)) = (legs.left_dbfs, legs.right_dbfs) else {
        let dead = if legs.left_dbfs.is_none() { "left" } else { "right" };
        return amiss("legs", dead_leg(dead, "carries nothing at all"));
    };
    let over = left - right;
    if over.abs() > DEAD_DB {
        let dead = if over < 0.0 { "left" } else { "right" };
        return amiss("legs", dead_leg(dead, &format!("is {:.0} dB below the other", over.abs())));
    }
    if legs.correlation < REVERSED {
        return amiss(
            "legs",
            format!(
                "left and right cancel each other (correlation {:.2}): one leg is reversed, or a \
                 balanced line is plugged in as stereo. Swap the two wires of one leg, or use the \
                 right cable; until then a route that hears `mid` hears next to nothing",
                legs.correlation
            ),
        );
    }
    if legs.correlation > SAME && over.abs() < 0.1 {
        return fine("legs", "left and right carry the same: a mono source");
    }
    let said = format!("correlation {:.2}, left {over:+.1} dB against right", legs.correlation);
    if over.abs() > UNEQUAL_DB {
        amiss("legs", format!("{said}: check the balance of the source and both plugs"))
    } else {
        fine("legs", format!("both alive ({said})"))
    }
}

fn dead_leg(leg: &str, how: &str) -> String {
    format!(
        "the {leg} leg {how}: a broken wire, a mono plug or a half-inserted one. Mappings that \
         hear `{leg}` stay still; with `all` one leg is enough"
    )
}

fn meddling(found: Option<Meddling>) -> Advice {
    let Some(found) = found else { return fine("meddling", "not judged: too quiet") };
    let mut signs = Vec::new();
    if let (true, Some(rise)) = (found.automatic_gain, found.floor_rise_db_per_s) {
        signs.push(format!(
            "the floor rises by {rise:.0} dB a second in pauses, as under automatic gain"
        ));
    }
    if found.gate {
        signs.push(format!(
            "the sound fell to nothing within 20 ms {} times, as under noise suppression (or the \
             source is digital and truly silent)",
            found.cut_to_nothing
        ));
    }
    if found.voice_band {
        signs.push("there is nothing above 9 kHz, as on an input for speech".into());
    }
    if signs.is_empty() {
        return fine("meddling", "no sign of automatic gain, gating or a voice filter");
    }
    amiss(
        "meddling",
        format!(
            "{}. Switch off everything for speech at this input (automatic gain, noise \
             suppression, echo cancelling): it flattens music",
            signs.join("; ")
        ),
    )
}
