//! The magnet that gives the bias: what it stands, how strong it is, where it is. As written, checked.

use serde::Serialize;

use super::finding::At;
use super::limits::{DIAMETER, MAGNET_LIMIT, THICKNESS};
use super::limits_lift::{BEHIND, HEIGHT, REMANENCE, SHUNT, WIDTH};
use super::section::Section;
use crate::coil::magnet::grade::{GRADES, Grade};
use crate::coil::magnet::{self, Block, Disc};

/// The magnet that gives the bias. There is one behind every coil, all alike.
#[derive(Debug, Clone, Serialize)]
pub struct Magnet {
    /// Its grade or the letter of it, where that is what was written.
    pub grade: Option<&'static str>,
    /// What it stands, C.
    pub limit_c: At<f64>,
    /// Whether that is what the grade says, and nothing lower was written.
    #[serde(skip)]
    pub limit_is_of_grade: bool,
    /// Thickness over diameter, where both were written.
    pub slenderness: Option<f64>,
    /// Its size, where it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub body: Option<Body>,
    /// How strong it is at 20 C, T: written, or the middle of its grade.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub remanence_t: Option<f64>,
    /// How that changes with temperature, as a share per kelvin.
    #[serde(skip)]
    pub per_k: f64,
    /// From the coils' front copper back to its face, mm, where it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub behind_mm: Option<At<f64>>,
    /// True when positive current works against it; default false.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub opposed: bool,
    /// Share of its field that iron between it and the fluid lets through, where it was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shunt: Option<f64>,
}

/// Size of a magnet; its thickness lies along the coil's axis, and so does its magnetisation.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Body {
    /// Round.
    Disc {
        /// Across, mm.
        diameter_mm: f64,
        /// Along the axis, mm.
        thickness_mm: f64,
    },
    /// A block.
    Block {
        /// To the right, mm.
        width_mm: f64,
        /// Up, mm.
        height_mm: f64,
        /// Along the axis, mm.
        thickness_mm: f64,
    },
}

impl Magnet {
    /// As the physics has it, magnetised the way positive current does; `None` where size or
    /// strength is not known.
    pub fn physics(&self) -> Option<magnet::Magnet> {
        let remanence_t = self.remanence_t? * if self.opposed { -1.0 } else { 1.0 };
        Some(match self.body? {
            Body::Disc { diameter_mm, thickness_mm } => magnet::Magnet::Disc(Disc {
                radius_m: diameter_mm * 5e-4,
                length_m: thickness_mm * 1e-3,
                remanence_t,
            }),
            Body::Block { width_mm, height_mm, thickness_mm } => magnet::Magnet::Block(Block {
                width_m: width_mm * 1e-3,
                height_m: height_mm * 1e-3,
                length_m: thickness_mm * 1e-3,
                remanence_t,
            }),
        })
    }
}

/// Letters of neodymium grades and what they stand, C (tables of magnet makers). The letters rank
/// how hard the material is to turn; the temperature is a guide that depends on the shape.
const LETTERS: [(&str, f64); 6] =
    [("N", 80.0), ("M", 100.0), ("H", 120.0), ("SH", 150.0), ("UH", 180.0), ("EH", 200.0)];

/// Change of remanence where only the letter is known: neodymium's.
const NEODYMIUM_PER_K: f64 = -0.0012;

/// From this thickness over diameter on a magnet stands what its grade says (magnet makers'
/// tables). Thinner ones work closer to where they weaken, and coils push them further.
pub(super) const SLENDER: f64 = 0.7;

/// Letters, then whole grades; the menu wants them in one row.
#[expect(clippy::indexing_slicing, reason = "worked out by the compiler, which checks every index")]
const WORDS: [&str; LETTERS.len() + GRADES.len()] = {
    let mut words = [""; LETTERS.len() + GRADES.len()];
    let mut at = 0;
    while at < LETTERS.len() {
        words[at] = LETTERS[at].0;
        at += 1;
    }
    let mut grade = 0;
    while grade < GRADES.len() {
        words[at + grade] = GRADES[grade].name;
        grade += 1;
    }
    words
};

pub(super) fn read(root: &mut Section<'_>) -> Option<Magnet> {
    let mut section = root.table("magnet")?;
    let written = section.peek("grade").map(|found| found.span);
    let word = section.word_or("grade", &WORDS);
    let limit = section.number_if(&MAGNET_LIMIT);
    let (slenderness, body) = read_body(&mut section);
    let strength = section.number_if(&REMANENCE).map(|remanence| remanence.value);
    let behind_mm = section.number_if(&BEHIND);
    let opposed = section.flag_or("opposed", false);
    let shunt = section.number_if(&SHUNT).map(|shunt| shunt.value);
    let grade = written.as_ref().and_then(|_| Grade::named(word));
    let of_grade = written.map(|span| {
        let of_letter = LETTERS.iter().find(|(letter, _)| *letter == word).map(|(_, c)| *c);
        At { value: grade.map(|grade| grade.limit_c).or(of_letter).unwrap_or(80.0), span }
    });
    let said = of_grade.is_some() || section.peek(MAGNET_LIMIT.key).is_some();
    if !said {
        let cure = "add `grade = \"N\"`, or `limit_c = ...` from its data sheet";
        section.pad.refuse(&section.span, "magnet: neither `grade` nor `limit_c` is there", cure);
    }
    let known = of_grade.is_some().then_some(word);
    section.finish();
    // A data sheet knows its magnet; where both stand, the lower counts.
    let lower = |a: At<f64>, b: At<f64>| if a.value <= b.value { a } else { b };
    let stands_c = of_grade.as_ref().map(|limit| limit.value);
    let limit_c = match (of_grade, limit) {
        (Some(of_grade), Some(limit)) => Some(lower(of_grade, limit)),
        (of_grade, limit) => of_grade.or(limit),
    };
    let limit_c = limit_c?;
    Some(Magnet {
        grade: known,
        limit_is_of_grade: stands_c.is_some_and(|stands_c| limit_c.value >= stands_c),
        limit_c,
        slenderness,
        body,
        remanence_t: strength.or(grade.map(|grade| grade.middle_t())),
        per_k: grade.map_or(NEODYMIUM_PER_K, |grade| grade.per_k),
        behind_mm,
        opposed,
        shunt,
    })
}

/// Thickness over diameter of a disc, and what is known of the size.
fn read_body(section: &mut Section<'_>) -> (Option<f64>, Option<Body>) {
    let thickness = section.number_if(&THICKNESS).map(|it| it.value);
    let diameter = section.number_if(&DIAMETER).map(|it| it.value);
    let (width, height) = (section.number_if(&WIDTH), section.number_if(&HEIGHT));
    if let (Some(_), Some(stray)) = (diameter, width.as_ref().or(height.as_ref())) {
        let title = "magnet: a disc has no width and height";
        section.pad.refuse(
            &stray.span,
            title,
            "keep `diameter_mm`, or width and height of a block",
        );
    }
    let sides = width.zip(height).map(|(width, height)| (width.value, height.value));
    let body = match (thickness, diameter, sides) {
        (Some(thickness_mm), Some(diameter_mm), _) => {
            Some(Body::Disc { diameter_mm, thickness_mm })
        }
        (Some(thickness_mm), None, Some((width_mm, height_mm))) => {
            Some(Body::Block { width_mm, height_mm, thickness_mm })
        }
        _ => None,
    };
    (thickness.zip(diameter).map(|(thick, wide)| thick / wide), body)
}
