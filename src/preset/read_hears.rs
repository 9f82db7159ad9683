//! Reads what a route hears.

use super::finding::At;
use super::limits::{
    BAND, BAND_COUNT, EDGES, FIRST_BAND, FROM, HIGH, LAST_BAND, LOW, NOMINAL, Quantity, TO,
};
use super::read_ears;
use super::read_route::{not_above, rising};
use super::route::Hears;
use super::section::Section;
use super::values::{Menu, Picked};
use crate::analysis::scale::{Scale, Warped};

pub(super) const HEARS: Menu = Menu {
    words: &[],
    tables: &[
        ("band", "hears.band = { low_hz = 40, high_hz = 120 }"),
        ("scale_band", "hears.scale_band = { scale = \"third_octave\", nominal_hz = 63 }"),
        ("bands", "hears.bands = { scale = \"octave\", from_hz = 63, to_hz = 8000 }"),
        ("edges", "hears.edges = { hz = [40, 90, 200, 800] }"),
        ("onset", "hears.onset = { of = \"kick\" }"),
        ("onset_in_band", "hears.onset_in_band = { low_hz = 200, high_hz = 2000 }"),
        ("beat", "hears.beat = { lead_ms = 0 }"),
        ("beat_phase", "hears.beat_phase = { lead_ms = 0 }"),
        ("brightness", "hears.brightness = { low_hz = 300, high_hz = 4000 }"),
        ("loudness", "hears.loudness = { over = \"momentary\" }"),
    ],
};

pub(super) fn read(section: &mut Section<'_>) -> Option<At<Hears>> {
    let picked = section.menu("hears", &HEARS, true)?;
    let Picked::Table(tag, mut table) = picked.value else { return None };
    let hears = match tag {
        "band" => {
            let edges = rising(&mut table, [&LOW, &HIGH], 0.0);
            edges.map(|[low_hz, high_hz]| Hears::Band { low_hz, high_hz })
        }
        "scale_band" => read_scale_band(&mut table),
        "bands" => read_bands(&mut table),
        "edges" => read_edges(&mut table),
        _ => read_ears::read(tag, &mut table),
    };
    table.finish();
    Some(At { value: hears?, span: picked.span })
}

/// What a `scale` word stands for.
#[derive(Clone, Copy)]
enum Kind {
    Named(Scale),
    Bark,
    Warped(Warped),
}

fn read_scale_band(table: &mut Section<'_>) -> Option<Hears> {
    const KEYS: [&Quantity; 2] = [&NOMINAL, &BAND];
    let (word, kind) = read_scale(table, &KEYS)?;
    match kind {
        Kind::Named(scale) => {
            takes(table, &word, &KEYS, &[&NOMINAL], "its bands are named: write `nominal_hz`")?;
            let nominal = table.number(&NOMINAL)?;
            let nominal_hz = on_scale(table, scale, &NOMINAL, &nominal)?;
            Some(Hears::ScaleBand { scale, nominal_hz })
        }
        Kind::Bark => {
            takes(table, &word, &KEYS, &[&BAND], "its bands are numbered: write `band`")?;
            Some(Hears::BarkBand { band: table.whole(&BAND)?.value })
        }
        Kind::Warped(_) => {
            pass_over(table, &KEYS);
            let path = table.path("scale");
            let title = format!("{path}: bands of scale \"{}\" have no names", word.value);
            let cure = "write `hears.band = { low_hz = ..., high_hz = ... }`";
            table.pad.refuse(&word.span, title, cure);
            None
        }
    }
}

fn read_bands(table: &mut Section<'_>) -> Option<Hears> {
    const KEYS: [&Quantity; 5] = [&FROM, &TO, &BAND_COUNT, &FIRST_BAND, &LAST_BAND];
    let (word, kind) = read_scale(table, &KEYS)?;
    match kind {
        Kind::Named(scale) => {
            let cure = "write `from_hz` and `to_hz`: the names of its first and its last band";
            takes(table, &word, &KEYS, &[&FROM, &TO], cure)?;
            read_named(table, scale)
        }
        Kind::Bark => {
            let cure = "its bands are numbered: write `from_band` and `to_band`";
            takes(table, &word, &KEYS, &[&FIRST_BAND, &LAST_BAND], cure)?;
            let (from, to) = (table.whole(&FIRST_BAND), table.whole(&LAST_BAND));
            let (from, to) = (from?, to?);
            if to.value <= from.value {
                let to = At { value: f64::from(to.value), span: to.span };
                not_above(table, &LAST_BAND, &to, f64::from(from.value), &FIRST_BAND);
                return None;
            }
            Some(Hears::BarkBands { from_band: from.value, to_band: to.value })
        }
        Kind::Warped(scale) => {
            let cure = "write `from_hz`, `to_hz` and `count`";
            takes(table, &word, &KEYS, &[&FROM, &TO, &BAND_COUNT], cure)?;
            read_warped(table, scale)
        }
    }
}

