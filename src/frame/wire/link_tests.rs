//! HELLO, STATUS and LIMITS: bytes as documented, back and forth, and any bytes at all.

use proptest::collection::vec;
use proptest::prelude::*;

use super::hello::{Hello, HelloError, Knows, LONGEST_HELLO, Role, Verdict};
use super::limits::{Limit, Limits};
use super::status::{LONGEST_STATUS, Status};
use crate::frame::Packing;

fn hello() -> Hello {
    Hello {
        minor: 0,
        role: Role::Board,
        verdict: Verdict::Steps,
        packing: Packing::Word,
        two_way: true,
        knows: Knows { supply_v: true, flash: true, ..Knows::default() },
        channels: 2,
        steps: 0x1234,
        pwm_hz: 22_000,
        hold_ms: 250,
        rate: [60_000, 1001],
        window_s: 60,
        limits: vec![Limit { most: 0x1234, mean_most: 7 }, Limit { most: 1, mean_most: 0xABCD }],
    }
}

fn written(hello: &Hello) -> Vec<u8> {
    let mut bytes = Vec::new();
    hello.write(&mut bytes);
    bytes
}

#[test]
fn a_hello_lies_as_documented() {
    let expected: [&[u8]; 8] = [
        &[1, 0, 2, 3, 2, 0b1_0101],
        &[2, 0, 0x34, 0x12],
        &[0xF0, 0x55, 0, 0],
        &[250, 0],
        &[0x60, 0xEA, 0, 0, 0xE9, 3, 0, 0],
        &[60, 0, 2, 0],
        &[0x34, 0x12, 7, 0],
        &[1, 0, 0xCD, 0xAB],
    ];
    assert_eq!(written(&hello()), expected.concat());
}

#[test]
fn a_newer_minor_may_add_bytes_and_another_major_is_refused() {
    let mut bytes = written(&hello());
    bytes[1] = 9;
    bytes.extend([1, 2, 3]);
    assert_eq!(Hello::read(&bytes), Ok(Hello { minor: 9, ..hello() }));
    bytes[0] = 2;
    assert_eq!(Hello::read(&bytes), Err(HelloError::Major(2)));
    assert_eq!(Hello::read(&[2]), Err(HelloError::Major(2)));
}

#[test]
fn a_hello_that_makes_no_sense_is_refused_with_the_reason() {
    let with = |at: usize, value: u8| {
        let mut bytes = written(&hello());
        bytes[at] = value;
        Hello::read(&bytes)
    };
    assert_eq!(with(2, 0), Err(HelloError::Role(0)));
    assert_eq!(with(4, 4), Err(HelloError::Packing(4)));
    assert_eq!(with(26, 1), Err(HelloError::Limits { limits: 1, channels: 2 }));
    assert_eq!(with(3, 77).unwrap().verdict, Verdict::Other(77));
    let whole = written(&hello());
    for len in 0..whole.len() {
        assert_eq!(Hello::read(&whole[..len]), Err(HelloError::Short(len)));
    }
}

#[test]
fn the_longest_packets_are_as_long_as_said() {
    let limits = vec![Limit::OFF; 512];
    assert_eq!(written(&Hello { channels: 512, limits, ..hello() }).len(), LONGEST_HELLO);
    let mut bytes = Vec::new();
    Status::default().write(&[0; 512], &mut bytes);
    assert_eq!(bytes.len(), LONGEST_STATUS);
}

#[test]
fn a_status_lies_as_documented() {
    let status = Status {
        driving: true,
        clamping: true,
        trips: 2,
        taken: 0x0102_0304,
        missed: 5,
        dropped: 6,
        damaged: 7,
        clamped: 8,
        temperature_c: Some(-1.5),
        supply_v: Some(11.98),
        ..Status::default()
    };
    let mut bytes = Vec::new();
    status.write(&[3, 0x100], &mut bytes);
    let expected: [&[u8]; 6] = [
        &[0b1001, 0, 2, 0],
        &[4, 3, 2, 1, 5, 0, 0, 0, 6, 0, 0, 0, 7, 0, 0, 0, 8, 0, 0, 0],
        &[0xF1, 0xFF],
        &[0xAE, 0x04],
        &[0xFF, 0xFF],
        &[2, 0, 3, 0, 0, 1],
    ];
    assert_eq!(bytes, expected.concat());
    let mut means = vec![9];
    assert_eq!(Status::read(&bytes, &mut means), Ok(status));
    assert_eq!(means, [3, 0x100]);
    for len in 0..bytes.len() {
        assert!(Status::read(&bytes[..len], &mut means).is_err() && means.is_empty());
    }
    let unknown = {
        let mut bytes = Vec::new();
        Status::default().write(&[], &mut bytes);
        Status::read(&bytes, &mut means).unwrap()
    };
    assert_eq!((unknown.temperature_c, unknown.supply_v, unknown.supply_a), (None, None, None));
}

proptest! {
    #[test]
    fn any_bytes_are_read_or_refused(bytes in vec(any::<u8>(), 0..90)) {
        let mut means = Vec::new();
        let _ = Status::read(&bytes, &mut means);
        let _ = Limits::read(&bytes);
        // Of what can be read, writing gives the bytes that counted.
        if let Ok(hello) = Hello::read(&bytes) {
            let again = written(&hello);
            prop_assert_eq!(Hello::read(&again), Ok(hello));
            // Bits without a meaning are not kept.
            prop_assert_eq!(&again[6..], &bytes[6..again.len()]);
        }
    }

    #[test]
    fn limits_come_back(
        window_s in any::<u16>(),
        limits in vec((any::<u16>(), any::<u16>()), 0..40),
    ) {
        let limits =
            limits.into_iter().map(|(most, mean_most)| Limit { most, mean_most }).collect();
        let limits = Limits { window_s, limits };
        let mut bytes = Vec::new();
        limits.write(&mut bytes);
        prop_assert_eq!(Limits::read(&bytes), Ok(limits));
        prop_assert!(Limits::read(&bytes[..bytes.len() - 1]).is_err());
    }

    #[test]
    fn verdicts_keep_their_numbers(number in any::<u8>()) {
        prop_assert_eq!(Verdict::from_number(number).number(), number);
    }
}
