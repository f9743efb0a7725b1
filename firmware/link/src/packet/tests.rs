use super::*;
use crate::message::{
    Cause, EventLine, FINDINGS_PART, FindingLine, Hello, JournalEntry, JournalLine, Notice, PART_MAX, Place,
    Refusal, Request, Status, StrokeSummary,
};
use rand::{RngExt, SeedableRng};
use std::format;
use std::string::String;
use std::vec::Vec;

const STROKE: StrokeSummary = StrokeSummary {
    number: 70_000,
    verdict: 2,
    reasons: 1 << 15,
    peak_kn: 812.5,
    peak_at: Place::Angle(0x7000_0000),
    peak_height_mm: Some(6.5),
    reverse_kn: 31.25,
    reverse_at: Place::Angle(0x7400_0000),
    contact_at: Some(Place::SinceOnset(0)),
    work_kj: None,
    speed_spm: Some(60.0),
    centre_mm: Some([12.5, -4.0]),
    columns_kn: [[200.0, 0.0], [210.5, 8.0], [201.0, 8.0], [201.0, 8.0]],
    findings: 1,
};

const FINDING: FindingLine = FindingLine {
    reason: 15,
    verdict: 2,
    column: Some(1),
    from: Place::Angle(0x6000_0000),
    to: Place::Angle(0x6800_0000),
    value: 1.5,
    limit: 1.0,
};

/// The longest line a journal can hold.
const LONGEST: JournalLine = JournalLine {
    number: u32::MAX,
    entry: JournalEntry::Event(EventLine {
        number: u32::MAX,
        tick: u32::MAX,
        stroke: u32::MAX,
        kind: u8::MAX,
        value: u32::MAX,
        reason: Some(u8::MAX),
        column: Some(u8::MAX),
    }),
};

/// A page of the journal: a start and a time.
fn page() -> &'static [u8] {
    let lines = [
        JournalLine { number: 31, entry: JournalEntry::Started { boots: 3, cause: Cause::FramesStopped } },
        JournalLine { number: 32, entry: JournalEntry::Time { tick: 9_000, unix_ms: 1_767_225_600_000 } },
    ];
    let mut page = Vec::new();
    for line in lines {
        let mut room = [0; 32];
        page.extend_from_slice(postcard::to_slice(&line, &mut room).unwrap());
    }
    page.leak()
}

/// Every request, as `FORMAT.md` shows them.
fn requests() -> Vec<(&'static str, Request<'static>)> {
    std::vec![
        ("Hello", Request::Hello),
        ("PutSettings", Request::PutSettings { start: 3, from: 300, bytes: &[1, 2, 0, 4] }),
        ("GetSettings", Request::GetSettings { from: 300, count: 4 }),
        ("CommitSettings", Request::CommitSettings { start: 3, len: 304, check: 0xCBF4_3926 }),
        ("StrokesFrom", Request::StrokesFrom(70_000)),
        ("EventsFrom", Request::EventsFrom(12)),
        ("KeptFrom", Request::KeptFrom(0)),
        ("ReleaseKept", Request::ReleaseKept(3)),
        ("Live", Request::Live(100)),
        ("Acknowledge", Request::Acknowledge(3)),
        ("SetTime", Request::SetTime { start: 3, unix_ms: 1_767_225_600_000 }),
        ("JournalFrom", Request::JournalFrom(31)),
        ("Status", Request::Status),
    ]
}

