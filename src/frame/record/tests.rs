//! Files in memory: whole, cut, damaged, out of order.

use proptest::collection::vec;
use proptest::prelude::*;

use super::super::wire::{Encoder, Kind};
use super::super::{
    BandHead, CoilRun, Head, Meter, NodeMeter, Packing, RailHead, RecordedCode, Tail,
};
use super::*;

fn head() -> Head {
    Head {
        version: FORMAT,
        rate: [60_000, 1001],
        lead_us: 0,
        lag: None,
        arith: "portable".into(),
        coils: vec![
            CoilRun { count: 2, steps: 4095, two_way: false },
            CoilRun { count: 1, steps: 1000, two_way: false },
        ],
        packing: Packing::Twelve,
        display: "invented ring".into(),
        mapping: "invented \"waves\"".into(),
        display_digest: "0123".into(),
        mapping_digest: "4567".into(),
        sound_rate_hz: 44_100,
        sound_channels: 2,
        room_c: 35.1,
        start: "warm".into(),
        gains: Vec::new(),
        bands: vec![BandHead {
            low_hz: 44.7,
            high_hz: 0.1 + 0.2,
            channel: "all".into(),
            weighting: "none".into(),
            delay_s: 0.015,
        }],
        rails: vec![RailHead { name: "main".into(), volts: 12.0, limit_a: 1.0 / 3.0 }],
    }
}

fn meter(frame: u32) -> Meter {
    let node = NodeMeter { coil: 2, now_c: 61.5, bound_c: 70.0, limit_c: 80.0 };
    Meter {
        frame,
        quiet: frame % 2 == 1,
        band_dbfs: vec![-31.25],
        coil: node,
        backing: NodeMeter { coil: 1, now_c: 44.0, ..node },
        enclosure_c: 36.0,
        rail_mean_a: vec![0.5],
        rail_peak_a: vec![0.75],
        wished: 1.0,
        granted: 2.0,
        cut_heat: 3.0,
        cut_rail: 4.0,
        cut_driver: 5.0,
    }
}

fn tail(frames: u32) -> Tail {
    let sums = vec![0.1 + 0.2, 1.0 / 3.0, 1e-300];
    Tail {
        frames,
        sound_instants: 1 << 40,
        sound_digest: "89ab".into(),
        wished: sums.clone(),
        granted: sums.clone(),
        cut_heat: sums.clone(),
        cut_rail: sums.clone(),
        cut_driver: sums,
        node_c: vec![35.123_456_789_012_34; 7],
        gained: None,
        held_back: None,
    }
}

fn codes(frame: u32) -> Vec<RecordedCode> {
    [frame % 4096, 4095, frame % 1001].map(|code| RecordedCode(code.cast_signed())).to_vec()
}

/// A file, and after each of its packets where the next begins.
fn file(frames: u32) -> (Vec<u8>, Vec<usize>) {
    let mut writer = Writer::new(Vec::new(), &head()).unwrap();
    let mut ends = vec![writer.get_mut().len()];
    for frame in 0..frames {
        writer.recorded(frame, &codes(frame)).unwrap();
        ends.push(writer.get_mut().len());
        if frame % 3 == 2 {
            writer.meter(&meter(frame)).unwrap();
            ends.push(writer.get_mut().len());
        }
    }
    writer.off(frames).unwrap();
    ends.push(writer.get_mut().len());
    writer.tail(&tail(frames)).unwrap();
    ends.push(writer.get_mut().len());
    (writer.into_inner(), ends)
}

/// Gives a byte at a time, with interruptions.
struct Trickle<'a>(&'a [u8], bool);

impl std::io::Read for Trickle<'_> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        self.1 = !self.1;
        if self.1 {
            return Err(std::io::ErrorKind::Interrupted.into());
        }
        std::io::Read::read(&mut self.0, &mut into[..1])
    }
}

