//! A whole link: what is written when, for what is read when.

use super::super::link::Link;
use super::super::report::LineState;
use super::super::ring::{Entry, Giver, Taker, ring};
use super::{board, payload, settings};
use crate::frame::wire::hello::{Hello, Verdict};
use crate::frame::wire::status::Status;
use crate::frame::wire::{Decoder, Encoder, Kind};
use crate::frame::{CoilRun, Packing, RecordedCode};

/// A link at work, with a line that takes everything.
struct Bench {
    link: Link,
    giver: Giver,
    queue: Taker,
    decoder: Decoder,
}

/// Kind, frame and codes of a packet.
type Sent = (Kind, u32, Vec<i32>);

impl Bench {
    fn new(baud: u32) -> Self {
        let settings = settings();
        let (giver, queue) = ring(256, 3);
        let link = Link::new(&settings, &settings.boards[0], baud);
        Self { link, giver, queue, decoder: Decoder::new(4096) }
    }

    /// Opened and answered.
    fn ready(baud: u32) -> Self {
        let mut bench = Self::new(baud);
        bench.link.opened(0.0);
        let sent = [bench.turn(0.0), bench.turn(0.1)].concat();
        let expected = [(Kind::Off, 0, vec![]), (Kind::Hello, 0, vec![])];
        assert_eq!(sent, expected, "off before anything else");
        bench.hear(Kind::Hello, &payload(&board(Verdict::Ready)), 0.2);
        bench
    }

    fn give(&mut self, number: u32, at_s: f64) {
        let code = i32::try_from(number).unwrap();
        assert!(self.giver.give(Entry { number, off: false, at_s }, [code, 0, 7].into_iter()));
    }

    fn off(&mut self, number: u32, at_s: f64) {
        assert!(self.giver.give(Entry { number, off: true, at_s }, std::iter::empty()));
    }

    fn hear(&mut self, kind: Kind, payload: &[u8], now_s: f64) {
        let bytes = Encoder::new(4096).packet(kind, 0, payload).to_vec();
        self.link.heard(&bytes, now_s);
    }

    fn report(&mut self, now_s: f64, status: Status) {
        let mut payload = Vec::new();
        status.write(&[], &mut payload);
        self.hear(Kind::Status, &payload, now_s);
    }

    /// All that goes out now.
    fn turn(&mut self, now_s: f64) -> Vec<Sent> {
        self.turn_with(false, now_s)
    }

    fn turn_with(&mut self, off_now: bool, now_s: f64) -> Vec<Sent> {
        let mut bytes = Vec::new();
        let mut off_now = off_now;
        while let Some(some) = self.link.turn(&mut self.queue, off_now, now_s) {
            off_now = false;
            // One at a time: nothing may hang on how much a port takes at once.
            bytes.push(some[0]);
            self.link.wrote(1, now_s);
        }
        decoded(&mut self.decoder, &bytes)
    }
}

fn decoded(decoder: &mut Decoder, mut bytes: &[u8]) -> Vec<Sent> {
    let mut sent = Vec::new();
    while let Some(packet) = decoder.take(&mut bytes) {
        let packet = packet.unwrap();
        let mut codes: Vec<RecordedCode> = Vec::new();
        if packet.kind == Kind::Duty {
            let run = [CoilRun { count: 3, steps: 1000, two_way: false }];
            Packing::Twelve.unpack(packet.payload, &run, &mut codes).unwrap();
        }
        sent.push((packet.kind, packet.frame, codes.iter().map(|code| code.0).collect()));
    }
    sent
}

fn numbers(sent: &[Sent]) -> Vec<u32> {
    sent.iter().filter(|(kind, ..)| *kind == Kind::Duty).map(|(_, frame, _)| *frame).collect()
}

