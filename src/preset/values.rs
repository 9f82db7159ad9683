//! Values of a table: numbers within their limits, texts, choices. No bare float gets past.

use std::ops::RangeInclusive;

use toml::de::{DeInteger, DeValue};

use super::choice::Choice;
use super::finding::At;
use super::limits::Quantity;
use super::section::{Found, Pad, Section};
use super::words::{counted, either, listing, nearest};

/// What may stand for a key that offers kinds: bare words, and words with a table of their own.
pub(super) struct Menu {
    /// `"straight"`.
    pub(super) words: &'static [&'static str],
    /// `power`, and an example of how it is written.
    pub(super) tables: &'static [(&'static str, &'static str)],
}

/// What was picked from a [`Menu`].
pub(super) enum Picked<'a> {
    Word(&'static str),
    Table(&'static str, Section<'a>),
}

impl<'a> Section<'a> {
    /// A number that has to be there.
    pub(super) fn number(&mut self, quantity: &Quantity) -> Option<At<f64>> {
        let found = self.need(quantity.key, quantity.cure())?;
        read_number(self.pad, quantity, &found)
    }

    /// A number that may be left out.
    pub(super) fn number_if(&mut self, quantity: &Quantity) -> Option<At<f64>> {
        let found = self.find(quantity.key)?;
        read_number(self.pad, quantity, &found)
    }

    /// A number with a value for when it is left out.
    pub(super) fn number_or(&mut self, quantity: &Quantity, default: f64) -> At<f64> {
        self.number_if(quantity).unwrap_or(At { value: default, span: self.span.clone() })
    }

    /// A whole number that has to be there.
    pub(super) fn whole(&mut self, quantity: &Quantity) -> Option<At<u32>> {
        let found = self.need(quantity.key, quantity.cure())?;
        read_whole(self.pad, quantity, &found)
    }

    /// A whole number that may be left out.
    pub(super) fn whole_if(&mut self, quantity: &Quantity) -> Option<At<u32>> {
        let found = self.find(quantity.key)?;
        read_whole(self.pad, quantity, &found)
    }

    /// A whole number with a value for when it is left out.
    pub(super) fn whole_or(&mut self, quantity: &Quantity, default: u32) -> At<u32> {
        let found = self.find(quantity.key);
        found
            .and_then(|found| read_whole(self.pad, quantity, &found))
            .unwrap_or(At { value: default, span: self.span.clone() })
    }

    /// A yes or no with a value for when it is left out.
    pub(super) fn flag_or(&mut self, key: &'static str, default: bool) -> bool {
        match self.find(key) {
            Some(Found { value: DeValue::Boolean(flag), .. }) => *flag,
            Some(found) => {
                let title = format!("{} is neither true nor false", self.said(&found));
                self.pad.refuse(&found.span, title, "write true or false, without quotes");
                default
            }
            None => default,
        }
    }

    /// A short text that has to be there.
    pub(super) fn text(
        &mut self,
        key: &'static str,
        longest: usize,
        cure: &str,
    ) -> Option<At<String>> {
        let found = self.need(key, cure)?;
        self.checked_text(found, longest)
    }

    /// A short text that may be left out.
    pub(super) fn text_or_none(&mut self, key: &'static str, longest: usize) -> Option<At<String>> {
        let found = self.find(key)?;
        self.checked_text(found, longest)
    }

    fn checked_text(&self, found: Found<'a>, longest: usize) -> Option<At<String>> {
        let DeValue::String(text) = found.value else {
            let title = format!("{} is not a text", self.said(&found));
            self.pad.refuse(&found.span, title, "write it in double quotes");
            return None;
        };
        let text = text.trim();
        let label = match text.chars().count() {
            0 => "write at least one letter".to_owned(),
            count if count > longest => {
                format!("{count} characters are too many, {longest} are accepted")
            }
            _ if text.contains(char::is_control) => {
                "write one line, without control characters".to_owned()
            }
            _ => return Some(At { value: text.to_owned(), span: found.span }),
        };
        self.pad.refuse(&found.span, format!("{}: this text is not accepted", found.path), label);
        None
    }

    /// One of a few words, or what counts when it is left out.
    pub(super) fn choice<T: Choice>(&mut self, key: &'static str) -> T {
        T::named(self.word_or(key, T::WORDS)).unwrap_or(T::DEFAULT)
    }

