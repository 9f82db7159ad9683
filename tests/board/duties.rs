//! Frames: which are taken, what becomes of their codes, and what turns all off.

use super::in_c::{Board, Config};
use super::payload::*;

fn one_way() -> (Config, Hello) {
    (Config::new(5, 3500), Hello::new(5, 3500, TWELVE))
}

#[test]
fn codes_arrive_in_every_packing() {
    let cases: [(u8, u16, [i32; 5]); 5] = [
        (BYTE, 255, [0, 1, 254, 255, 128]),
        (TWELVE, 4095, [0, 0x123, 0xFED, 4095, 0x800]),
        (WORD, 65535, [0, 0x1234, 65535, 32768, 255]),
        (SIGNED_WORD, 32767, [0, -32767, 32767, -1, 256]),
        (TWELVE, 3500, [3500, 3499, 0, 1, 3500]),
    ];
    for (packing, steps, codes) in cases {
        for channels in [1, 2, 5, 24, 512] {
            let codes: Vec<i32> = codes.into_iter().cycle().take(channels).collect();
            let two_way = packing == SIGNED_WORD;
            let config = Config { two_way, ..Config::new(channels, steps) };
            let mut board = Board::greeted(&config, &Hello::new(channels, steps, packing));
            assert!(board.frame(7, packing, &codes));
            let state = board.state();
            assert_eq!((state.on, state.duty), (true, codes), "{packing}, {channels} channels");
        }
    }
}

/// RFC 1982 (serial number arithmetic), section 3.2: of two numbers in 32 bits, the one that is up
/// to 2^31 - 1 ahead is the greater; at 2^31 the RFC leaves it open, here it is not newer.
#[test]
fn only_newer_frames_are_taken() {
    let half = 1_u32 << 31;
    let cases = [
        (10, 11, true, 0),
        (10, 10, false, 0),
        (10, 9, false, 0),
        (10, 15, true, 4),
        (u32::MAX, 0, true, 0),
        (u32::MAX - 1, 2, true, 3),
        (0, u32::MAX, false, 0),
        (5, 5 + half - 1, true, half - 2),
        (5, 5 + half, false, 0),
        (5, 5 + half + 1, false, 0),
    ];
    for (last, next, taken, missed) in cases {
        let (config, hello) = one_way();
        let mut board = Board::greeted(&config, &hello);
        assert!(board.frame(last, TWELVE, &[1; 5]), "any number is good for the first");
        assert_eq!(board.frame(next, TWELVE, &[2; 5]), taken, "{next} after {last}");
        let status = board.status();
        assert_eq!(status.missed, missed, "{next} after {last}");
        assert_eq!((status.taken, status.dropped), (1 + u32::from(taken), u32::from(!taken)));
        assert_eq!(status.frame, if taken { next } else { last });
        assert_eq!(board.state().duty[0], 1 + i32::from(taken));
    }
}

#[test]
fn frames_that_do_not_fit_are_refused_whole() {
    let word = |codes: &[i32]| pack(WORD, codes);
    let signed = |codes: &[i32]| pack(SIGNED_WORD, codes);
    let mut padded = pack(TWELVE, &[1; 5]);
    *padded.last_mut().unwrap() |= 0x10;
    let cases: Vec<(u8, bool, u16, Vec<u8>)> = vec![
        (TWELVE, false, 3500, pack(TWELVE, &[1, 1, 1, 1, 3501])),
        (TWELVE, false, 3500, pack(TWELVE, &[1; 4])),
        (TWELVE, false, 3500, pack(TWELVE, &[1; 6])),
        (TWELVE, false, 3500, padded),
        (TWELVE, false, 3500, vec![]),
        (WORD, false, 3500, word(&[0xFFFF, 0, 0, 0, 0])),
        (WORD, false, 3500, word(&[0; 6])),
        (SIGNED_WORD, false, 3500, signed(&[0, 0, -1, 0, 0])),
        (SIGNED_WORD, true, 3500, signed(&[0, 0, 3501, 0, 0])),
        (SIGNED_WORD, true, 3500, signed(&[0, 0, -3501, 0, 0])),
        (SIGNED_WORD, true, 3500, signed(&[0, 0, -32768, 0, 0])),
        (BYTE, false, 200, pack(BYTE, &[0, 0, 0, 201, 0])),
    ];
    for (packing, two_way, steps, payload) in cases {
        let config = Config { two_way, ..Config::new(5, steps) };
        let hello = Hello { two_way, ..Hello::new(5, steps, packing) };
        let mut board = Board::greeted(&config, &hello);
        assert!(board.frame(1, packing, &[7; 5]));
        assert_eq!(board.feed(&packet(DUTY, 2, &payload)), 0, "{payload:x?}");
        assert_eq!(board.state().duty, [7; 5], "the old frame stands");
        // Refused, its number is still free.
        assert!(board.frame(2, packing, &[8; 5]));
        let status = board.status();
        assert_eq!((status.taken, status.dropped, status.missed), (2, 1, 0));
    }
}