/// Every entry as text, the flaws, whether it is whole.
fn read(input: impl std::io::Read) -> (Vec<String>, Vec<Damage>, bool) {
    let mut reader = Reader::new(input).unwrap();
    let mut entries = Vec::new();
    while let Some(entry) = reader.next_entry().unwrap() {
        entries.push(format!("{entry:?}"));
    }
    assert!(reader.next_entry().unwrap().is_none(), "went on after its end");
    (entries, reader.damage().to_vec(), reader.is_whole())
}

#[test]
fn a_whole_file_gives_back_everything() {
    let (bytes, ends) = file(7);
    let mut reader = Reader::new(bytes.as_slice()).unwrap();
    assert_eq!(reader.head(), &head());
    assert_eq!(&bytes[..5], FIRST_BYTES);
    for frame in 0..7 {
        let expected = codes(frame);
        let entry = reader.next_entry().unwrap();
        assert_eq!(entry, Some(Entry::Duty { frame, codes: &expected }));
        if frame % 3 == 2 {
            assert_eq!(reader.next_entry().unwrap(), Some(Entry::Meter(&meter(frame))));
        }
    }
    assert_eq!(reader.next_entry().unwrap(), Some(Entry::Off { frame: 7 }));
    assert!(!reader.is_whole(), "whole before its tail");
    assert_eq!(reader.next_entry().unwrap(), Some(Entry::Tail(&tail(7))));
    assert_eq!(reader.next_entry().unwrap(), None);
    assert!(reader.is_whole());
    assert_eq!(reader.counts().packets, ends.len() as u64);
    assert_eq!(read(Trickle(&bytes, false)), read(bytes.as_slice()));
}

#[test]
fn a_meter_lies_as_documented() {
    let mut payload = Vec::new();
    meter::put(&meter(1), &mut payload);
    assert_eq!(payload.len(), meter::len(1, 1));
    let single = |at: usize| f32::from_le_bytes(payload[at..at + 4].try_into().unwrap());
    assert_eq!(payload[..4], [1, 0, 0, 0]);
    let values = [4, 8, 12, 16, 20, 24, 32, 36, 40, 48, 60, 64, 68].map(single);
    let expected = [1., 2., 3., 4., 5., 36., 61.5, 70., 80., 44., -31.25, 0.5, 0.75];
    assert_eq!(values, expected);
    assert_eq!((payload[28], payload[44]), (2, 1));
    // A later minor version may append: what is known is read all the same.
    payload.extend([9; 5]);
    let mut back =
        Meter { band_dbfs: vec![0.], rail_mean_a: vec![0.], rail_peak_a: vec![0.], ..meter(0) };
    meter::get(1, &payload, &mut back).unwrap();
    assert_eq!(back, meter(1));
    assert_eq!(meter::get(1, &payload[..71], &mut back), None);
}

#[test]
fn a_file_cut_anywhere_plays_up_to_its_last_whole_packet() {
    let (bytes, ends) = file(7);
    let (all, ..) = read(bytes.as_slice());
    for len in 0..bytes.len() {
        let whole = ends.iter().filter(|&&end| end <= len).count();
        if whole == 0 {
            assert!(matches!(Reader::new(&bytes[..len]), Err(ReadError::Empty)), "cut at {len}");
            continue;
        }
        let (entries, damage, is_whole) = read(&bytes[..len]);
        assert_eq!(entries, all[..whole - 1], "cut at {len}");
        let at = ends[whole - 1] as u64;
        assert_eq!((damage, is_whole), (vec![Damage { at, flaw: Flaw::Cut }], false));
    }
}

