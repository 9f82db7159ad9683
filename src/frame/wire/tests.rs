//! Hostile streams, judged by a reader that shares nothing with the decoder.

use proptest::collection::vec;
use proptest::prelude::*;

use super::*;

/// What the module's description says, word by word: (number, frame, payload) of a good piece.
fn by_the_book(piece: &[u8]) -> Option<(u8, u32, Vec<u8>)> {
    let mut raw = Vec::new();
    let mut rest = piece;
    loop {
        let (&code, after) = rest.split_first()?;
        let (block, after) = after.split_at_checked(usize::from(code) - 1)?;
        raw.extend_from_slice(block);
        rest = after;
        if rest.is_empty() {
            break;
        }
        if code < 255 {
            raw.push(0);
        }
    }
    let body = raw.len().checked_sub(4).filter(|&len| len >= 5)?;
    let (body, stated) = raw.split_at(body);
    let mut crc = u32::MAX;
    for &byte in body {
        crc ^= u32::from(byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0xEDB8_8320 } else { crc >> 1 };
        }
    }
    let frame = u32::from_le_bytes(body[1..5].try_into().unwrap());
    (stated == (!crc).to_le_bytes()).then(|| (body[0], frame, body[5..].to_vec()))
}

type Seen = Vec<Result<(u8, u32, Vec<u8>, u64), Damage>>;

/// Everything a decoder tells of a stream that comes in these portions, over and over.
fn decode(stream: &[u8], portions: &[usize], largest: usize) -> (Seen, Counts) {
    let mut decoder = Decoder::new(largest);
    let mut seen = Vec::new();
    let mut rest = stream;
    let mut sizes = portions.iter().cycle();
    while !rest.is_empty() {
        let (mut part, after) = rest.split_at((*sizes.next().unwrap()).min(rest.len()));
        rest = after;
        while let Some(event) = decoder.take(&mut part) {
            seen.push(event.map(|p| (p.kind.number(), p.frame, p.payload.to_vec(), p.at)));
        }
    }
    (seen, decoder.counts())
}

fn packet(kind: Kind, frame: u32, payload: &[u8]) -> Vec<u8> {
    Encoder::new(payload.len()).packet(kind, frame, payload).to_vec()
}

/// A stretch of a stream and, where it is a whole packet, what it holds.
type Stretch = (Vec<u8>, bool);

fn payload() -> impl Strategy<Value = Vec<u8>> {
    // Bytes, mostly zeros, and long runs without any: all the ways stuffing can go.
    prop_oneof![
        vec(any::<u8>(), 0..40),
        vec(prop_oneof![3 => Just(0_u8), 1 => any::<u8>()], 0..300),
        vec(1_u8..=255, 240..530),
    ]
}

