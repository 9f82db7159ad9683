//! Greeting: what a board answers to whom, and what it then does.

use super::in_c::{Board, Config};
use super::payload::*;

const CODES: [i32; 5] = [1, 2, 3, 4, 5];

fn config() -> Config {
    Config::new(5, 3500)
}

fn hello() -> Hello {
    Hello::new(5, 3500, TWELVE)
}

/// Its answer, as payload, to a host's.
fn answer(board: &mut Board, hello: &[u8]) -> Vec<u8> {
    board.said();
    board.feed(hello);
    let mut said = packets(&board.said());
    assert_eq!(said.len(), 1, "one answer");
    let (kind, frame, payload) = said.remove(0);
    assert_eq!((kind, frame), (HELLO, 0));
    payload
}

#[test]
fn every_verdict_is_given_to_whom_it_fits() {
    let change = |change: fn(&mut Hello)| {
        let mut hello = hello();
        change(&mut hello);
        hello.payload()
    };
    let cases = [
        (0, "as it should be", hello().payload()),
        (0, "a newer minor with more at the end", change(|h| (h.minor, h.tail) = (9, vec![7; 60]))),
        (0, "a wider packing", change(|h| h.packing = WORD)),
        (0, "a wider packing with signs", change(|h| h.packing = SIGNED_WORD)),
        (0, "frames that last as long as hold", change(|h| h.rate = [4, 1])),
        (0, "limits", change(|h| h.limits = vec![(9, 9); 5])),
        (1, "another major", change(|h| h.major = 2)),
        (1, "another major, whatever follows", vec![2]),
        (2, "wrong channels", change(|h| h.channels = 6)),
        (3, "wrong steps", change(|h| h.steps = 3499)),
        (4, "wrong polarity", change(|h| h.two_way = true)),
        (5, "a packing too narrow", change(|h| h.packing = BYTE)),
        (5, "no packing", change(|h| h.packing = 4)),
        (6, "frames longer than hold", change(|h| h.rate = [3_999, 1_000])),
        (6, "frames longer than the board's hold", change(|h| (h.hold_ms, h.rate) = (900, [2, 1]))),
        (6, "no hold", change(|h| h.hold_ms = 0)),
        (7, "no rate", change(|h| h.rate = [200, 0])),
        (7, "rate of none", change(|h| h.rate = [0, 1])),
        (7, "limits for other channels", change(|h| h.limits = vec![(9, 9); 4])),
        (7, "no role", change(|h| h.role = 0)),
        (7, "cut", hello().payload()[..27].to_vec()),
        (7, "nothing", vec![]),
        (7, "limits that do not follow", {
            let mut cut = change(|h| h.limits = vec![(9, 9); 5]);
            cut.pop();
            cut
        }),
    ];
    for (verdict, what, payload) in cases {
        let mut board = Board::greeted(&config(), &hello());
        assert!(board.frame(1, TWELVE, &CODES) && board.state().on);
        let answer = answer(&mut board, &packet(HELLO, 0, &payload));
        assert_eq!(answer[3], verdict, "{what}");
        // Good or bad, all is off, and only after a good one a frame is obeyed.
        let state = board.state();
        assert_eq!((state.on, state.duty), (false, vec![0; 5]), "{what}");
        let packing = if verdict == 0 { payload[4] } else { TWELVE };
        assert_eq!(board.frame(2, packing, &CODES), verdict == 0, "{what}");
        assert_eq!(board.state().on, verdict == 0, "{what}");
    }
}

