//! What matches, what is said when it does not, and when it is asked again.

use super::super::error::BoardError;
use super::super::greeting::{Greeting, Stage};
use super::super::line::check_line;
use super::super::settings::Wiring;
use super::{board, payload, settings};
use crate::frame::Packing;
use crate::frame::wire::hello::{Hello, Role, Verdict};
use crate::frame::wire::limits::Limit;
use crate::units::Rate;

fn greeting() -> Greeting {
    let settings = settings();
    Greeting::new(&settings, &settings.boards[0])
}

/// A greeting that asked once and got this answer.
fn answered(answer: &Hello) -> Greeting {
    let mut greeting = greeting();
    greeting.restart(10.0);
    greeting.ask(10.0);
    greeting.heard(&payload(answer), 10.05);
    greeting
}

#[test]
fn a_board_that_matches_is_ready() {
    let ready = answered(&board(Verdict::Ready));
    assert_eq!((ready.stage(), ready.why()), (Stage::Ready, None));
    // A board that holds for less, or does not state its PWM, matches too.
    let shy = Hello { hold_ms: 100, pwm_hz: 0, ..board(Verdict::Ready) };
    assert_eq!(answered(&shy).stage(), Stage::Ready);
}

#[test]
fn every_difference_is_named() {
    type Change = fn(&mut Hello);
    let cases: [(Verdict, Change, &str); 9] = [
        (Verdict::Channels, |it| it.channels = 2, "2 channels, and the display wires channel 2"),
        (Verdict::Steps, |it| it.steps = 999, "full duty is 999 steps, the display's 1000"),
        (Verdict::Polarity, |it| it.two_way = true, "pushes both ways, the display one way"),
        (Verdict::Packing, |it| it.packing = Packing::Byte, "takes codes as Byte"),
        (Verdict::Ready, |it| it.hold_ms = 251, "for 251 ms, and heat is reckoned for 250 ms"),
        (Verdict::Ready, |it| it.pwm_hz = 2000, "PWM runs at 2000 Hz"),
        (Verdict::Slow, |it| it.hold_ms = 9, "holds a frame for 9 ms, and one lasts 10.0 ms"),
        (Verdict::Version, |_| (), "another major version"),
        (Verdict::Other(99), |_| (), "verdict 99"),
    ];
    for (verdict, change, words) in cases {
        let mut hello = board(verdict);
        change(&mut hello);
        let greeting = answered(&hello);
        assert_eq!(greeting.stage(), Stage::Refused, "{verdict:?}");
        let why = greeting.why().unwrap();
        assert!(why.contains(words), "{verdict:?}: {why}");
    }
    // A board that calls itself ready and is not is not driven either.
    let both = Hello { steps: 5, two_way: true, ..board(Verdict::Ready) };
    let why = answered(&both).why().unwrap().to_owned();
    assert!(why.contains("5 steps") && why.contains("both ways"), "{why}");
}

#[test]
fn more_channels_and_wider_packings_are_no_hindrance() {
    let mut greeting = answered(&Hello { channels: 8, ..board(Verdict::Channels) });
    assert_eq!(greeting.stage(), Stage::Asking);
    assert!(greeting.asks(10.05), "asks again at once");
    let offer = greeting.ask(10.06).clone();
    assert_eq!((offer.channels, offer.limits.len()), (8, 8));
    assert_eq!(offer.limits[3..], [Limit::OFF; 5], "channels nobody wired stay off");
    let wide = Hello { channels: 8, packing: Packing::Word, ..board(Verdict::Packing) };
    greeting.heard(&payload(&wide), 10.1);
    assert_eq!(greeting.ask(10.1).packing, Packing::Word);
    greeting.heard(&payload(&Hello { verdict: Verdict::Ready, ..wide.clone() }), 10.2);
    assert_eq!(greeting.stage(), Stage::Ready);
    assert_eq!((greeting.channels(), greeting.packing()), (8, Packing::Word));
    // The next board may be smaller again.
    greeting.restart(20.0);
    greeting.ask(20.0);
    greeting.heard(&payload(&board(Verdict::Channels)), 20.1);
    assert_eq!(greeting.ask(20.1).channels, 3);
    // A board that is never content is refused in the end.
    for _ in 0..10 {
        greeting.heard(&payload(&Hello { channels: 9, ..board(Verdict::Channels) }), 20.2);
        greeting.heard(&payload(&Hello { channels: 8, ..board(Verdict::Channels) }), 20.2);
    }
    assert_eq!(greeting.stage(), Stage::Refused);
}