#[test]
fn nothing_moves_before_a_greeting() {
    let (config, hello) = one_way();
    let mut board = Board::new(&config);
    assert!(!board.frame(1, TWELVE, &[9; 5]));
    assert!(!board.state().on);
    board.feed(&hello.packet());
    assert_eq!(board.status().dropped, 1);
}

#[test]
fn off_is_obeyed_always_and_locks_nothing_out() {
    let (config, hello) = one_way();
    let mut board = Board::new(&config);
    assert_eq!(board.feed(&packet(OFF, 0, &[])), 0, "it was off");
    board.feed(&hello.packet());
    for (frame, off) in [(100, 101), (102, 3), (103, u32::MAX), (104, 104)] {
        assert!(board.frame(frame, TWELVE, &[9; 5]));
        assert!(board.status().driving);
        assert_eq!(board.feed(&packet(OFF, off, &[])), 1);
        let state = board.state();
        assert_eq!((state.on, state.duty), (false, vec![0; 5]));
        assert!(!board.status().driving);
    }
    assert!(board.frame(105, TWELVE, &[9; 5]));
    // What the board itself sends, and kinds of files or of the future, are passed over.
    for kind in [STATUS, 0x10, 0x7E] {
        assert_eq!(board.feed(&packet(kind, 1, &[0; 40])), 0);
    }
    assert!(board.state().on);
    assert_eq!(board.status().dropped, 0);
}

#[test]
fn all_goes_off_at_hold_and_not_before() {
    for (board_ms, host_ms, hold) in [(250, 250, 250), (250, 40, 40), (90, 400, 90), (5, 65535, 5)]
    {
        for start in [1000, u32::MAX - 20] {
            let (config, hello) = one_way();
            let config = Config { hold_ms: board_ms, ..config };
            let hello = Hello { hold_ms: host_ms, rate: [1000, 1], ..hello };
            let mut board = Board::new(&config);
            board.tick(start);
            board.feed(&hello.packet());
            assert!(board.frame(1, TWELVE, &[9; 5]));
            assert!(board.run_until(start.wrapping_add(hold - 1)).is_empty());
            assert!(board.frame(2, TWELVE, &[8; 5]), "a frame begins the time anew");
            // A repeated, a foreign and a broken packet do not.
            board.run_until(start.wrapping_add(hold));
            board.frame(2, TWELVE, &[8; 5]);
            board.feed(&packet(DUTY, 3, &[1]));
            board.feed(&packet(STATUS, 3, &[1]));
            let off = start.wrapping_add(2 * hold - 1);
            assert!(board.run_until(off.wrapping_sub(1)).is_empty());
            assert!(board.state().on);
            assert_eq!(board.run_until(off), [off]);
            assert_eq!((board.state().on, board.state().duty), (false, vec![0; 5]));
            let status = board.status();
            assert!(status.by_watchdog && !status.driving);
            assert_eq!(status.trips, 1);
            // It stays greeted and goes on with the next frame.
            assert!(board.frame(3, TWELVE, &[7; 5]));
            let state = board.state();
            assert!(state.on);
            if hold > 100 {
                let status = board.status();
                assert!(status.driving && !status.by_watchdog);
            }
        }
    }
}