/// Every notice, as `FORMAT.md` shows them.
fn notices() -> Vec<(&'static str, Notice<'static>)> {
    let hello = Hello {
        build: *b"invented",
        columns: 4,
        bins: 128,
        boots: 3,
        cause: Cause::FramesStopped,
        settings: 2,
        next_stroke: 70_001,
        next_event: 15,
    };
    let status = Status {
        frames: 1_000_000,
        missed: 0,
        latest: 40,
        refused: 7,
        stack: 9_000,
        permit: 2,
        reasons: 1 << 24,
        ended: false,
    };
    let mut findings = [None; FINDINGS_PART];
    findings[0] = Some(FINDING);
    let event = EventLine {
        number: 14,
        tick: 500_000,
        stroke: 70_000,
        kind: 2,
        value: 2,
        reason: Some(15),
        column: None,
    };
    std::vec![
        ("Hello", Notice::Hello(hello)),
        ("Done", Notice::Done(7)),
        ("Refused", Notice::Refused(7, Refusal::StillWrong(1))),
        ("Settings", Notice::Settings { from: 300, bytes: &[1, 2, 0, 4] }),
        ("Stroke", Notice::Stroke(STROKE)),
        ("StrokesLost", Notice::StrokesLost(69_000, 69_990)),
        ("Event", Notice::Event(event)),
        ("EventsLost", Notice::EventsLost(0, 2)),
        ("Kept", Notice::Kept { from: 6, total: 512, records: &[0; 28] }),
        ("Live", Notice::Live { record: &[1; 28] }),
        ("Findings", Notice::Findings { stroke: 70_000, from: 0, list: findings }),
        ("Journal", Notice::Journal { next: 33, lines: page() }),
        ("Status", Notice::Status(status)),
    ]
}

fn wire(number: u16, message: &impl Serialize) -> Vec<u8> {
    let mut out = [0; WIRE_MAX];
    let len = encode(number, message, &mut out).unwrap();
    out[..len].to_vec()
}

/// What a fresh decoder makes of bytes: numbers of the packets taken, and refusals.
fn decode(decoder: &mut Decoder, bytes: &[u8]) -> (Vec<u16>, usize) {
    let (mut taken, mut refused) = (Vec::new(), 0);
    for byte in bytes {
        match decoder.push(*byte) {
            Some(Ok(packet)) => taken.push(packet.number),
            Some(Err(_)) => refused += 1,
            None => {}
        }
    }
    (taken, refused)
}

fn every_wire() -> Vec<Vec<u8>> {
    let requests = requests().into_iter().map(|(_, request)| wire(7, &request));
    requests.chain(notices().into_iter().map(|(_, notice)| wire(7, &notice))).collect()
}

#[test]
fn the_bytes_are_those_of_the_format() {
    let text = include_str!("../../FORMAT.md");
    let hex = |bytes: &[u8]| bytes.iter().map(|b| format!("{b:02x}")).collect::<Vec<_>>().join(" ");
    let mut missing = String::new();
    let mut line = |side: &str, name: &str, bytes: &[u8]| {
        let wanted = format!("| {side} `{name}` | `{}` |", hex(bytes));
        if !text.contains(&wanted) {
            missing += &format!("{wanted}\n");
        }
    };
    requests().iter().for_each(|(name, request)| line("request", name, &wire(7, request)));
    notices().iter().for_each(|(name, notice)| line("notice", name, &wire(7, notice)));
    assert!(missing.is_empty(), "not in FORMAT.md:\n{missing}");
}