#[test]
fn nothing_is_driven_before_the_board_has_answered() {
    let mut bench = Bench::new(1_000_000);
    bench.link.opened(0.0);
    bench.turn(0.0);
    for number in 0..20 {
        bench.give(number, f64::from(number) / 100.0);
    }
    let sent = bench.turn(0.5);
    assert!(sent.iter().all(|(kind, ..)| *kind == Kind::Hello), "{sent:?}");
    assert_eq!(bench.link.report().state, LineState::Asking);
    bench.hear(Kind::Hello, &payload(&Hello { steps: 9, ..board(Verdict::Steps) }), 0.5);
    bench.give(20, 0.6);
    assert_eq!(bench.turn(0.7), []);
    let report = bench.link.report();
    assert_eq!((report.state, report.sent, report.skipped), (LineState::Refused, 0, 21));
    assert!(report.sentence.unwrap().contains("9 steps"));
    // Off is obeyed by every board.
    bench.off(21, 0.8);
    assert_eq!(bench.turn(1.2), [(Kind::Off, 21, vec![])]);
}

#[test]
fn frames_go_out_when_due_and_off_after_them() {
    let mut bench = Bench::ready(1_000_000);
    for number in 0..3 {
        bench.give(number, 1.0);
    }
    bench.off(3, 1.0);
    // They arrived together, so the last of them came soonest for its number: 0 is due 20 ms after
    // it would have been on time with that one, so at once.
    assert_eq!(bench.turn(0.995), []);
    assert_eq!(bench.turn(1.0), [(Kind::Duty, 0, vec![0, 0, 7])]);
    assert_eq!(bench.turn(1.009), []);
    assert_eq!(numbers(&bench.turn(1.0101)), [1]);
    assert_eq!(bench.turn(1.025), [(Kind::Duty, 2, vec![2, 0, 7])]);
    assert!(!bench.link.is_done(&mut bench.queue));
    assert_eq!(bench.turn(1.0301), [(Kind::Off, 3, vec![])]);
    assert!(bench.link.is_done(&mut bench.queue));
    let report = bench.link.report();
    assert_eq!((report.sent, report.skipped), (3, 0));
}

#[test]
fn an_off_that_was_just_given_counts_as_not_done() {
    let mut bench = Bench::ready(1_000_000);
    bench.give(0, 1.0);
    bench.off(1, 1.0);
    assert!(!bench.link.is_done(&mut bench.queue), "nobody has looked at the ring yet");
    assert_eq!(bench.link.wake_s(&bench.queue), Some(1.02));
}

#[test]
fn off_now_overtakes_everything() {
    let mut bench = Bench::ready(1_000_000);
    (0..3).for_each(|number| bench.give(number, 1.0));
    // Three bytes of a frame are out.
    let part = bench.link.turn(&mut bench.queue, false, 1.0).unwrap()[..3].to_vec();
    bench.link.wrote(3, 1.0);
    let mut sent = bench.link.turn(&mut bench.queue, true, 1.0).unwrap().to_vec();
    sent.splice(0..0, part);
    let mut decoder = Decoder::new(99);
    let mut rest = sent.as_slice();
    assert!(decoder.take(&mut rest).unwrap().is_err(), "the torn frame is one damaged piece");
    assert_eq!(decoded(&mut decoder, rest), [(Kind::Off, 1, vec![])]);
    assert_eq!((bench.link.report().skipped, bench.queue.waiting()), (2, 0));
    assert_eq!((bench.link.report().sent, bench.link.report().abandoned), (0, 1));
}

#[test]
fn off_is_sent_again_and_whole_once_a_stuck_port_takes_bytes() {
    let mut bench = Bench::ready(1_000_000);
    let begun = bench.link.turn(&mut bench.queue, true, 1.0).unwrap()[..2].to_vec();
    bench.link.wrote(2, 1.0);
    for n in 1..300 {
        let now_s = 1.0 + f64::from(n) / 100.0;
        assert!(bench.link.turn(&mut bench.queue, false, now_s).is_some(), "{n}: OFF is dropped");
    }
    let bytes = bench.link.turn(&mut bench.queue, false, 4.0).unwrap().to_vec();
    bench.link.wrote(bytes.len(), 4.0);
    let all = [begun, bytes].concat();
    let mut rest = all.as_slice();
    let mut decoder = Decoder::new(99);
    assert!(decoder.take(&mut rest).unwrap().is_err());
    assert_eq!(decoded(&mut decoder, rest), [(Kind::Off, 0, vec![])]);
    // Once is enough.
    bench.report(5.0, Status::default());
    assert_eq!(bench.turn(5.0), []);
}

