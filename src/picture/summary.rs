//! The song in a sentence or two.

use super::axes::{clock, short};
use super::column::MeanCell;
use super::timeline::{Ending, Timeline};

/// Shares smaller than this are not worth a word.
const WORTH_SAYING: f64 = 0.0005;

/// What was asked and what became of it, and what came closest to its bound.
pub fn sentence(song: &Timeline) -> String {
    let asked = song.asked();
    let sum = |cell: &MeanCell| cell.sum.max(0.0);
    let (wished, granted) = (sum(&asked.wished), sum(&asked.granted));
    let Some(mean) = asked.wished.mean() else {
        return "The file holds no meter readings.".to_owned();
    };
    if wished <= 0.0 {
        return "Nothing was asked of any coil.".to_owned();
    }
    let cuts: Vec<String> =
        [("heat took", &asked.heat), ("supply", &asked.rail), ("driver", &asked.driver)]
            .into_iter()
            .map(|(name, cell)| (name, sum(cell) / wished))
            .filter(|(_, share)| *share >= WORTH_SAYING)
            .map(|(name, share)| format!("{name} {}", percent(share)))
            .collect();
    let coils = if short(mean) == "1" { "coil" } else { "coils" };
    let mut words = format!("Asked {} {coils} on average, ", short(mean));
    if cuts.is_empty() {
        words += "all of it granted.";
    } else {
        let cuts = cuts.join(", ");
        let cuts = if cuts.starts_with("heat") { cuts } else { format!("cut by {cuts}") };
        words += &format!("{} granted; {cuts}.", percent(granted / wished));
    }
    words + &closest(song)
}

fn closest(song: &Timeline) -> String {
    let winding = song.closest_winding().map(|found| ("winding", found));
    let backing = song.closest_backing().map(|found| ("backing", found));
    let nearest = [winding, backing]
        .into_iter()
        .flatten()
        .min_by(|(_, (_, a)), (_, (_, b))| (a.bound_c - a.now_c).total_cmp(&(b.bound_c - b.now_c)));
    let Some((what, (column, node))) = nearest else { return String::new() };
    let frame = column as u64 * song.frames_per_column();
    format!(
        " Nearest its bound: {what} of coil {}, {:.1} of {:.1} °C at {}.",
        node.coil,
        node.now_c,
        node.bound_c,
        clock(song.about().rate.time_of(frame).0, 1.0)
    )
}

/// What a reader must know before trusting the picture.
pub fn warnings(song: &Timeline) -> Vec<String> {
    let mut warnings = Vec::new();
    if song.ending == Ending::CutShort {
        warnings.push(format!("The file ends early at {}.", clock(song.length().0, 1.0)));
    }
    warnings
}

fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    if percent >= 9.95 { format!("{percent:.0} %") } else { format!("{percent:.1} %") }
}