    /// One of a list of words; the first when it is left out.
    pub(super) fn word_or(
        &mut self,
        key: &'static str,
        words: &'static [&'static str],
    ) -> &'static str {
        match self.menu(key, &Menu { words, tables: &[] }, false).map(|picked| picked.value) {
            Some(Picked::Word(word)) => word,
            _ => words.first().copied().unwrap_or_default(),
        }
    }

    /// One of the kinds of `menu`.
    pub(super) fn menu(
        &mut self,
        key: &'static str,
        menu: &Menu,
        required: bool,
    ) -> Option<At<Picked<'a>>> {
        let found = if required {
            self.need(key, format!("add {}", menu.says()))?
        } else {
            self.find(key)?
        };
        match found.value {
            DeValue::String(word) => {
                let picked = self.word(menu, word, &found)?;
                Some(At { value: Picked::Word(picked), span: found.span })
            }
            DeValue::Table(table) => {
                let choice = self.child(key, table, found.span.clone());
                self.tagged(menu, key, &choice)
            }
            _ => {
                let title = format!("{} is not known", self.said(&found));
                self.pad.refuse(&found.span, title, format!("write {}", menu.says()));
                None
            }
        }
    }

    fn word(&self, menu: &Menu, word: &str, found: &Found<'_>) -> Option<&'static str> {
        if let Some(known) = menu.words.iter().find(|&&known| known == word) {
            return Some(known);
        }
        if let Some((_, example)) = menu.tables.iter().find(|(tag, _)| *tag == word) {
            let title = format!("{} needs its numbers", self.said(found));
            self.pad.refuse(&found.span, title, format!("write for example `{example}`"));
            return None;
        }
        let title = format!("{} is not known", self.said(found));
        let label = match nearest(word, menu.words.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("write {}", menu.says()),
        };
        self.pad.refuse(&found.span, title, label);
        None
    }

    fn tagged(&self, menu: &Menu, key: &str, choice: &Section<'a>) -> Option<At<Picked<'a>>> {
        let tags: Vec<_> = choice.written().collect();
        let (tag, span) = match tags.as_slice() {
            [(tag, span)] => (*tag, span.clone()),
            [] => {
                let title = format!("{}: nothing is chosen", self.path(key));
                self.pad.refuse(&choice.span, title, format!("write {}", menu.says()));
                return None;
            }
            [_, (second, span), ..] => {
                let title = format!("{}: `{second}` is a second choice", self.path(key));
                self.pad.refuse(span, title, "keep one of them");
                return None;
            }
        };
        let Some(&(known, example)) = menu.tables.iter().find(|(known, _)| *known == tag) else {
            let title = format!("{}: `{tag}` is not known", self.path(key));
            let names = menu.words.iter().copied().chain(menu.tables.iter().map(|(tag, _)| *tag));
            let label = match nearest(tag, names) {
                Some(near) if menu.words.contains(&near) => format!("write `{key} = \"{near}\"`"),
                Some(near) => format!("did you mean `{key}.{near}`?"),
                None => format!("write {}", menu.says()),
            };
            self.pad.refuse(&span, title, label);
            return None;
        };
        let Some(Found { value: DeValue::Table(table), .. }) = choice.peek(known) else {
            let title = format!("{}.{tag} is not a table", self.path(key));
            self.pad.refuse(&span, title, format!("write for example `{example}`"));
            return None;
        };
        let section = choice.child(known, table, span.clone());
        Some(At { value: Picked::Table(known, section), span })
    }

    /// A list of numbers, each within the limits.
    pub(super) fn numbers(
        &mut self,
        quantity: &Quantity,
        count: RangeInclusive<usize>,
    ) -> Option<At<Vec<f64>>> {
        let found = self.need(quantity.key, format!("add `{} = [...]`", quantity.key))?;
        let items = self.list(&found, count)?;
        let read = |item: &Found<'_>| Some(read_number(self.pad, quantity, item)?.value);
        // Every item is looked at before the list is given up.
        let values: Vec<_> = items.iter().map(read).collect();
        Some(At { value: values.into_iter().collect::<Option<_>>()?, span: found.span })
    }

    /// One number for all, or a list with a number for each; `None` when it is left out.
    pub(super) fn number_or_list(
        &mut self,
        quantity: &Quantity,
        count: usize,
    ) -> Option<At<Vec<f64>>> {
        let found = self.peek(quantity.key)?;
        if let DeValue::Array(_) = found.value {
            return self.numbers(quantity, count..=count);
        }
        let one = self.number_if(quantity)?;
        Some(At { value: vec![one.value; count], span: one.span })
    }

    /// A list of whole numbers, if it is there.
    pub(super) fn wholes_if(
        &mut self,
        quantity: &Quantity,
        count: RangeInclusive<usize>,
    ) -> Option<At<Vec<u32>>> {
        let found = self.find(quantity.key)?;
        let items = self.list(&found, count)?;
        let read = |item: &Found<'_>| Some(read_whole(self.pad, quantity, item)?.value);
        let values: Vec<_> = items.iter().map(read).collect();
        Some(At { value: values.into_iter().collect::<Option<_>>()?, span: found.span })
    }

    /// A point `[x, y]` that has to be there.
    pub(super) fn point(&mut self, quantity: &Quantity) -> Option<[f64; 2]> {
        let found = self.need(quantity.key, format!("add `{} = [x, y]`", quantity.key))?;
        self.read_point(quantity, &found)
    }

    /// A point that may be left out.
    pub(super) fn point_if(&mut self, quantity: &Quantity) -> Option<[f64; 2]> {
        let found = self.find(quantity.key)?;
        self.read_point(quantity, &found)
    }

    /// A point with a value for when it is left out.
    pub(super) fn point_or(&mut self, quantity: &Quantity, default: [f64; 2]) -> [f64; 2] {
        self.point_if(quantity).unwrap_or(default)
    }

    /// A list of points.
    pub(super) fn points(
        &mut self,
        quantity: &Quantity,
        count: RangeInclusive<usize>,
    ) -> Option<Vec<[f64; 2]>> {
        let found = self.need(quantity.key, format!("add `{} = [[x, y]]`", quantity.key))?;
        let items = self.list(&found, count)?;
        let points: Vec<_> = items.iter().map(|item| self.read_point(quantity, item)).collect();
        points.into_iter().collect()
    }

    fn read_point(&self, quantity: &Quantity, found: &Found<'_>) -> Option<[f64; 2]> {
        let items = self.list(found, 2..=2)?;
        let read = |item: &Found<'_>| Some(read_number(self.pad, quantity, item)?.value);
        let values: Vec<_> = items.iter().map(read).collect();
        values.into_iter().collect::<Option<Vec<_>>>()?.try_into().ok()
    }

    fn list(&self, found: &Found<'a>, count: RangeInclusive<usize>) -> Option<Vec<Found<'a>>> {
        let DeValue::Array(items) = found.value else {
            let title = format!("{} is not a list", self.said(found));
            self.pad.refuse(&found.span, title, "write it in square brackets: [1, 2]");
            return None;
        };
        if !count.contains(&items.len()) {
            let (low, high) = count.into_inner();
            let title = format!("{} holds {}", found.path, counted(items.len(), "item"));
            let label = match low == high {
                true => format!("write exactly {low}"),
                false => format!("write {low} to {high}"),
            };
            self.pad.refuse(&found.span, title, label);
            return None;
        }
        let item = |(index, item): (usize, &'a toml::Spanned<DeValue<'a>>)| Found {
            path: format!("{}, item {}", found.path, index + 1),
            span: item.span(),
            value: item.get_ref(),
        };
        Some(items.iter().enumerate().map(item).collect())
    }

    fn said(&self, found: &Found<'_>) -> String {
        format!("{}: {}", found.path, self.pad.source.quote(&found.span))
    }
}

impl Menu {
    /// Everything that may be written, in words.
    fn says(&self) -> String {
        let words = self.words.iter().map(|word| format!("\"{word}\""));
        let examples = self.tables.iter().map(|(_, example)| format!("`{example}`"));
        if self.words.is_empty() && self.tables.len() > 1 {
            let kinds: Vec<_> = self.tables.iter().map(|(tag, _)| *tag).collect();
            let example = examples.take(1).collect::<String>();
            return format!("{example}; kinds: {}", listing('`', &kinds));
        }
        either(&words.chain(examples).collect::<Vec<_>>())
    }
}

/// A finite number within its limits.
fn read_number(pad: &Pad, quantity: &Quantity, found: &Found<'_>) -> Option<At<f64>> {
    let written = pad.source.quote(&found.span);
    let number = match found.value {
        DeValue::Integer(whole) => integer(whole),
        DeValue::Float(float) => float.as_str().parse::<f64>().ok(),
        _ => None,
    };
    let Some(number) = number.filter(|number| !number.is_nan()) else {
        let title = format!("{}: {written} is not a number", found.path);
        pad.refuse(&found.span, title, quantity.wanted("plain"));
        return None;
    };
    if !(quantity.low..=quantity.high).contains(&number) {
        let (range, unit) = (quantity.range(), quantity.unit_after());
        let title = format!("{}: {written}{unit} is outside {range}", found.path);
        pad.refuse(&found.span, title, quantity.because);
        return None;
    }
    // Minus zero and zero mean the same and must digest alike.
    Some(At { value: number + 0.0, span: found.span.clone() })
}

/// A whole number within its limits.
fn read_whole(pad: &Pad, quantity: &Quantity, found: &Found<'_>) -> Option<At<u32>> {
    let number = read_number(pad, quantity, found)?;
    let DeValue::Integer(_) = found.value else {
        let written = pad.source.quote(&found.span);
        let title = format!("{}: {written} is not a whole number", found.path);
        pad.refuse(&found.span, title, quantity.wanted("whole"));
        return None;
    };
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "limits of whole quantities lie within u32, which a test asserts"
    )]
    let value = number.value as u32;
    Some(At { value, span: number.span })
}

/// Any whole number as a float; exact within every range that is accepted.
fn integer(whole: &DeInteger<'_>) -> Option<f64> {
    match whole.radix() {
        10 => whole.as_str().parse().ok(),
        radix => u64::from_str_radix(whole.as_str(), radix).ok().map(|value| value as f64),
    }
}
