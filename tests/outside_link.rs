//! The bytes of a packet against what others publish: byte stuffing and check values.

#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    reason = "tests stop at the first surprise"
)]

use coilscore::frame::wire::{DELIMITER, Decoder, Encoder, Kind, check, stuff, unstuff};

/// Bytes from `first` on, wrapping, without leaving any out.
fn run(first: u8, count: usize) -> Vec<u8> {
    (0..count).map(|step| first.wrapping_add(step as u8)).collect()
}

/// COBS as in Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on
/// Networking 7(2), 1999. The pairs were computed with another implementation (the Python package
/// `cobs` 1.2.2); those of 00, 11 22 00 33, 11 00 00 00 and 01..FF are also in the documentation of
/// an npm package of that name.
fn published() -> Vec<(Vec<u8>, Vec<u8>)> {
    let join = |parts: &[&[u8]]| parts.concat();
    vec![
        (vec![], vec![0x01]),
        (vec![0], vec![0x01, 0x01]),
        (vec![0, 0], vec![0x01, 0x01, 0x01]),
        (vec![0, 0x11, 0], vec![0x01, 0x02, 0x11, 0x01]),
        (vec![0x11, 0x22, 0, 0x33], vec![0x03, 0x11, 0x22, 0x02, 0x33]),
        (vec![0x11, 0x22, 0x33, 0x44], vec![0x05, 0x11, 0x22, 0x33, 0x44]),
        (vec![0x11, 0, 0, 0], vec![0x02, 0x11, 0x01, 0x01, 0x01]),
        // 01..FE; 00..FE; 01..FF; 02..FF 00; 03..FF 00 01.
        (run(1, 254), join(&[&[0xFF], &run(1, 254)])),
        (run(0, 255), join(&[&[0x01, 0xFF], &run(1, 254)])),
        (run(1, 255), join(&[&[0xFF], &run(1, 254), &[0x02, 0xFF]])),
        (run(2, 255), join(&[&[0xFF], &run(2, 254), &[0x01, 0x01]])),
        (run(3, 255), join(&[&[0xFE], &run(3, 253), &[0x02, 0x01]])),
    ]
}

#[test]
fn stuffing_is_byte_for_byte_as_published() {
    let mut stuffed = Vec::new();
    for (raw, expected) in published() {
        stuff(&raw, &mut stuffed);
        assert_eq!(stuffed.pop(), Some(DELIMITER));
        assert_eq!(stuffed, expected, "stuffing {raw:x?}");
        assert_eq!(unstuff(&mut stuffed), Some(raw.as_slice()));
    }
}

/// From memory, no source: some encoders end a full last block of 254 bytes with one more byte 01.
#[test]
fn a_full_last_block_is_read_either_way() {
    let raw = run(1, 254);
    let short = [&[0xFF], raw.as_slice()].concat();
    let long = [short.as_slice(), &[0x01]].concat();
    assert_eq!(unstuff(&mut short.clone()), Some(raw.as_slice()));
    assert_eq!(unstuff(&mut long.clone()), Some(raw.as_slice()));

    // The same through the decoder: 245 bytes of payload with none of the nine others zero.
    let mut encoder = Encoder::new(245);
    let whole = (1_u32..)
        .map(|seed| encoder.packet(Kind::Duty, 0x0101_0100 + seed, &[0x5A; 245]).to_vec())
        .find(|bytes| bytes[0] == 0xFF)
        .unwrap();
    let mut other = whole.clone();
    other.insert(whole.len() - 1, 0x01);
    for bytes in [whole, other] {
        let mut decoder = Decoder::new(245);
        let packet = decoder.take(&mut bytes.as_slice()).unwrap().unwrap();
        assert_eq!(packet.payload, [0x5A; 245]);
    }
}

#[test]
fn broken_stuffing_is_refused() {
    for broken in [&[][..], &[0x05, 0x11, 0x22], &[0x03, 0x11], &[0x03, 0, 0x11], &[0x01, 0]] {
        assert_eq!(unstuff(&mut broken.to_vec()), None, "{broken:x?}");
    }
}

/// CRC-32/ISO-HDLC: the check value 0xCBF43926 is that of the reveng catalogue of parametrised CRC
/// algorithms, computed also with the Python packages zlib, binascii and crccheck 1.3.1. Its
/// neighbours in that catalogue (ISCSI 0xE3069283, BZIP2 0xFC891918, MPEG-2 0x0376E6E7) differ.
#[test]
fn the_check_has_the_catalogue_value() {
    assert_eq!(check(b"123456789"), 0xCBF4_3926);
    assert_eq!(check(b""), 0);
}

/// A packet put together by hand from the two standards above: raw bytes 03 07 00 00 00, CRC
/// 1C55B574 (Python's zlib.crc32), low byte first.
#[test]
fn a_packet_is_what_the_description_says() {
    let expected = [0x03, 0x03, 0x07, 0x01, 0x01, 0x05, 0x74, 0xB5, 0x55, 0x1C, 0x00];
    assert_eq!(Encoder::new(0).off(7), expected);
}