#[test]
fn every_message_comes_back_as_it_was() {
    for (name, request) in requests() {
        let mut decoder = Decoder::default();
        for byte in wire(9, &request) {
            if let Some(packet) = decoder.push(byte) {
                assert_eq!(packet.unwrap().message::<Request<'_>>(), Ok(request), "{name}");
            }
        }
    }
    for (name, notice) in notices() {
        let mut decoder = Decoder::default();
        for byte in wire(9, &notice) {
            if let Some(packet) = decoder.push(byte) {
                assert_eq!(packet.unwrap().message::<Notice<'_>>(), Ok(notice), "{name}");
            }
        }
    }
}

#[test]
fn the_largest_parts_fit_a_packet() {
    let bytes = [0xA5; PART_MAX];
    for notice in [
        Notice::Settings { from: u32::MAX, bytes: &bytes },
        Notice::Kept { from: u32::MAX, total: u32::MAX, records: &bytes },
        Notice::Journal { next: u32::MAX, lines: &bytes },
        Notice::Stroke(StrokeSummary {
            number: u32::MAX,
            reasons: u64::MAX,
            peak_at: Place::Angle(u32::MAX),
            reverse_at: Place::Angle(u32::MAX),
            contact_at: Some(Place::Angle(u32::MAX)),
            work_kj: Some(0.0),
            ..STROKE
        }),
        Notice::Findings {
            stroke: u32::MAX,
            from: u8::MAX,
            list: [Some(FindingLine {
                from: Place::Angle(u32::MAX),
                to: Place::SinceOnset(u32::MAX),
                ..FINDING
            }); FINDINGS_PART],
        },
    ] {
        assert!(wire(u16::MAX, &notice).len() <= WIRE_MAX);
    }
    wire(u16::MAX, &Request::PutSettings { start: u32::MAX, from: u32::MAX, bytes: &bytes });
    let mut line = [0; 64];
    assert!(postcard::to_slice(&LONGEST, &mut line).is_ok_and(|line| line.len() <= 5 + 27));
    let too_long = [0; PACKET_MAX];
    let mut out = [0; WIRE_MAX];
    let message = Request::PutSettings { start: 0, from: 0, bytes: &too_long };
    assert_eq!(encode(0, &message, &mut out), Err(PacketError::TooLong));
}

#[test]
fn a_truncated_packet_costs_itself_at_most() {
    for bytes in every_wire() {
        for len in 0..bytes.len() {
            let mut decoder = Decoder::default();
            // The rest is lost, and a whole packet follows: the joint of both is refused, the third one is heard.
            let (taken, _) = decode(&mut decoder, &bytes[..len]);
            assert_eq!(taken, [], "{len} of {}", bytes.len());
            decode(&mut decoder, &wire(8, &Request::Hello));
            assert_eq!(decode(&mut decoder, &wire(9, &Request::Hello)).0, [9]);
        }
    }
}

#[test]
fn a_flipped_bit_costs_its_packet_and_no_other() {
    for bytes in every_wire() {
        for bit in 0..8 * bytes.len() {
            let mut damaged = bytes.clone();
            damaged[bit / 8] ^= 1 << (bit % 8);
            let mut decoder = Decoder::default();
            assert_eq!(decode(&mut decoder, &damaged).0, [], "bit {bit}");
            // Was it the ending zero, the next packet is lost with it.
            let next = decode(&mut decoder, &wire(8, &Request::Hello)).0;
            assert_eq!(next.is_empty(), bit / 8 == bytes.len() - 1, "bit {bit}");
            assert_eq!(decode(&mut decoder, &wire(9, &Request::Hello)).0, [9]);
        }
    }
}

#[test]
fn a_million_random_bytes_hold_no_packet_and_do_no_harm() {
    let seed = 20_260_102;
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let mut decoder = Decoder::default();
    let mut refused = 0;
    for n in 0..1_000_000 {
        // Zeros more often than by chance, or most packets would be too long.
        let byte = if rng.random_ratio(1, 20) { 0 } else { rng.random() };
        match decoder.push(byte) {
            Some(Ok(packet)) => panic!("seed {seed}, byte {n}: taken for {packet:?}"),
            Some(Err(_)) => refused += 1,
            None => {}
        }
    }
    assert!(refused > 10_000, "only {refused} ends");
    decoder.push(0);
    assert_eq!(decode(&mut decoder, &wire(3, &Request::Acknowledge(3))).0, [3]);
}

#[test]
fn another_version_is_named() {
    let mut packet = std::vec![VERSION + 1, 7, 0, 0];
    packet.extend(CRC_32.checksum(&packet).to_le_bytes());
    let mut out = [0; WIRE_MAX];
    let len = cobs::try_encode(&packet, &mut out).unwrap();
    let mut decoder = Decoder::default();
    assert_eq!(decode(&mut decoder, &out[..len]).0, []);
    assert_eq!(decoder.push(0), Some(Err(PacketError::Version(VERSION + 1))));
}

#[test]
fn the_checksum_is_the_catalogues() {
    // Source: check value of CRC-32/ISO-HDLC in the catalogue of parametrised CRC algorithms (read, and computed).
    assert_eq!(CRC_32.checksum(b"123456789"), 0xCBF4_3926);
}

#[test]
fn the_stuffing_is_that_of_the_papers_examples() {
    // Source: consistent overhead byte stuffing, examples computed with the Python package cobs 1.2.2; the first ones
    // also read.
    let range = |from: u8, to: u8| (from..=to).collect::<Vec<u8>>();
    let with = |parts: &[&[u8]]| parts.concat();
    for (plain, stuffed) in [
        (std::vec![], std::vec![0x01]),
        (std::vec![0x00], std::vec![0x01, 0x01]),
        (std::vec![0x00, 0x00], std::vec![0x01, 0x01, 0x01]),
        (std::vec![0x00, 0x11, 0x00], std::vec![0x01, 0x02, 0x11, 0x01]),
        (std::vec![0x11, 0x22, 0x00, 0x33], std::vec![0x03, 0x11, 0x22, 0x02, 0x33]),
        (std::vec![0x11, 0x22, 0x33, 0x44], std::vec![0x05, 0x11, 0x22, 0x33, 0x44]),
        (std::vec![0x11, 0x00, 0x00, 0x00], std::vec![0x02, 0x11, 0x01, 0x01, 0x01]),
        (range(0, 0xFE), with(&[&[0x01, 0xFF], &range(1, 0xFE)])),
        (range(1, 0xFF), with(&[&[0xFF], &range(1, 0xFE), &[0x02, 0xFF]])),
        (with(&[&range(2, 0xFF), &[0]]), with(&[&[0xFF], &range(2, 0xFF), &[0x01, 0x01]])),
        (with(&[&range(3, 0xFF), &[0, 1]]), with(&[&[0xFE], &range(3, 0xFF), &[0x02, 0x01]])),
    ] {
        let mut out = [0; 300];
        let len = cobs::try_encode(&plain, &mut out).unwrap();
        assert_eq!(&out[..len], stuffed, "{plain:02x?}");
        let mut back = [0; 300];
        let report = cobs::decode(&stuffed, &mut back).unwrap();
        assert_eq!(&back[..report.frame_size()], plain);
    }
}

#[test]
fn the_encoding_is_that_of_its_specification() {
    // Source: the Postcard wire format, version 1 (spec/src/wire-format.md of the crate's repository, read): its tables of
    // unsigned and signed varints, its examples of f32 and f64, and what it says of options, bytes and variants.
    fn bytes(value: &impl Serialize) -> Vec<u8> {
        let mut out = [0; 16];
        postcard::to_slice(value, &mut out).unwrap().to_vec()
    }
    for (value, wanted) in [
        (0_u16, &[0x00][..]),
        (127, &[0x7F]),
        (128, &[0x80, 0x01]),
        (16_383, &[0xFF, 0x7F]),
        (16_384, &[0x80, 0x80, 0x01]),
        (16_385, &[0x81, 0x80, 0x01]),
        (65_535, &[0xFF, 0xFF, 0x03]),
    ] {
        assert_eq!(bytes(&value), wanted, "{value}");
        assert_eq!(postcard::from_bytes(wanted), Ok(value));
    }
    for (value, wanted) in [
        (0_i16, &[0x00][..]),
        (-1, &[0x01]),
        (1, &[0x02]),
        (63, &[0x7E]),
        (-64, &[0x7F]),
        (64, &[0x80, 0x01]),
        (-65, &[0x81, 0x01]),
        // The specification's table has FF FF 02 here, which its own rule (zigzag FFFE) does not give.
        (32_767, &[0xFE, 0xFF, 0x03]),
        (-32_768, &[0xFF, 0xFF, 0x03]),
    ] {
        assert_eq!(bytes(&value), wanted, "{value}");
        assert_eq!(postcard::from_bytes(wanted), Ok(value));
    }
    assert_eq!(bytes(&f32::from_bits(0xC200_0600)), [0x00, 0x06, 0x00, 0xC2]);
    assert_eq!(bytes(&-32.005_859_375_f64), [0x00, 0x00, 0x00, 0x00, 0xC0, 0x00, 0x40, 0xC0]);
    assert_eq!((bytes(&None::<u8>), bytes(&Some(7_u8))), (std::vec![0], std::vec![1, 7]));
    // Beyond what the type can hold, and longer than it can be.
    assert!(postcard::from_bytes::<u16>(&[0xFF, 0xFF, 0x07]).is_err());
    assert!(postcard::from_bytes::<u16>(&[0x80, 0x80, 0x80, 0x00]).is_err());
}
