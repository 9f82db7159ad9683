//! Which part of the decoded samples is the sound. Encoders put silence in front, and fill up the
//! last packet; where that begins and ends is told by the edit list (ISO/IEC 14496-12, 8.6.6), by
//! a last packet that lasts shorter than others, or by a comment named `iTunSMPB` (common
//! practice, no standard).

use super::super::feed::Window;
use super::super::fields::Fields;
use super::boxes::{child, children, descend};
use super::track::Edit;

/// More silence in front is not believed, instants: a tenth of a second at the highest rate.
const MOST_DELAY: u64 = 20_000;

/// What is known of a track's time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Clock {
    /// Instants in a second.
    pub(super) rate_hz: u32,
    /// The track's own units in a second.
    pub(super) track: u32,
    /// The whole file's units in a second.
    pub(super) movie: u32,
    /// Instants in all packets together, as far as the table says.
    pub(super) total: Option<u64>,
}

/// What is to be heard, and what should be said about it.
pub(super) fn window(
    edits: &[Edit],
    comment: Option<Comment>,
    clock: Clock,
) -> (Window, Vec<String>) {
    let mut notes = Vec::new();
    let heard: Vec<&Edit> = edits.iter().filter(|edit| edit.from.is_some()).collect();
    let before = edits.iter().take_while(|edit| edit.from.is_none());
    let silence: f64 = before.map(|edit| edit.lasts as f64 / f64::from(clock.movie)).sum();
    if silence >= 0.001 && !heard.is_empty() {
        notes.push(format!(
            "players of this file begin its sound after {silence:.3} s of silence, which were left out"
        ));
    }
    if heard.len() > 1 {
        notes.push(format!(
            "the file asks players to play {} parts of its sound; it was taken in one piece, as if \
             it asked for none",
            heard.len()
        ));
    }
    let edit = heard.first().filter(|_| heard.len() == 1);
    let start = edit.and_then(|edit| edit.from).map_or(0, |from| clock.instants(from, clock.track));
    let comment = comment.filter(|comment| {
        let fits = clock.total.is_none_or(|total| comment.end() <= total);
        fits && (start == 0 || start == comment.delay)
    });
    let window = match (comment, edit) {
        (Some(comment), _) => Window { start: comment.delay, end: Some(comment.end()) },
        (None, Some(edit)) => Window { start, end: clock.end(start, edit.lasts) },
        (None, None) => Window { start: 0, end: clock.total },
    };
    (window, notes)
}

impl Clock {
    /// The nearest instant.
    fn instants(self, units: u64, scale: u32) -> u64 {
        let scale = u128::from(scale.max(1));
        let scaled = u128::from(units) * u128::from(self.rate_hz) + scale / 2;
        u64::try_from(scaled / scale).unwrap_or(u64::MAX)
    }

    /// Where a part ends that is stated in the coarser units of the whole file. One unit is no
    /// difference: then the table is more exact.
    fn end(self, start: u64, lasts: u64) -> Option<u64> {
        let end = start.saturating_add(self.instants(lasts, self.movie));
        let unit = u64::from(self.rate_hz / self.movie.max(1)) + 1;
        match self.total {
            _ if lasts == 0 => self.total,
            Some(total) if end.saturating_add(unit) < total => Some(end),
            other => other,
        }
    }
}

/// What the comment says, instants.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Comment {
    delay: u64,
    sound: u64,
}

impl Comment {
    /// From the body of `moov`.
    pub(super) fn read(movie: &[u8]) -> Option<Self> {
        let meta = descend(movie, &[b"udta", b"meta"])?;
        // In MP4 files version and flags come first, in QuickTime films they do not.
        let list = child(meta.get(4..)?, b"ilst").or_else(|| child(meta, b"ilst"))?;
        children(list).filter(|(name, _)| name == b"----").find_map(|(_, entry)| {
            let name = child(entry, b"name")?.get(4..)?;
            let mut data = Fields(child(entry, b"data")?);
            data.skip(8)?;
            (name == b"iTunSMPB").then(|| Self::parse(data.0))?
        })
    }

    /// Words of hexadecimal digits: nothing, silence in front, filling at the end, samples between.
    fn parse(text: &[u8]) -> Option<Self> {
        let text = std::str::from_utf8(text.get(..text.len().min(256))?).ok()?;
        let mut words = text.split_ascii_whitespace().map(|word| u64::from_str_radix(word, 16));
        let delay = words.nth(1)?.ok()?;
        let sound = words.nth(1)?.ok()?;
        (delay <= MOST_DELAY && sound > 0).then_some(Self { delay, sound })
    }

    fn end(self) -> u64 {
        self.delay.saturating_add(self.sound)
    }
}

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    reason = "tests stop at the first surprise"
)]
mod tests {
    use super::*;

    const CLOCK: Clock =
        Clock { rate_hz: 44_100, track: 44_100, movie: 1_000, total: Some(50_000) };

    fn part(lasts: u64, from: u64) -> Edit {
        Edit { lasts, from: Some(from) }
    }

    #[test]
    fn the_most_exact_source_wins() {
        let plain = |edits: &[Edit], comment| window(edits, comment, CLOCK).0;
        let heard = |start, end| Window { start, end: Some(end) };
        assert_eq!(plain(&[], None), heard(0, 50_000));
        // 1.110 s is 48951 instants: with the delay 49975, within a millisecond of the table's end.
        assert_eq!(plain(&[part(1_110, 1_024)], None), heard(1_024, 50_000));
        // 1.000 s ends well before.
        assert_eq!(plain(&[part(1_000, 1_024)], None), heard(1_024, 45_124));
        assert_eq!(plain(&[part(0, 1_024)], None), heard(1_024, 50_000));
        let comment = Comment::parse(b" 00000000 00000840 000001CA 0000000000009C40 0 0").unwrap();
        assert_eq!(comment, Comment { delay: 2_112, sound: 40_000 });
        assert_eq!(plain(&[], Some(comment)), heard(2_112, 42_112));
        assert_eq!(plain(&[part(900, 2_112)], Some(comment)), heard(2_112, 42_112));
        // One that does not fit is not believed.
        assert_eq!(plain(&[part(1_000, 1_024)], Some(comment)), heard(1_024, 45_124));
        let long = Comment { delay: 2_112, sound: 60_000 };
        assert_eq!(plain(&[], Some(long)), heard(0, 50_000));
    }

    #[test]
    fn other_edits_are_named() {
        let silence = Edit { lasts: 500, from: None };
        let (heard, notes) = window(&[silence, part(1_000, 0)], None, CLOCK);
        assert_eq!(heard, Window { start: 0, end: Some(44_100) });
        assert!(notes.len() == 1 && notes[0].contains("0.500 s of silence"), "{notes:?}");
        let (heard, notes) = window(&[part(300, 0), part(300, 30_000)], None, CLOCK);
        assert_eq!(heard, Window { start: 0, end: Some(50_000) });
        assert!(notes.len() == 1 && notes[0].contains("2 parts"), "{notes:?}");
    }

    #[test]
    fn nonsense_is_no_comment() {
        for text in ["", "0 1", "0 zz 0 5", "0 FFFFFFFF 0 5", "0 840 0 0"] {
            assert_eq!(Comment::parse(text.as_bytes()), None, "{text}");
        }
    }
}