#[test]
fn a_stuck_port_is_not_fed_stale_frames_when_it_wakes() {
    let mut bench = Bench::ready(1_000_000);
    bench.give(0, 1.0);
    let begun = bench.link.turn(&mut bench.queue, false, 1.02).unwrap()[..2].to_vec();
    bench.link.wrote(2, 1.02);
    // It takes nothing for most of a second.
    let mut now_s = 1.02;
    for number in 1..90 {
        now_s = 1.02 + f64::from(number) / 100.0;
        bench.give(number, now_s - 0.02);
        bench.report(now_s, Status::default());
        let _ = bench.link.turn(&mut bench.queue, false, now_s);
        assert!(bench.queue.waiting() < 8, "frames are hoarded");
    }
    // It begins with a delimiter, so that what was torn takes nothing with it.
    let bytes = bench.link.turn(&mut bench.queue, false, now_s).unwrap().to_vec();
    let all = [begun, bytes.clone()].concat();
    let mut rest = all.as_slice();
    let mut decoder = Decoder::new(99);
    assert!(decoder.take(&mut rest).unwrap().is_err());
    let sent = numbers(&decoded(&mut decoder, rest));
    // A packet that was begun may be as old as a port may be stuck, and no older.
    assert!(sent.iter().all(|number| *number >= 60), "{sent:?}");
    // None was sent before that one, and those that were given up on the way are counted apart.
    let before = bench.link.report();
    assert_eq!((before.sent, before.abandoned), (0, 4), "frame 0, and one in each 0.2 s after");
    bench.link.wrote(bytes.len(), now_s);
    bench.link.end(&mut bench.queue);
    let report = bench.link.report();
    assert_eq!((report.sent, report.abandoned), (1, 4));
    assert_eq!(report.sent + report.skipped + report.abandoned, 90, "every frame is accounted for");
}

#[test]
fn a_slow_line_gets_fresh_frames_and_counts_the_others() {
    // 15 bytes a frame at 9600 baud are 16 ms, a frame every 10 ms.
    let mut bench = Bench::ready(9600);
    let (mut sent, mut ages_s) = (Vec::new(), 0.0);
    for step in 0..2000_u32 {
        let now_s = 1.0 + f64::from(step) / 1000.0;
        if step.is_multiple_of(10) {
            bench.give(step / 10, now_s);
            bench.report(now_s, Status::default());
        }
        for number in numbers(&bench.turn(now_s)) {
            let age_s = now_s - (1.0 + f64::from(number) / 100.0);
            // Due 20 ms after it came, at most 50 ms late.
            assert!(age_s <= 0.0701, "frame {number} is {age_s} s old");
            sent.push(number);
            ages_s += age_s;
        }
    }
    // Once late, the newest comes next, and not one that is nearly too late again.
    assert!(
        ages_s / (sent.len() as f64) < 0.055,
        "{} s old on average",
        ages_s / sent.len() as f64
    );
    let report = bench.link.report();
    assert_eq!(report.sent as usize, sent.len());
    assert!(sent.len() > 100 && report.skipped > 50, "{} {}", sent.len(), report.skipped);
    assert!(sent.is_sorted_by(|a, b| a < b));
    let waiting = bench.queue.waiting() as u64;
    assert_eq!(report.sent + report.skipped + waiting, 200, "every frame is accounted for");
}