#[test]
fn what_is_missing_repeated_or_foreign_is_told_with_its_place() {
    let (bytes, ends) = file(3);
    let piece = |packet: usize| &bytes[ends[packet - 1]..ends[packet]];
    let flaws = |order: &[&[u8]]| {
        let mut stream = bytes[..ends[0]].to_vec();
        stream.extend(order.iter().copied().flatten());
        let (entries, damage, _) = read(stream.as_slice());
        (entries.len(), damage.into_iter().map(|damage| damage.flaw).collect::<Vec<_>>())
    };
    // Packets: 1, 2 frames 0, 1; 3 frame 2; 4 meter; 5 off; 6 tail.
    let missing = Flaw::Missing { first: 1, last: 1 };
    assert_eq!(flaws(&[piece(1), piece(3), piece(5), piece(6)]), (4, vec![missing.clone()]));
    let twice = Flaw::Repeated { frame: 0, expected: 1 };
    assert_eq!(flaws(&[piece(1), piece(1), piece(2)]), (2, vec![twice, Flaw::Cut]));
    let late = Flaw::Repeated { frame: 1, expected: 3 };
    assert_eq!(flaws(&[piece(1), piece(3), piece(2)]), (2, vec![missing, late, Flaw::Cut]));
    let all = [piece(1), piece(2), piece(3), piece(4), piece(5), piece(6)];
    assert_eq!(flaws(&all), (6, vec![]));
    let after = [all.as_slice(), &[b"junk".as_slice()]].concat();
    assert_eq!(flaws(&after), (6, vec![Flaw::AfterTail]));
    let joined = [&all[..2], &[&bytes[..ends[0]], piece(3)]].concat();
    assert_eq!(flaws(&joined), (2, vec![Flaw::SecondHead]));
    let short = [piece(1), piece(2), piece(5), piece(6)];
    assert!(matches!(flaws(&short), (4, ref flaws) if matches!(flaws[..], [Flaw::Missing { .. }])));

    let mut encoder = Encoder::new(64);
    let to_come = encoder.packet(Kind::Observed, 9, b"later").to_vec();
    assert_eq!(flaws(&[piece(1), &to_come, piece(2), piece(3), piece(5), piece(6)]), (5, vec![]));
    let foreign = encoder.packet(Kind::Duty, 0, &[0; 7]).to_vec();
    assert!(matches!(flaws(&[&foreign]).1[0], Flaw::Duty { frame: 0, .. }));
    let unsaid = encoder.packet(Kind::Tail, 0, b"{}").to_vec();
    assert!(matches!(flaws(&[&unsaid]).1[0], Flaw::Tail(_)));
    let no_coil = encoder.packet(Kind::Meter, 0, &[0xFF; 72]).to_vec();
    assert_eq!(flaws(&[&no_coil]).1[0], Flaw::Meter { frame: 0 });
}

