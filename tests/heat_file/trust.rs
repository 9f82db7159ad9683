//! What is believed and what is not.

use coilscore::run::heat_file::{Boot, Moment, Record, Unknown, read};
use coilscore::units::Seconds;

use super::world::{DIGEST, World, row};

fn at(unix_ms: Option<u64>, boot: Option<(&str, u64)>) -> Moment {
    let boot = boot.map(|(id, up_ms)| Boot { id: id.into(), up_ms });
    Moment { unix_ms, boot }
}

#[test]
fn age_is_the_smaller_and_a_clock_that_went_backwards_is_none() {
    let then = at(Some(1_000_000), Some(("a", 50_000)));
    let since = |now: Moment| now.since(&then);
    // One run of the machine: its own count catches a clock that was set forward.
    assert_eq!(since(at(Some(1_005_000), Some(("a", 55_000)))), Ok(Seconds(5.0)));
    assert_eq!(since(at(Some(87_400_000), Some(("a", 55_000)))), Ok(Seconds(5.0)));
    assert_eq!(since(at(Some(1_002_000), Some(("a", 55_000)))), Ok(Seconds(2.0)));
    assert_eq!(since(at(Some(999_999), Some(("a", 55_000)))), Err(Unknown::ClockBackwards));
    assert_eq!(since(at(Some(1_005_000), Some(("a", 49_999)))), Err(Unknown::ClockBackwards));
    // Another one: it cannot have been up for longer than has passed.
    assert_eq!(since(at(Some(1_060_000), Some(("b", 20_000)))), Ok(Seconds(60.0)));
    assert_eq!(since(at(Some(1_060_000), Some(("b", 61_000)))), Err(Unknown::ClockBackwards));
    // No such count, or no clock at all.
    assert_eq!(since(at(Some(1_060_000), None)), Ok(Seconds(60.0)));
    assert_eq!(since(at(None, Some(("a", 55_000)))), Err(Unknown::NoClock));
    let clockless = at(None, None);
    assert_eq!(then.since(&clockless), Err(Unknown::NoClock));
}

#[test]
fn a_real_moment_is_known_and_does_not_run_backwards() {
    let first = Moment::now();
    assert!(first.unix_ms.is_some());
    let passed = Moment::now().since(&first).unwrap();
    assert!((0.0..60.0).contains(&passed.0));
}

/// Every file cut short and every byte changed: refused, or it means the same.
#[test]
fn no_torn_or_edited_file_is_believed() {
    let mut world = World::new(row(70.0, 50.0));
    world.run(500, true);
    world.rest(7.0, false);
    let (whole, known) = (world.file.clone().unwrap(), world.known().unwrap());
    for cut in 0..whole.len() {
        world.file = Some(whole[..cut].to_owned());
        match world.known() {
            Err(Unknown::Torn) => {}
            Ok(same) => assert_eq!((same, cut), (known.clone(), whole.len() - 1)),
            Err(other) => panic!("{cut}: {other}"),
        }
    }
    for place in 0..whole.len() {
        for with in [b'0', b'7', b'-', b'.', b' ', b'e', b'"', b'x'] {
            let mut bytes = whole.clone().into_bytes();
            bytes[place] = with;
            world.file = Some(String::from_utf8(bytes).unwrap());
            match world.known() {
                Ok(same) => assert_eq!(same, known, "{place}"),
                Err(Unknown::Torn | Unknown::OtherVersion) => {}
                Err(other) => panic!("{place}: {other}"),
            }
        }
    }
    let wrong_order = whole.replacen("closed\": false", "closed\": true", 1);
    assert_ne!(wrong_order, whole);
    world.file = Some(wrong_order);
    assert_eq!(world.known(), Err(Unknown::Torn));
}

#[test]
fn another_display_is_another_display() {
    let world = World::new(row(70.0, 50.0));
    let text = |digest: &str, nodes: usize| {
        Record::new(digest, "row", 250.0, world.moment(), &vec![40.0; nodes]).to_text()
    };
    let known = |text: &str| read(text, DIGEST, &world.settings, &world.moment());
    assert!(known(&text(DIGEST, 6)).is_ok());
    assert_eq!(known(&text("another", 6)), Err(Unknown::OtherDisplay));
    // Right by name, wrong in number: made by hand, as no run writes it.
    assert_eq!(known(&text(DIGEST, 5)), Err(Unknown::Torn));
    assert_eq!(known(&text(DIGEST, 7)), Err(Unknown::Torn));
    assert_eq!(
        known(&text(DIGEST, 6).replace("\"format\": 1", "\"format\": 2")),
        Err(Unknown::OtherVersion)
    );
    for text in ["", "{}", "[]", "null", "\u{0}\u{0}\u{0}", "{\"format\": 1}"] {
        assert_eq!(known(text), Err(Unknown::Torn), "{text}");
    }
}
