//! Duties at which coils were seen to lift the fluid and to drop it.

use serde::Serialize;
use toml::de::DeValue;

use super::limits::{DROP, LIFT};
use super::section::Section;

/// What was seen of the coils of a block, one entry for each; 0 where nobody saw it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lifts {
    /// Duty at which the fluid lifted, 0 to 1.
    pub lift_duty: Vec<f64>,
    /// Duty at which it dropped again, 0 to 1.
    pub drop_duty: Vec<f64>,
    /// When: a date, as `2026-01-31`.
    pub on: Option<String>,
}

impl Lifts {
    /// Entry by entry, `None` where nobody saw it.
    pub fn seen(duties: &[f64]) -> impl Iterator<Item = Option<f64>> {
        duties.iter().map(|duty| (*duty > 0.0).then_some(*duty))
    }
}

/// What a block with so many coils says of it, if anything.
pub(super) fn read(section: &mut Section<'_>, coils: usize) -> Option<Lifts> {
    // Left out or not, they are known here.
    let _ = (section.find(LIFT.key), section.find(DROP.key));
    let lift = section.number_or_list(&LIFT, coils);
    let drop = section.number_or_list(&DROP, coils);
    let on = read_date(section);
    if lift.is_none() && drop.is_none() && on.is_none() {
        return None;
    }
    if let (Some(lift), Some(drop)) = (&lift, &drop) {
        let both =
            lift.value.iter().zip(&drop.value).position(|(lift, drop)| *lift > 0.0 && drop > lift);
        if let Some(coil) = both {
            let title =
                format!("{}, item {}: more than lifts it", section.path(DROP.key), coil + 1);
            section.pad.refuse(&drop.span, title, "the fluid drops at less than lifts it");
        }
    }
    let or_none = |duties: Option<super::finding::At<Vec<f64>>>| {
        duties.map_or_else(|| vec![0.0; coils], |duties| duties.value)
    };
    Some(Lifts { lift_duty: or_none(lift), drop_duty: or_none(drop), on })
}

fn read_date(section: &mut Section<'_>) -> Option<String> {
    let found = section.find("lift_on")?;
    match found.value {
        DeValue::Datetime(day) if day.date.is_some() && day.time.is_none() => Some(day.to_string()),
        _ => {
            let title = format!("{} is not a date", found.path);
            section.pad.refuse(&found.span, title, "write for example 2026-01-31, without quotes");
            None
        }
    }
}