#[test]
fn other_files_and_other_versions_are_refused_with_a_sentence() {
    let refusal = |bytes: &[u8]| Reader::new(bytes).map(|_| ()).unwrap_err().to_string();
    assert!(refusal(b"RIFF....WAVE\0\0\0").contains("another kind of file"));
    assert!(refusal(Encoder::new(0).off(0)).contains("not its head"));
    let of = |json: &str| refusal(Encoder::new(0).packet(Kind::Head, 0, json.as_bytes()));
    assert!(of(r#"{"version":[2,0],"unheard":"of"}"#).contains("format 2.0"));
    assert!(of("{").contains("JSON"));
    let mut later = serde_json::to_value(head()).unwrap();
    later["version"] = serde_json::json!([FORMAT[0], FORMAT[1] + 1]);
    later["to_come"] = serde_json::json!(true);
    let later = Encoder::new(0).packet(Kind::Head, 0, later.to_string().as_bytes()).to_vec();
    assert!(Reader::new(later.as_slice()).is_ok(), "a later minor version must be read");
}

#[test]
fn heads_that_cannot_stand_are_refused_by_writer_and_reader_alike() {
    let spoil: [fn(&mut Head); 7] = [
        |head| head.version = [FORMAT[0] + 1, 0],
        |head| head.rate = [1, 0],
        |head| head.coils.clear(),
        |head| head.coils[0].count = u32::MAX,
        |head| head.coils[0].steps = 0,
        |head| head.packing = Packing::Byte,
        |head| head.coils[1].two_way = true,
    ];
    for (number, spoil) in spoil.into_iter().enumerate() {
        let mut head = head();
        spoil(&mut head);
        assert!(Writer::new(Vec::new(), &head).is_err(), "spoilt head {number} written");
        let json = serde_json::to_vec(&head).unwrap();
        let bytes = Encoder::new(0).packet(Kind::Head, 0, &json).to_vec();
        assert!(Reader::new(bytes.as_slice()).is_err(), "spoilt head {number} read");
    }
    let cold = Head { room_c: f64::NAN, ..head() };
    assert!(matches!(check_head(&cold), Err(HeadError::NotFinite(_))));
}

#[test]
fn the_writer_refuses_what_no_reader_could_use() {
    let mut writer = Writer::new(Vec::new(), &head()).unwrap();
    writer.recorded(5, &codes(5)).unwrap();
    let before = writer.get_mut().clone();
    assert!(matches!(writer.recorded(5, &codes(5)), Err(WriteError::Order { expected: 6, .. })));
    assert!(matches!(writer.recorded(6, &codes(6)[1..]), Err(WriteError::Values { .. })));
    let mut wrong = codes(6);
    wrong[2] = RecordedCode(1001);
    assert!(matches!(writer.recorded(6, &wrong), Err(WriteError::Code { frame: 6, .. })));
    assert!(matches!(writer.off(5), Err(WriteError::Order { .. })));
    assert!(matches!(writer.tail(&tail(1)), Err(WriteError::Tail(_))), "tail before off");
    assert!(writer.meter(&Meter::default()).is_err());
    assert_eq!(writer.get_mut(), &before, "a refused packet left bytes behind");
    writer.off(6).unwrap();
    assert!(matches!(writer.tail(&tail(2)), Err(WriteError::Tail(_))), "wrong number of frames");
    writer.tail(&tail(1)).unwrap();
    assert!(matches!(writer.recorded(7, &codes(7)), Err(WriteError::Finished)));
}

/// Takes 10 bytes of the second packet and fails once.
struct Torn(Vec<u8>, u32);

impl std::io::Write for Torn {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.1 += 1;
        match self.1 {
            2 => self.0.extend_from_slice(&bytes[..10]),
            3 => return Err(std::io::ErrorKind::StorageFull.into()),
            _ => self.0.extend_from_slice(bytes),
        }
        Ok(if self.1 == 2 { 10 } else { bytes.len() })
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_torn_packet_costs_itself_only() {
    let mut writer = Writer::new(Torn(Vec::new(), 0), &head()).unwrap();
    assert!(matches!(writer.recorded(0, &codes(0)), Err(WriteError::Io(_))));
    writer.recorded(1, &codes(1)).unwrap();
    let (entries, ..) = read(writer.into_inner().0.as_slice());
    assert_eq!(entries.len(), 1);
}

#[test]
fn meters_come_no_more_than_twenty_times_a_second() {
    for (rate, frames) in [("200", 10), ("59.94", 3), ("60000/1001", 3), ("1000", 50), ("1", 1)] {
        assert_eq!(frames_per_meter(rate.parse().unwrap()), frames, "{rate}");
    }
}

proptest! {
    #[test]
    fn no_damage_stops_the_reader_or_slips_through(
        hits in vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
    ) {
        let (bytes, ends) = file(5);
        let (all, ..) = read(bytes.as_slice());
        let mut spoilt = bytes.clone();
        for (at, with) in hits {
            let at = ends[0] + at.index(bytes.len() - ends[0]);
            spoilt[at] = with;
        }
        let (entries, damage, is_whole) = read(spoilt.as_slice());
        prop_assert!(entries.iter().all(|entry| all.contains(entry)), "{entries:?}");
        prop_assert_eq!(is_whole, spoilt == bytes);
        prop_assert_eq!(damage.is_empty(), spoilt == bytes);
    }

    #[test]
    fn whatever_follows_a_head_is_read_without_a_stumble(junk in vec(any::<u8>(), 0..2000)) {
        let (bytes, ends) = file(1);
        let stream = [&bytes[..ends[0]], &junk].concat();
        prop_assert!(!read(stream.as_slice()).2);
        let _ = Reader::new(junk.as_slice());
    }
}
