//! The fault table: plugs, resets, noise, silence, lines that crawl, panics.

use std::time::Duration;

use coilscore::sink::Sink;
use coilscore::sink::board::{Board, LineState, Watch};

use crate::bench::{Feeder, OnLine, code_of, count_duties, one_channel, one_coil};
use crate::board::{Plan, Seen};

/// Far longer than anything takes.
const AT_MOST: Duration = Duration::from_secs(40);

/// A board that is being driven.
fn driven() -> (OnLine, Feeder, Watch) {
    driven_with(1)
}

/// The same, with more channels than the display has coils.
fn driven_with(channels: u16) -> (OnLine, Feeder, Watch) {
    let line = OnLine::new(Plan { channels, ..one_channel() });
    let (mut settings, budget) = one_coil();
    settings.baud = Some(2_000_000);
    let board = Board::open(&settings, &[line.name()]).unwrap();
    board.wait_ready(AT_MOST).unwrap();
    let watch = board.watch();
    let feeder = Feeder::start(board, budget);
    line.until("driven", |board| count_duties(board) > 10);
    (line, feeder, watch)
}

/// Every frame that arrived carries its own code, and none is older than the one before.
fn assert_true_and_in_order(line: &OnLine) {
    let duties = line.duties();
    assert!(duties.is_sorted_by(|a, b| a.0 < b.0), "frames out of order");
    for (frame, codes) in duties {
        assert_eq!(codes[0], i32::try_from(1 + frame % 60_000).unwrap(), "frame {frame}");
        assert!(codes[1..].iter().all(|code| *code == 0));
    }
}

#[test]
fn a_board_that_is_unplugged_and_replugged_is_found_greeted_and_driven_again() {
    let (mut line, feeder, watch) = driven();
    line.pull_out();
    let gone = watch.wait(AT_MOST, |report| report.state == LineState::Gone);
    assert!(gone.sentence.unwrap().contains("gone"));
    let skipped = watch.wait(AT_MOST, |report| report.skipped > gone.skipped + 5).skipped;
    let before = line.duties().last().unwrap().0;
    line.board().seen.clear();
    line.plug_in();
    line.until("driven again", |board| count_duties(board) > 10);
    let (board, frames) = feeder.stop();
    drop(board);
    assert!(matches!(line.board().seen[0], Seen::Off { .. }), "off comes before anything else");
    assert!(matches!(line.board().seen[1], Seen::Hello { .. }));
    // Frames of the time between were never kept for later.
    assert!(line.duties()[0].0 > before + u32::try_from(skipped - gone.skipped).unwrap());
    assert_true_and_in_order(&line);
    line.assert_told_off();
    let report = watch.report();
    assert_eq!(report.lost, 1);
    assert!(report.sent + report.skipped + report.abandoned <= u64::from(frames));
}

#[test]
fn a_reset_in_the_middle_of_a_frame_costs_a_greeting() {
    let (line, feeder, watch) = driven();
    for _ in 0..5 {
        let before = {
            let mut board = line.board();
            // Half of a frame has arrived when the power fails.
            board.hear(&[0, 9, 2, 200, 1]);
            board.reset();
            count_duties(&board)
        };
        line.until("driven again", |board| count_duties(board) > before + 5);
    }
    drop(feeder.stop());
    assert!(watch.report().lost >= 5, "{:?}", watch.report());
    assert_true_and_in_order(&line);
    line.assert_told_off();
}

#[test]
fn noise_on_the_line_damages_what_it_hits_and_nothing_else() {
    let (line, feeder, watch) = driven();
    for round in 0..40_u32 {
        let noise: Vec<u8> = (0..50).map(|n| ((n * 37 + round * 101) * 13 % 256) as u8).collect();
        line.board().hear(&noise);
        let before = count_duties(&line.board());
        line.until("driven on", |board| count_duties(board) > before);
    }
    assert!(line.board().status().damaged > 20);
    drop(feeder.stop());
    assert!(watch.report().statuses > 0);
    assert_true_and_in_order(&line);
    line.assert_told_off();
}

#[test]
fn a_board_that_falls_silent_is_noticed_and_greeted_when_it_speaks_again() {
    let (line, feeder, watch) = driven();
    let trips = line.board().status().trips;
    line.board().mute = true;
    // Deaf as well: its own watchdog ends it.
    line.until("watchdog", |board| board.status().trips > trips);
    assert!(line.board().codes().iter().all(|code| *code == 0));
    let silent = watch.wait(AT_MOST, |report| report.state == LineState::Asking);
    assert!(silent.sentence.unwrap().contains("silent"));
    let before = count_duties(&line.board());
    line.board().mute = false;
    line.until("driven again", |board| count_duties(board) > before + 5);
    let told = watch.wait(AT_MOST, |report| report.status.is_some_and(|status| status.trips > 0));
    assert!(told.connected() && told.status.is_some_and(|status| status.trips > 0), "{told:?}");
    drop(feeder.stop());
    assert_true_and_in_order(&line);
    line.assert_told_off();
}