#[test]
fn the_answer_says_what_is_in_force() {
    let mut config = config();
    config.hold_ms = 300;
    config.window_s = 60;
    config.limits = vec![(3000, 1000), (3500, 3500), (10, 5), (0, 0), (3500, 20)];
    let mut board = Board::new(&config);
    let mut hello = hello();
    hello.rate = [60_000, 1001];
    hello.window_s = 20;
    hello.limits = vec![(3500, 900), (65535, 65535), (20, 3), (7, 7), (100, 100)];
    let got = answer(&mut board, &hello.packet());
    let mut expected = vec![1, 0, 2, 0, TWELVE, 0b1_0000];
    for number in [5_u16, 3500] {
        expected.extend(number.to_le_bytes());
    }
    expected.extend(24_000_u32.to_le_bytes());
    expected.extend(250_u16.to_le_bytes()); // the smaller hold: the host's
    expected.extend(60_000_u32.to_le_bytes());
    expected.extend(1001_u32.to_le_bytes());
    // The smaller of each: a host can only tighten.
    for number in [20_u16, 5, 3000, 900, 3500, 3500, 10, 3, 0, 0, 100, 20] {
        expected.extend(number.to_le_bytes());
    }
    assert_eq!(got, expected);

    // The next host that asks for nothing gets the board's own again, and its own hold.
    let plain = Hello { hold_ms: 400, ..Hello::new(5, 3500, WORD) };
    let got = answer(&mut board, &plain.packet());
    assert_eq!((got[4], u16_at(&got, 14), u16_at(&got, 24)), (WORD, 300, 60));
    assert_eq!((u16_at(&got, 28), u16_at(&got, 30), u16_at(&got, 46)), (3000, 1000, 20));
}

#[test]
fn flags_and_packing_tell_what_the_board_is() {
    for (steps, two_way, packing) in
        [(255, false, BYTE), (256, false, TWELVE), (4096, false, WORD), (200, true, SIGNED_WORD)]
    {
        let config = Config { two_way, knows: 0b0_1110, ..Config::new(5, steps) };
        let mut board = Board::new(&config);
        board.run_until(1);
        let said = packets(&board.said());
        let flags = 0b0_1110 | u8::from(two_way);
        assert_eq!((said[0].2[3], said[0].2[4], said[0].2[5]), (8, packing, flags));
        let wrong = Hello { two_way: !two_way, ..Hello::new(5, steps, packing) };
        assert_eq!(answer(&mut board, &wrong.packet())[3], 4);
    }
}

#[test]
fn it_announces_itself_once_a_second_until_greeted() {
    let mut board = Board::new(&config());
    let mut heard = Vec::new();
    for now in 1..=3500 {
        board.tick(now);
        heard.extend(packets(&board.said()).into_iter().map(|(kind, _, p)| (now, kind, p[3])));
    }
    assert_eq!(heard, [(1, HELLO, 8), (1001, HELLO, 8), (2001, HELLO, 8), (3001, HELLO, 8)]);
    // Greeted, it reports ten times a second instead.
    board.feed(&hello().packet());
    assert_eq!(packets(&board.said()).len(), 1);
    let mut heard = Vec::new();
    for now in 3501..=4500 {
        board.tick(now);
        heard.extend(packets(&board.said()).into_iter().map(|(kind, ..)| (now, kind)));
    }
    let expected: Vec<(u32, u8)> = (1..=10).map(|k| (3500 + 100 * k, STATUS)).collect();
    assert_eq!(heard, expected);
}

/// A line whose two wires touch brings back the board's own words.
#[test]
fn it_does_not_talk_to_itself() {
    let mut board = Board::new(&config());
    board.run_until(1);
    let own = board.said();
    assert_eq!(packets(&own)[0].0, HELLO);
    board.feed(&own);
    assert!(board.said().is_empty());
    board.feed(&hello().packet());
    let own = board.said();
    assert!(board.state().greeted);
    board.feed(&own);
    assert!(board.said().is_empty() && !board.state().greeted);
}

#[test]
fn a_new_greeting_begins_the_numbers_anew() {
    let mut board = Board::greeted(&config(), &hello());
    assert!(board.frame(5000, TWELVE, &CODES));
    assert!(!board.frame(0, TWELVE, &CODES));
    board.feed(&hello().packet());
    assert!(board.frame(0, TWELVE, &CODES));
    let status = board.status();
    assert_eq!((status.taken, status.missed, status.dropped), (2, 0, 1));
}

/// Answers overtake reports, and none is sent in pieces.
#[test]
fn what_it_says_is_whole_however_slowly_it_is_asked() {
    let mut board = Board::greeted(&config(), &hello());
    board.run_until(100);
    board.feed(&hello().packet());
    let kinds: Vec<u8> = packets(&board.said()).iter().map(|(kind, ..)| *kind).collect();
    assert_eq!(kinds, [HELLO, STATUS]);
}
