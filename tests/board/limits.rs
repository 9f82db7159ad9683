//! The board's own limits: how they are set, kept and read back.

use super::in_c::{Board, Config};
use super::payload::*;

const OWN: [(u16, u16); 5] = [(3000, 700), (3500, 3500), (0, 0), (1, 1), (200, 100)];

fn config() -> Config {
    Config { window_s: 60, limits: vec![(3500, 3500); 5], ..Config::new(5, 3500) }
}

/// Window and limits in a HELLO of the board.
fn in_force(payload: &[u8]) -> (u16, Vec<(u16, u16)>) {
    let channels = u16_at(payload, 26) as usize;
    let each = |k: usize| (u16_at(payload, 28 + 4 * k), u16_at(payload, 30 + 4 * k));
    (u16_at(payload, 24), (0..channels).map(each).collect())
}

fn last_hello(board: &mut Board) -> Vec<u8> {
    let (kind, _, payload) = packets(&board.said()).pop().expect("an answer");
    assert_eq!(kind, HELLO);
    payload
}

#[test]
fn they_are_stored_while_off_and_answered_after() {
    let hello = Hello::new(5, 3500, TWELVE);
    let mut board = Board::greeted(&config(), &hello);
    board.feed(&store(30, &OWN));
    assert!(board.state().store_due);
    assert!(board.said().is_empty(), "no answer before flash has them");
    assert!(!board.frame(1, TWELVE, &[1; 5]), "no frame meanwhile: the processor will stand still");
    board.ask(&[b'S', 1]);
    let answer = last_hello(&mut board);
    assert_eq!((answer[3], answer[5]), (0, 0b1_0000));
    assert_eq!(in_force(&answer), (30, OWN.to_vec()));
    // In force at once, without another greeting. What the coils did before is not known, so the
    // means stand at their limits: the first slot in full, then no more than the mean.
    assert!(board.frame(1, TWELVE, &[3500; 5]));
    assert_eq!(board.state().duty, [3000, 3500, 0, 1, 200]);
    assert_eq!(board.run_until(20), [10]);
    assert_eq!(board.state().duty, [700, 3500, 0, 1, 100]);
}

/// Flash wears: what it holds is answered at once, and not written again.
#[test]
fn the_same_limits_again_leave_flash_alone() {
    let mut board = Board::new(&config());
    board.feed(&store(30, &OWN));
    assert!(board.state().store_due);
    board.ask(&[b'S', 1]);
    let _ = last_hello(&mut board);
    board.feed(&store(30, &OWN));
    assert!(!board.state().store_due);
    assert_eq!(in_force(&last_hello(&mut board)), (30, OWN.to_vec()));
    // Any difference counts.
    board.feed(&store(31, &OWN));
    assert!(board.state().store_due);
    board.ask(&[b'S', 0]);
    // And what flash did not take is tried again.
    board.feed(&store(31, &OWN));
    assert!(board.state().store_due);
}

#[test]
fn they_need_no_greeting_and_no_flash() {
    let mut board = Board::new(&config());
    board.feed(&store(30, &OWN));
    board.ask(&[b'S', 0]);
    let answer = last_hello(&mut board);
    // Flash failed: they hold until reset, and bit 4 no longer says otherwise.
    assert_eq!((answer[3], answer[5]), (8, 0));
    assert_eq!(in_force(&answer), (30, OWN.to_vec()));
}

#[test]
fn they_are_refused_while_a_coil_is_on_or_when_they_do_not_fit() {
    let plain = (60, vec![(3500, 3500); 5]);
    let mut above = OWN;
    above[4].1 = 3501;
    let mut long = OWN.to_vec();
    long.push((1, 1));
    let miscounted = {
        let mut payload = [60_u16.to_le_bytes(), 4_u16.to_le_bytes()].concat();
        payload.extend([0; 20]);
        packet(LIMITS, 0, &payload)
    };
    let cases = [
        ("a coil is on", true, store(30, &OWN)),
        ("above the steps", false, store(30, &above)),
        ("no window", false, store(0, &OWN)),
        ("too many", false, store(30, &long)),
        ("too few", false, store(30, &OWN[..4])),
        ("another count than entries", false, miscounted),
        ("nothing", false, packet(LIMITS, 0, &[])),
    ];
    for (what, driving, asked) in cases {
        let mut board = Board::greeted(&config(), &Hello::new(5, 3500, TWELVE));
        let codes = [0, 0, 0, i32::from(driving), 0];
        board.frame(1, TWELVE, &codes);
        board.feed(&asked);
        assert!(!board.state().store_due, "{what}");
        assert_eq!(board.state().duty, codes, "{what}");
        let answer = last_hello(&mut board);
        assert_eq!((answer[3], in_force(&answer)), (0, plain.clone()), "{what}");
        assert_eq!(board.status().dropped, 1, "{what}");
    }
    // A frame of zeros is off: it ends, and the limits are taken.
    let mut board = Board::greeted(&config(), &Hello::new(5, 3500, TWELVE));
    board.frame(1, TWELVE, &[0; 5]);
    assert_eq!(board.feed(&store(30, &OWN)), 1);
    assert!(board.state().store_due && !board.state().on);
}