fn read_named(table: &mut Section<'_>, scale: Scale) -> Option<Hears> {
    let (from, to) = (table.number(&FROM), table.number(&TO));
    let (from, to) = (from?, to?);
    let from_hz = on_scale(table, scale, &FROM, &from);
    let to_hz = on_scale(table, scale, &TO, &to);
    let (from_hz, to_hz) = (from_hz?, to_hz?);
    if to_hz <= from_hz {
        not_above(table, &TO, &to, from_hz, &FROM);
        return None;
    }
    Some(Hears::Bands { scale, from_hz, to_hz })
}

fn read_warped(table: &mut Section<'_>, scale: Warped) -> Option<Hears> {
    let ends = rising(table, [&FROM, &TO], 0.0);
    let written = table.find(BAND_COUNT.key).is_some();
    let count = match scale {
        Warped::Erb if !written => None,
        Warped::Erb | Warped::Mel => Some(table.whole(&BAND_COUNT)?),
    };
    let [from_hz, to_hz] = ends?;
    let count = match scale {
        Warped::Erb => whole_erbs(table, [from_hz, to_hz], count)?,
        Warped::Mel => count?.value,
    };
    Some(Hears::WarpedBands { scale, from_hz, to_hz, count })
}

/// ERB bands are one ERB wide or more; left out, there are as many as that allows.
fn whole_erbs(
    table: &mut Section<'_>,
    [from_hz, to_hz]: [f64; 2],
    count: Option<At<u32>>,
) -> Option<u32> {
    let units = Warped::Erb.units_between(from_hz, to_hz);
    // Ends that were computed to be whole units apart may miss that by their last digits.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "hearing has about 43 ERB"
    )]
    let most = (units + 1e-6).floor().max(0.0) as u32;
    if most == 0 {
        let one_up = Warped::Erb.to_hz(Warped::Erb.from_hz(from_hz) + 1.0).ceil();
        let to = table.number(&TO)?;
        let title =
            format!("{}: {to_hz} Hz is less than one ERB above from_hz", table.path("to_hz"));
        table.pad.refuse(&to.span, title, format!("write at least {one_up} Hz"));
        return None;
    }
    let Some(count) = count else { return Some(most) };
    if count.value > most {
        let path = table.path(BAND_COUNT.key);
        let title = format!("{path}: {} bands would be narrower than one ERB", count.value);
        let cure = format!("from {from_hz} to {to_hz} Hz there is room for {most}");
        table.pad.refuse(&count.span, title, cure);
        return None;
    }
    Some(count.value)
}

/// The scale and its word; without one, no key of the table can be judged.
fn read_scale(
    table: &mut Section<'_>,
    keys: &[&'static Quantity],
) -> Option<(At<&'static str>, Kind)> {
    const MENU: Menu =
        Menu { words: &["octave", "third_octave", "bark", "erb", "mel"], tables: &[] };
    let picked = table.menu("scale", &MENU, true);
    let Some(At { value: Picked::Word(word), span }) = picked else {
        pass_over(table, keys);
        return None;
    };
    let kind = match word {
        "octave" => Kind::Named(Scale::Octave),
        "third_octave" => Kind::Named(Scale::ThirdOctave),
        "bark" => Kind::Bark,
        "erb" => Kind::Warped(Warped::Erb),
        _ => Kind::Warped(Warped::Mel),
    };
    Some((At { value: word, span }, kind))
}

/// Makes keys known, so that they are not refused for what is wrong with another one.
fn pass_over(table: &mut Section<'_>, keys: &[&'static Quantity]) {
    for quantity in keys {
        table.find(quantity.key);
    }
}

/// Refuses the first key that belongs to another scale.
fn takes(
    table: &mut Section<'_>,
    word: &At<&'static str>,
    all: &[&'static Quantity],
    own: &[&'static Quantity],
    cure: &str,
) -> Option<()> {
    let foreign = |quantity: &&&Quantity| own.iter().all(|known| known.key != quantity.key);
    let strays = all.iter().filter(foreign);
    let Some(stray) = strays.filter_map(|quantity| table.peek(quantity.key)).next() else {
        return Some(());
    };
    let title = format!("{}: scale \"{}\" has no such key", stray.path, word.value);
    table.pad.refuse(&stray.span, title, cure);
    pass_over(table, all);
    None
}

fn on_scale(table: &Section<'_>, scale: Scale, key: &Quantity, hz: &At<f64>) -> Option<f64> {
    if scale.band(hz.value).is_some() {
        return Some(hz.value);
    }
    let written = table.pad.source.quote(&hz.span);
    let title = format!("{}: the scale has no band named {written} Hz", table.path(key.key));
    let label = format!("the nearest is {} Hz", scale.nearest(hz.value));
    table.pad.refuse(&hz.span, title, label);
    None
}

fn read_edges(table: &mut Section<'_>) -> Option<Hears> {
    let edges = table.numbers(&EDGES, 2..=129)?;
    let pairs = edges.value.iter().zip(edges.value.iter().skip(1));
    if let Some((low, high)) = pairs.clone().find(|(low, high)| low >= high) {
        let title = format!("{}: {high} Hz follows {low} Hz", table.path(EDGES.key));
        table.pad.refuse(&edges.span, title, "write the edges rising, each one once");
        return None;
    }
    Some(Hears::Edges { hz: edges.value })
}
