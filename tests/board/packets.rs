//! The two decoders and the two encoders against each other.

use coilscore::frame::wire::{Decoder, Encoder, Kind};
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::test_runner::{Config as Cases, TestRunner};

use super::in_c::{Board, Config, longest_payload};
use super::payload::{packet, u32_at};

/// Kind, frame, payload.
type Packets = Vec<(u8, u32, Vec<u8>)>;

/// What the crate's decoder accepts, how many whole packets it does not know, and how many pieces
/// it lost.
fn accepted_here(stream: &[u8], longest: usize) -> (Packets, u64, u64) {
    let mut decoder = Decoder::new(longest);
    let mut rest = stream;
    let mut seen = Vec::new();
    while let Some(event) = decoder.take(&mut rest) {
        seen.extend(event.ok().map(|p| (p.kind.number(), p.frame, p.payload.to_vec())));
    }
    (seen, decoder.counts().unknown, decoder.counts().lost())
}

/// The same from the C, which hands out packets of any kind.
fn accepted_in_c(board: &mut Board, stream: &[u8]) -> (Packets, u64, u64) {
    let answer = board.ask_with(b'D', stream);
    let mut rest = &answer[4..];
    let mut all = Vec::new();
    while !rest.is_empty() {
        let (body, after) = rest[4..].split_at(u32_at(rest, 0) as usize);
        all.push((body[0], u32_at(body, 1), body[5..].to_vec()));
        rest = after;
    }
    let (known, unknown): (Packets, Packets) =
        all.into_iter().partition(|(kind, ..)| Kind::from_number(*kind).is_some());
    (known, unknown.len() as u64, u64::from(u32_at(&answer, 0)))
}

fn payload() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        vec(any::<u8>(), 0..40),
        vec(prop_oneof![3 => Just(0_u8), 1 => any::<u8>()], 0..300),
        vec(1_u8..=255, 240..530),
    ]
}

fn good() -> impl Strategy<Value = Vec<u8>> {
    (0_u8..8, any::<u32>(), payload()).prop_map(|(kind, frame, bytes)| packet(kind, frame, &bytes))
}

/// Whole packets, repeated ones, ones out of order, noise, endless pieces, cut ones, flipped bits.
fn stretch() -> impl Strategy<Value = Vec<u8>> {
    let cut = any::<prop::sample::Index>();
    prop_oneof![
        6 => good(),
        1 => good().prop_map(|bytes| bytes.repeat(2)),
        1 => (good(), good(), good()).prop_map(|(a, b, c)| [&a, &c, &b, &a].map(|p| p.clone()).concat()),
        1 => vec(any::<u8>(), 0..60),
        1 => vec(1_u8..=255, 150..1500),
        1 => Just(vec![0, 0, 0]),
        1 => (good(), cut).prop_map(|(bytes, at)| bytes[..at.index(bytes.len())].to_vec()),
        1 => (good(), any::<prop::sample::Index>())
            .prop_map(|(bytes, at)| bytes[at.index(bytes.len())..].to_vec()),
        3 => (good(), any::<prop::sample::Index>(), 0_u8..8).prop_map(|(mut bytes, at, bit)| {
            let at = at.index(bytes.len());
            bytes[at] ^= 1_u8 << bit;
            bytes
        }),
    ]
}

/// The list in the C must be the same as here, packet for packet and loss for loss, at both ends of
/// the sizes it can be built for: long pieces are too long for one and not for the other.
#[test]
fn both_decoders_accept_the_same_of_a_hostile_stream() {
    for channels in [5, 512] {
        let mut board = Board::new(&Config::new(channels, 255));
        let longest = longest_payload(channels);
        let mut good_ones = 0;
        let mut lost_ones = 0;
        let mut runner =
            TestRunner::new(Cases { failure_persistence: None, ..Cases::with_cases(400) });
        let board = std::cell::RefCell::new(&mut board);
        let totals = std::cell::RefCell::new((&mut good_ones, &mut lost_ones));
        runner
            .run(&vec(stretch(), 1..16), |stretches| {
                let stream = stretches.concat();
                let here = accepted_here(&stream, longest);
                prop_assert_eq!(&accepted_in_c(&mut board.borrow_mut(), &stream), &here);
                let mut totals = totals.borrow_mut();
                *totals.0 += here.0.len();
                *totals.1 += here.2;
                Ok(())
            })
            .unwrap();
        assert!(good_ones > 300 && lost_ones > 300, "{good_ones} good, {lost_ones} lost");
    }
}

/// Pieces of exactly the longest length, and one byte more, with every way the stuffing can grow.
#[test]
fn both_decoders_find_the_same_pieces_too_long() {
    let channels = 5;
    let mut board = Board::new(&Config::new(channels, 255));
    let longest = longest_payload(channels);
    for (extra, filling) in [(0, 0), (0, 7), (1, 0), (1, 7), (2, 0), (2, 7)] {
        let stream = packet(2, 9, &vec![filling; longest + extra]).repeat(2);
        let here = accepted_here(&stream, longest);
        assert_eq!(accepted_in_c(&mut board, &stream), here, "{extra} over, of {filling}");
        assert_eq!(here.0.len() == 2, extra == 0);
    }
}

#[test]
fn both_encoders_write_the_same_bytes() {
    let channels = 512;
    let board = std::cell::RefCell::new(Board::new(&Config::new(channels, 255)));
    let mut runner = TestRunner::new(Cases { failure_persistence: None, ..Cases::with_cases(300) });
    let kinds = prop::sample::select(vec![Kind::Hello, Kind::Duty, Kind::Off, Kind::Status]);
    runner
        .run(&(kinds, any::<u32>(), payload()), |(kind, frame, payload)| {
            let mut ask = vec![b'E', kind.number()];
            ask.extend(frame.to_le_bytes());
            ask.extend((payload.len() as u32).to_le_bytes());
            ask.extend_from_slice(&payload);
            let in_c = board.borrow_mut().ask(&ask);
            prop_assert_eq!(&in_c, &Encoder::new(0).packet(kind, frame, &payload).to_vec());
            let (seen, _, lost) = accepted_here(&in_c, 2_000);
            prop_assert_eq!((seen, lost), (vec![(kind.number(), frame, payload)], 0));
            Ok(())
        })
        .unwrap();
}