fn stretch() -> impl Strategy<Value = Stretch> {
    let good = (0..Kind::ALL.len(), any::<u32>(), payload())
        .prop_map(|(kind, frame, payload)| packet(Kind::ALL[kind], frame, &payload))
        .boxed();
    prop_oneof![
        4 => good.clone().prop_map(|bytes| (bytes, true)),
        1 => good.clone().prop_map(|bytes| (bytes.repeat(2), true)),
        1 => vec(any::<u8>(), 0..60).prop_map(|bytes| (bytes, false)),
        1 => vec(1_u8..=255, 600..1500).prop_map(|bytes| (bytes, false)),
        1 => Just((vec![0, 0, 0], false)),
        1 => (good.clone(), any::<prop::sample::Index>())
            .prop_map(|(bytes, cut)| (bytes[..cut.index(bytes.len())].to_vec(), false)),
        2 => (good, any::<prop::sample::Index>(), 0_u8..8).prop_map(|(mut bytes, at, bit)| {
            let at = at.index(bytes.len());
            bytes[at] ^= 1_u8 << bit;
            (bytes, false)
        }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    #[test]
    fn hostile_streams_yield_the_good_packets_and_no_others(
        stretches in vec(stretch(), 0..12),
        portions in vec(1_usize..200, 1..5),
    ) {
        let mut stream = Vec::new();
        let mut sure = 0;
        for (bytes, whole) in &stretches {
            // A good packet right after a delimiter has to come through, whatever went before.
            let fresh = stream.last().is_none_or(|&last| last == DELIMITER);
            let packets = bytes.iter().filter(|&&byte| byte == DELIMITER).count();
            sure += if !whole { 0 } else if fresh { packets } else { packets - 1 };
            stream.extend_from_slice(bytes);
        }
        let (all, counts) = decode(&stream, &[usize::MAX], 1_000_000);
        prop_assert_eq!(&decode(&stream, &portions, 1_000_000), &(all.clone(), counts));
        prop_assert_eq!(&decode(&stream, &[1], 1_000_000), &(all.clone(), counts));

        let mut pieces: Vec<_> = stream.split(|&byte| byte == DELIMITER).collect();
        pieces.pop(); // not ended yet
        let judged: Vec<_> = pieces.into_iter().filter_map(by_the_book).collect();
        let (known, unknown): (Vec<_>, Vec<_>) =
            judged.into_iter().partition(|&(number, ..)| Kind::from_number(number).is_some());
        let accepted: Vec<_> =
            all.iter().flatten().map(|(n, frame, bytes, _)| (*n, *frame, bytes.clone())).collect();
        prop_assert_eq!(&accepted, &known);
        prop_assert!(accepted.len() >= sure, "{} of {sure} sure packets", accepted.len());
        prop_assert_eq!(counts.packets, accepted.len() as u64);
        prop_assert_eq!(counts.unknown, unknown.len() as u64);
        prop_assert_eq!(counts.lost(), all.iter().filter(|event| event.is_err()).count() as u64);
    }

    #[test]
    fn a_small_reader_tells_the_same_in_any_portions(
        stretches in vec(stretch(), 0..12),
        portions in vec(1_usize..200, 1..5),
    ) {
        let stream: Vec<u8> = stretches.into_iter().flat_map(|(bytes, _)| bytes).collect();
        let all = decode(&stream, &[usize::MAX], 100);
        prop_assert_eq!(&decode(&stream, &portions, 100), &all);
        prop_assert!(all.0.iter().flatten().all(|(_, _, payload, _)| payload.len() <= 101));
    }

    #[test]
    fn every_packet_comes_back(frame in any::<u32>(), payload in payload()) {
        let bytes = packet(Kind::Meter, frame, &payload);
        prop_assert_eq!(bytes.iter().position(|&byte| byte == DELIMITER), Some(bytes.len() - 1));
        prop_assert_eq!(
            by_the_book(&bytes[..bytes.len() - 1]),
            Some((Kind::Meter.number(), frame, payload.clone()))
        );
        let (seen, _) = decode(&bytes, &[3], payload.len());
        prop_assert_eq!(seen, [Ok((Kind::Meter.number(), frame, payload, 0))]);
    }
}

#[test]
fn each_fault_is_named_counted_and_placed() {
    let good = packet(Kind::Off, 1, &[]);
    let mut wrong = good.clone();
    wrong[2] ^= 2;
    let mut stream = good.clone();
    for piece in [wrong.as_slice(), &[9, 1, 1, 0], &[3, 1, 1, 0], &[7; 40], &[0], &good] {
        stream.extend_from_slice(piece);
    }
    let (seen, counts) = decode(&stream, &[usize::MAX], 8);
    let faults: Vec<_> = seen.iter().filter_map(|event| event.as_ref().err()).collect();
    let at = good.len() as u64;
    let expected = [
        Damage { at, fault: Fault::Check },
        Damage { at: 2 * at, fault: Fault::Stuffing },
        Damage { at: 2 * at + 4, fault: Fault::TooShort },
        Damage { at: 2 * at + 8, fault: Fault::TooLong },
    ];
    assert!(faults.into_iter().eq(&expected), "{seen:?}");
    assert_eq!((counts.packets, counts.lost()), (2, 4));
    assert_eq!(seen.last(), Some(&Ok((Kind::Off.number(), 1, vec![], 2 * at + 49))));
}

#[test]
fn kinds_to_come_are_passed_over_not_lost() {
    // 0x7E is no kind; the encoder cannot write it, so it is put together here.
    let mut raw = vec![0x7E, 1, 0, 0, 0, 42];
    raw.extend_from_slice(&check(&raw).to_le_bytes());
    let mut stream = Vec::new();
    stuff(&raw, &mut stream);
    stream.extend(packet(Kind::Off, 2, &[]));
    let (seen, counts) = decode(&stream, &[4], 64);
    assert_eq!(seen.len(), 1);
    assert_eq!((counts.packets, counts.unknown, counts.lost()), (1, 1, 0));
}

#[test]
fn a_cut_packet_is_known_as_unfinished() {
    let bytes = packet(Kind::Duty, 5, &[1; 50]);
    let mut decoder = Decoder::new(20);
    assert_eq!(decoder.unfinished(), None);
    for end in 1..bytes.len() {
        let mut part = &bytes[end - 1..end];
        while decoder.take(&mut part).is_some() {}
        assert_eq!(decoder.unfinished(), Some(0), "after {end} bytes");
    }
    let _ = decoder.take(&mut [DELIMITER].as_slice());
    assert_eq!(decoder.unfinished(), None);
}

#[test]
fn numbers_of_kinds_are_those_of_the_table() {
    let numbers = Kind::ALL.map(Kind::number);
    assert_eq!(numbers, [1, 2, 3, 4, 5, 0x10, 0x11, 0x12, 0x13, 0x14, 0x15, 0x16]);
    let known = (0..=255).filter(|&number| Kind::from_number(number).is_some()).count();
    assert_eq!(known, Kind::ALL.len());
}