#[test]
fn a_line_that_crawls_never_makes_the_engine_wait() {
    // It carries 2400 bits a second where 1 Mbaud was said: a tenth of what is asked of it.
    let line = OnLine::at(one_channel(), Some(2400));
    let (mut settings, mut budget) = one_coil();
    settings.rate = coilscore::units::Rate::new(1000, 1).unwrap();
    let mut board = Board::open(&settings, &[line.name()]).unwrap();
    board.wait_ready(AT_MOST).unwrap();
    // 200,000 frames as fast as they can be made: who waits for the line would take hours.
    let frames = 200_000_u32;
    for frame in 0..frames {
        board.duty(frame, budget.permit(&[code_of(frame)])).unwrap();
    }
    let report = board.report();
    assert!(report.skipped > u64::from(frames) / 2, "{report:?}");
    board.off_now();
    let watch = board.watch();
    drop(board);
    let report = watch.report();
    let all = report.sent + report.skipped + report.abandoned;
    assert_eq!(all, u64::from(frames), "every frame is accounted for");
    // The line still holds what the terminal had taken; then comes the end.
    line.until("off", |board| {
        matches!(board.seen.last(), Some(Seen::Off { .. }) | Some(Seen::Trip { .. }))
    });
    assert!(line.duties().is_sorted_by(|a, b| a.0 < b.0));
}

#[test]
fn a_port_that_takes_nothing_for_a_while_is_slow_and_not_gone() {
    // 1 KB a frame, so that everything between is soon full.
    let (line, feeder, watch) = driven_with(512);
    line.board().frozen = true;
    let before = watch.report();
    let stuck = watch.wait(AT_MOST, |report| report.skipped > before.skipped + 50);
    assert!(stuck.skipped > before.skipped + 50, "{stuck:?}");
    assert_eq!((stuck.state, stuck.lost), (LineState::Ready, 0), "{stuck:?}");
    assert!(stuck.abandoned > 0, "what was begun before it was stuck is not sent: {stuck:?}");
    let taken = count_duties(&line.board());
    line.board().frozen = false;
    line.until("driven again", |board| count_duties(board) > taken + 60);
    drop(feeder.stop());
    assert_true_and_in_order(&line);
    line.assert_told_off();
}

#[test]
fn frames_that_a_stuck_line_holds_move_nothing_after_the_end() {
    let (line, feeder, watch) = driven_with(512);
    line.board().frozen = true;
    let before = watch.report();
    watch.wait(AT_MOST, |report| report.skipped > before.skipped + 50);
    drop(feeder.stop());
    let taken = count_duties(&line.board());
    line.board().frozen = false;
    line.until("off", |board| matches!(board.seen.last(), Some(Seen::Off { .. })));
    // A Linux terminal hands 4 KB over to its far end (N_TTY_BUF_SIZE), which nobody can take back; it
    // holds four times as much.
    let late = count_duties(&line.board()) - taken;
    assert!(late <= 4, "{late} old frames came after the end");
}

#[test]
fn off_is_said_until_the_board_is_off() {
    let (line, feeder, _) = driven();
    line.board().lost_offs = 1;
    drop(feeder.stop());
    line.assert_told_off();
}

#[test]
fn a_panic_of_whoever_feeds_it_leaves_all_off() {
    let line = OnLine::new(one_channel());
    let (settings, mut budget) = one_coil();
    let mut board = Board::open(&settings, &[line.name()]).unwrap();
    board.wait_ready(AT_MOST).unwrap();
    let feeding = std::thread::spawn(move || {
        for frame in 0.. {
            board.duty(frame, budget.permit(&[code_of(frame)])).unwrap();
            std::thread::sleep(Duration::from_millis(5));
            assert!(frame < 50, "the engine has failed");
        }
    });
    assert!(feeding.join().is_err());
    assert!(count_duties(&line.board()) > 10);
    line.assert_told_off();
}

#[test]
fn a_second_program_cannot_have_the_port() {
    let (line, feeder, _) = driven();
    let (settings, _) = one_coil();
    let error = Board::open(&settings, &[line.name()]).unwrap_err().to_string();
    assert!(error.contains("another program"), "{error}");
    drop(feeder.stop());
    line.assert_told_off();
}