#[test]
fn codes_above_the_channels_most_are_clamped_and_counted() {
    let config = Config {
        two_way: true,
        window_s: 60,
        limits: vec![(3000, 3500), (10, 3500), (0, 3500), (3500, 3500), (100, 3500)],
        ..Config::new(5, 3500)
    };
    let hello = Hello {
        limits: vec![(2000, 9999), (20, 9999), (5, 9999), (65535, 65535), (100, 9999)],
        ..Hello::new(5, 3500, SIGNED_WORD)
    };
    let mut board = Board::greeted(&config, &hello);
    board.frame(1, SIGNED_WORD, &[2001, -11, 1, -3500, 100]);
    assert_eq!(board.state().duty, [2000, -10, 0, -3500, 100]);
    board.frame(2, SIGNED_WORD, &[-2001, 10, 0, 3500, -101]);
    assert_eq!(board.state().duty, [-2000, 10, 0, 3500, -100]);
    let status = board.status();
    assert!(status.clamps);
    assert_eq!((status.clamped, status.taken, status.dropped), (5, 2, 0));
    board.frame(3, SIGNED_WORD, &[1, 1, 0, 1, 1]);
    assert!(!board.status().clamps);
}

#[test]
fn damage_is_counted_and_costs_no_later_frame() {
    let (config, hello) = one_way();
    let mut board = Board::greeted(&config, &hello);
    let mut bad = duty(1, TWELVE, &[9; 5]);
    bad[6] ^= 0x40;
    let cut = &duty(2, TWELVE, &[9; 5])[..7];
    let stream = [&bad, cut, &[0][..], &[0x7F; 3000], &[0, 0], &duty(3, TWELVE, &[5; 5])].concat();
    assert_eq!(board.feed(&stream), 1);
    assert_eq!(board.state().duty, [5; 5]);
    let status = board.status();
    assert_eq!((status.damaged, status.taken, status.dropped), (3, 1, 0));
}

#[test]
fn a_hot_board_is_off_until_it_has_cooled() {
    let (config, hello) = one_way();
    let config = Config { knows: 0b1110, hottest_dc: 700, ..config };
    let mut board = Board::new(&config);
    board.feed(&hello.packet());
    // A sensor that has not spoken, or has broken, is a hot one.
    assert!(!board.frame(1, TWELVE, &[9; 5]) && board.status().hot);
    assert!(!board.measured(645, 2412, 130));
    assert!(board.frame(2, TWELVE, &[9; 5]));
    let status = board.status();
    assert_eq!((status.temperature, status.supply, status.current), (645, 2412, 130));
    assert!(status.driving && !status.hot);
    assert!(!board.measured(699, 0xFFFF, 0xFFFF));
    for hot in [700, i16::MAX] {
        assert!(board.measured(hot, 0xFFFF, 0xFFFF), "it goes off");
        assert_eq!((board.state().on, board.state().duty), (false, vec![0; 5]));
        assert!(board.status().hot);
        for (temperature, driving) in [(651, false), (650, false), (649, true)] {
            board.measured(temperature, 0xFFFF, 0xFFFF);
            let frame = board.status().taken + 10;
            assert_eq!(board.frame(frame, TWELVE, &[9; 5]), driving, "{temperature}");
        }
    }
    // A board without a sensor says so, and drives.
    let (config, hello) = one_way();
    let mut board = Board::greeted(&config, &hello);
    assert!(board.frame(1, TWELVE, &[9; 5]));
    let status = board.status();
    assert_eq!((status.temperature, status.supply, status.current), (0x7FFF, 0xFFFF, 0xFFFF));
}

/// Whoever reads the sensor has stopped: two seconds on, its last word counts for nothing.
#[test]
fn a_reading_that_is_too_old_is_none() {
    let (config, hello) = one_way();
    let config = Config { knows: 0b1110, hottest_dc: 700, hold_ms: 5000, ..config };
    let mut board = Board::new(&config);
    board.feed(&Hello { hold_ms: 5000, ..hello }.packet());
    board.tick(100);
    assert!(!board.measured(300, 2400, 100));
    assert!(board.frame(1, TWELVE, &[9; 5]));
    assert!(!board.tick(2100) && board.state().on, "as old as it may be");
    assert!(board.tick(2101) && !board.state().on && board.state().hot);
    let status = board.status();
    assert_eq!((status.temperature, status.supply, status.current), (0x7FFF, 0xFFFF, 0xFFFF));
    assert!(!board.frame(2, TWELVE, &[9; 5]));
    // Measured again, it drives again.
    board.measured(300, 2400, 100);
    assert!(board.frame(3, TWELVE, &[9; 5]));
}