#[test]
fn silence_and_resets_are_noticed_and_mended() {
    let mut bench = Bench::ready(1_000_000);
    bench.report(1.0, Status { temperature_c: Some(31.5), ..Status::default() });
    assert_eq!(bench.link.report().status.unwrap().temperature_c, Some(31.5));
    bench.turn(2.4);
    assert!(bench.link.report().connected());
    let sent = bench.turn(2.6);
    assert_eq!(sent, [(Kind::Hello, 0, vec![])], "silent for too long");
    assert_eq!(bench.link.report().lost, 1);
    bench.hear(Kind::Hello, &payload(&board(Verdict::Ready)), 2.7);
    assert!(bench.link.report().connected());
    // A reset between two frames: it says so itself.
    bench.hear(Kind::Hello, &payload(&board(Verdict::NoHello)), 3.0);
    assert_eq!(bench.turn(3.0), [(Kind::Hello, 0, vec![])]);
    bench.hear(Kind::Hello, &payload(&board(Verdict::Ready)), 3.1);
    // Or its STATUS does.
    bench.report(3.2, Status { not_greeted: true, ..Status::default() });
    assert_eq!(bench.turn(3.2), [(Kind::Hello, 0, vec![])]);
    assert_eq!(bench.link.report().lost, 3);
    // The port goes in the middle of a frame: nothing is said, and frames are skipped.
    bench.hear(Kind::Hello, &payload(&board(Verdict::Ready)), 3.3);
    bench.give(0, 3.4);
    assert!(bench.link.turn(&mut bench.queue, false, 3.42).is_some());
    bench.link.wrote(2, 3.42);
    bench.link.gone("pulled out");
    bench.give(1, 4.0);
    assert_eq!(bench.turn(4.5), []);
    let report = bench.link.report();
    assert_eq!((report.state, report.sent), (LineState::Gone, 0));
    assert_eq!((report.skipped, report.abandoned), (1, 1));
    bench.link.opened(5.0);
    let kinds: Vec<Kind> =
        bench.turn(5.0).into_iter().chain(bench.turn(5.1)).map(|it| it.0).collect();
    assert_eq!(kinds, [Kind::Off, Kind::Hello]);
}

#[test]
fn noise_from_the_board_is_passed_over() {
    let mut bench = Bench::ready(1_000_000);
    let noise: Vec<u8> = (0..5000_u32).map(|n| (n * n * 31 % 251) as u8).collect();
    bench.link.heard(&noise, 0.5);
    bench.link.heard(&[0], 0.5);
    bench.report(0.6, Status { trips: 3, ..Status::default() });
    assert_eq!(bench.link.report().status.unwrap().trips, 3);
    assert!(bench.link.report().connected());
}

#[test]
fn a_board_with_so_many_channels_that_the_line_is_too_slow_is_refused() {
    let mut bench = Bench::new(1_000_000);
    bench.link.opened(0.0);
    bench.turn(0.0);
    bench.turn(0.1);
    // 512 channels of 12 bits are 768 bytes and more: 100 of them a second do not fit 1 Mbaud? They
    // do, at 0.78 Mbaud; so this one answers, and the same at 500 kbaud is refused.
    let large = Hello { channels: 512, ..board(Verdict::Channels) };
    bench.hear(Kind::Hello, &payload(&large), 0.2);
    bench.turn(0.3);
    bench.hear(Kind::Hello, &payload(&Hello { verdict: Verdict::Ready, ..large.clone() }), 0.4);
    assert!(bench.link.report().connected());
    let slow = super::BoardSettings { baud: Some(500_000), ..settings() };
    let mut link = Link::new(&slow, &slow.boards[0], 500_000);
    link.opened(0.0);
    std::mem::swap(&mut link, &mut bench.link);
    bench.turn(0.5);
    bench.turn(0.6);
    bench.hear(Kind::Hello, &payload(&large), 0.7);
    bench.turn(0.8);
    bench.hear(Kind::Hello, &payload(&Hello { verdict: Verdict::Ready, ..large }), 0.9);
    let report = bench.link.report();
    assert_eq!(report.state, LineState::Refused);
    assert!(report.sentence.unwrap().contains("500000 baud"));
}