#[test]
fn silence_is_asked_again_and_a_reset_at_once() {
    let mut greeting = greeting();
    greeting.restart(0.0);
    // What is left over from an earlier run is no answer.
    greeting.heard(&payload(&board(Verdict::Ready)), 0.0);
    assert_eq!(greeting.stage(), Stage::Asking);
    greeting.ask(0.0);
    assert!(!greeting.asks(0.2) && greeting.asks(0.25));
    for n in 1..9 {
        greeting.ask(f64::from(n));
    }
    assert!(!greeting.asks(8.9) && greeting.asks(9.0), "later, once a second");
    greeting.heard(&payload(&board(Verdict::Ready)), 9.1);
    // Its own HELLO comes back: an echo, no board.
    greeting.heard(&payload(&Hello { role: Role::Host, ..board(Verdict::Steps) }), 9.2);
    assert_eq!(greeting.stage(), Stage::Ready);
    greeting.heard(&payload(&board(Verdict::NoHello)), 9.3);
    assert_eq!(greeting.stage(), Stage::Asking);
    assert!(greeting.asks(9.3));
    greeting.ask(9.3);
    greeting.heard(&payload(&board(Verdict::NoHello)), 9.35);
    assert!(!greeting.asks(9.4), "the two crossed");
    // A refused board that was changed and reset is asked again.
    greeting.heard(&payload(&Hello { steps: 5, ..board(Verdict::Steps) }), 9.5);
    assert_eq!(greeting.stage(), Stage::Refused);
    assert!(!greeting.asks(100.0));
    greeting.heard(&payload(&board(Verdict::NoHello)), 100.0);
    assert!(greeting.asks(100.0));
    assert!(greeting.why().is_some(), "why it was refused is known until it is ready");
    greeting.heard(&[9, 9], 101.0);
    assert_eq!(
        greeting.why(),
        Some("it speaks version 9 of the link, this program speaks version 1")
    );
}

#[test]
fn a_line_that_is_too_slow_is_refused_with_its_arithmetic() {
    // 24 channels of 12 bits are 36 bytes; 9 more for the packet, 1 for stuffing, 1 delimiter: 47.
    // 200 a second of 470 bits are 94000 bit/s; 95 % of 96000 baud are 91200, of 99000 94050.
    let board = Wiring { number: 3, coils: vec![None; 24], limits: vec![Limit::OFF; 24] };
    let with = |baud| {
        let rate = Rate::new(200, 1).unwrap();
        let boards = vec![board.clone()];
        check_line(&super::BoardSettings { rate, baud, boards, ..settings() })
    };
    assert_eq!(with(Some(99_000)), Ok(99_000));
    let error = with(Some(96_000)).unwrap_err();
    assert_eq!(
        error.to_string(),
        "board 3: 200 frames/s of 47 bytes are 94000 bit/s, and a line of 96000 baud kept at 95 % \
         carries 194.0 frames/s: use a faster line (from 98948 baud on), or fewer frames"
    );
    assert_eq!(with(Some(98_948)), Ok(98_948));
    assert_eq!(with(None), Err(BoardError::NoBaud));
    let slow = super::BoardSettings { rate: Rate::new(3, 1).unwrap(), ..settings() };
    assert!(check_line(&slow).unwrap_err().to_string().contains("hold one for 250 ms"));
}
