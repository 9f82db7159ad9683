//! Reads what a route moves.

use super::finding::At;
use super::limits::{EDGE, FADE, FASTEST, SOURCE, SPEED, SPOT, START, TOWARDS};
use super::route::{Moves, Path};
use super::section::Section;
use super::values::{Menu, Picked};

pub(super) const MOVES: Menu = Menu {
    words: &[],
    tables: &[
        ("level_all", "moves.level_all = { group = \"all\" }"),
        ("column", "moves.column = { group = \"all\", towards_deg = 90, edge_mm = 20 }"),
        ("along", "moves.along = { group = \"all\", towards_deg = 0 }"),
        (
            "carry",
            "moves.carry = { group = \"all\", path = \"ring\", spot_mm = 80, fastest_mm_per_s = 300 }",
        ),
        ("outward", "moves.outward = { group = \"all\", mm_per_s = 400 }"),
    ],
};
pub(super) const PATH: Menu = Menu {
    words: &["ring"],
    tables: &[
        ("axis", "path.axis = { towards_deg = 0 }"),
        ("ring", "path.ring = { start_deg = 90, clockwise = true }"),
    ],
};

pub(super) fn read_moves(section: &mut Section<'_>) -> Option<At<Moves>> {
    let picked = section.menu("moves", &MOVES, true)?;
    let Picked::Table(tag, mut table) = picked.value else { return None };
    let group = table.text("group", 64, "add `group = \"all\"`, or a group of your display");
    let moves = match tag {
        "level_all" => group.map(|group| Moves::LevelAll { group }),
        "column" => {
            let (towards, edge) = (table.number(&TOWARDS), table.number(&EDGE));
            group.zip(towards).zip(edge).map(|((group, towards), edge)| Moves::Column {
                group,
                towards_deg: towards.value,
                edge_mm: edge.value,
            })
        }
        "along" => {
            let towards = table.number(&TOWARDS);
            let along =
                |(group, towards): (_, At<f64>)| Moves::Along { group, towards_deg: towards.value };
            group.zip(towards).map(along)
        }
        "carry" => read_carry(&mut table, group),
        _ => read_outward(&mut table, group),
    };
    table.finish();
    Some(At { value: moves?, span: picked.span })
}

fn read_carry(table: &mut Section<'_>, group: Option<At<String>>) -> Option<Moves> {
    let path = read_path(table);
    let (spot, fastest) = (table.number(&SPOT), table.number(&FASTEST));
    Some(Moves::Carry {
        group: group?,
        path: path?,
        spot_mm: spot?.value,
        fastest_mm_per_s: fastest?.value,
    })
}

fn read_path(table: &mut Section<'_>) -> Option<Path> {
    let whole = Path::Ring { start_deg: 90.0, clockwise: true };
    let Picked::Table(tag, mut path) = table.menu("path", &PATH, true)?.value else {
        return Some(whole);
    };
    let read = if tag == "axis" {
        path.number(&TOWARDS).map(|towards| Path::Axis { towards_deg: towards.value })
    } else {
        let start_deg = path.number_or(&START, 90.0).value;
        Some(Path::Ring { start_deg, clockwise: path.flag_or("clockwise", true) })
    };
    path.finish();
    read
}

fn read_outward(table: &mut Section<'_>, group: Option<At<String>>) -> Option<Moves> {
    let from_mm = table.point_if(&SOURCE);
    let speed = table.number(&SPEED);
    let fade_per_m = table.number_or(&FADE, 0.0).value;
    Some(Moves::Outward { group: group?, from_mm, mm_per_s: speed?, fade_per_m })
}