/// Limits that come when the coils have been driven: the means are known, and have to fall first.
#[test]
fn later_limits_meet_the_means_that_are() {
    let hello = Hello::new(5, 3500, TWELVE);
    let mut board = Board::greeted(&config(), &hello);
    board.frame(1, TWELVE, &[3500; 5]);
    board.feed(&packet(OFF, 2, &[]));
    board.feed(&store(60, &[(3000, 700); 5]));
    board.ask(&[b'S', 1]);
    board.frame(3, TWELVE, &[3500; 5]);
    assert_eq!(board.state().duty, [700; 5]);
    // 60 s * ln(3500 / 700) = 96.57 s by the closed form.
    board.run_until(96_000);
    board.frame(4, TWELVE, &[3500; 5]);
    assert_eq!(board.state().duty, [700; 5]);
    board.feed(&packet(OFF, 5, &[]));
    board.run_until(97_000);
    board.frame(6, TWELVE, &[3500; 5]);
    assert_eq!(board.state().duty, [3000; 5]);
}

#[test]
fn what_the_host_tightened_stays_tight() {
    let hello = Hello { window_s: 20, limits: vec![(100, 50); 5], ..Hello::new(5, 3500, TWELVE) };
    let mut board = Board::greeted(&config(), &hello);
    board.feed(&store(30, &OWN));
    board.ask(&[b'S', 1]);
    let answer = last_hello(&mut board);
    assert_eq!(in_force(&answer), (20, vec![(100, 50), (100, 50), (0, 0), (1, 1), (100, 50)]));
}

/// Two places in turn; the newer good one counts, and damage to it brings back the older.
#[test]
fn flash_keeps_the_newest_whole_limits() {
    let mut board = Board::new(&config());
    let restart = |board: &mut Board| {
        let found = board.ask(b"R") == [1];
        board.run_until(1);
        (found, in_force(&last_hello(board)))
    };
    let none = (60, vec![(3500, 3500); 5]);
    assert_eq!(restart(&mut board), (false, none.clone()), "flash fresh from the factory");
    let own = |most: u16| vec![(most, 5); 5];
    for (turn, most) in [(0, 100), (1, 200), (0, 300)] {
        board.feed(&store(30, &own(most)));
        assert!(board.state().store_due);
        assert_eq!(board.ask(b"W"), [turn], "never over the newest");
        board.said();
        assert_eq!(restart(&mut board), (true, (30, own(most))));
    }
    // Any byte of the newest, any bit of it.
    for at in [0_u32, 4, 7, 8, 20, 29, 35] {
        let mut flip = vec![b'X', 0];
        flip.extend(at.to_le_bytes());
        flip.push(1 << (at % 8));
        board.ask(&flip);
        assert_eq!(restart(&mut board), (true, (30, own(200))), "byte {at}");
        board.ask(&flip);
    }
    assert_eq!(restart(&mut board).1.1, own(300));
    board.ask(&[b'X', 0, 30, 0, 0, 0, 1]);
    board.ask(&[b'X', 1, 30, 0, 0, 0, 1]);
    assert_eq!(restart(&mut board), (false, none));
}

#[test]
fn limits_that_cannot_be_this_boards_limit_nothing() {
    for limits in [vec![(3501, 1); 5], vec![(1, 3501); 5]] {
        let mut board = Board::new(&Config { limits, ..config() });
        board.run_until(1);
        assert_eq!(in_force(&last_hello(&mut board)), (60, vec![(3500, 3500); 5]));
    }
}
