use super::pretend::{Line, Press, stroke};
use super::*;
use crate::message::{JournalEntry, JournalLine, Request};
use crate::packet::Packet;
use rand::{RngExt, SeedableRng};
use std::vec::Vec;

struct Bench {
    line: Line,
    press: Press,
    station: Station<8, 8>,
    decoder: Decoder,
    heard: usize,
}

impl Bench {
    /// A controller that somebody has greeted.
    fn new() -> Self {
        let mut bench = Self::alone();
        bench.say(0, &Request::Hello);
        bench.hear(|_| {});
        bench
    }

    /// A controller that has just started.
    fn alone() -> Self {
        Self {
            line: Line::default(),
            press: Press::default(),
            station: Station::default(),
            decoder: Decoder::default(),
            heard: 0,
        }
    }

    fn say(&mut self, number: u16, request: &Request<'_>) {
        let mut out = [0; WIRE_MAX];
        let len = encode(number, request, &mut out).unwrap();
        self.line.to_station.extend(&out[..len]);
    }

    fn steps(&mut self, count: usize) {
        (0..count).for_each(|_| self.station.step(&mut self.line, &mut self.press).unwrap());
    }

    /// Runs until nothing more happens and shows every notice heard since the last call to `see`.
    fn hear(&mut self, mut see: impl FnMut(Notice<'_>)) {
        self.steps(400);
        for byte in &self.line.from_station[self.heard..] {
            if let Some(packet) = self.decoder.push(*byte) {
                let packet: Packet<'_> = packet.expect("the station sends only whole packets");
                see(packet.message().expect("the station sends only notices"));
            }
        }
        self.heard = self.line.from_station.len();
    }
}

#[test]
fn strokes_that_found_no_room_are_told_by_number() {
    let mut bench = Bench::new();
    bench.line.room = 0;
    for number in 0..100 {
        bench.station.strokes.put(stroke(number));
        bench.steps(1);
    }
    bench.line.room = usize::MAX;
    let (mut expected, mut lost) = (0, 0);
    bench.hear(|notice| match notice {
        Notice::Stroke(stroke) => {
            assert_eq!(stroke.number, expected);
            expected += 1;
        }
        Notice::StrokesLost(from, to) => {
            assert_eq!(from, expected);
            lost += to - from;
            expected = to;
        }
        Notice::Findings { stroke, .. } => assert_eq!(stroke + 1, expected),
        other => panic!("{other:?}"),
    });
    // One was on its way when the line stopped, eight were held.
    assert_eq!((expected, lost), (100, 91));
}

#[test]
fn a_host_that_was_away_gets_strokes_again_from_where_it_was() {
    let mut bench = Bench::new();
    (0..8).for_each(|number| bench.station.strokes.put(stroke(number)));
    bench.hear(|_| {});
    bench.say(1, &Request::StrokesFrom(5));
    let mut again = Vec::new();
    bench.hear(|notice| {
        if let Notice::Stroke(stroke) = notice {
            again.push(stroke.number);
        }
    });
    assert_eq!(again, [5, 6, 7]);
}

#[test]
fn a_doubled_request_is_answered_twice_and_done_once() {
    let mut bench = Bench::new();
    bench.say(41, &Request::Acknowledge(1));
    bench.say(41, &Request::Acknowledge(1));
    let mut answers = Vec::new();
    bench.hear(|notice| answers.push(std::format!("{notice:?}")));
    assert_eq!(answers, ["Done(41)", "Done(41)"]);
    assert_eq!(bench.press.acknowledged, 1);
    bench.say(42, &Request::Acknowledge(1));
    bench.hear(|notice| assert_eq!(notice, Notice::Refused(42, Refusal::StillWrong(4))));
}

/// Every request that changes something, in a start.
fn changes(start: u32) -> [Request<'static>; 5] {
    [
        Request::PutSettings { start, from: 0, bytes: &[1] },
        Request::CommitSettings { start, len: 0, check: 0 },
        Request::ReleaseKept(start),
        Request::Acknowledge(start),
        Request::SetTime { start, unix_ms: 5 },
    ]
}

impl Bench {
    /// Asks for every change of a start, each under a number of its own: none is made, all are refused for that.
    fn refuses_all_of(&mut self, start: u32) {
        self.press.kept = Some(20);
        let before = (self.press.settings.clone(), self.press.acknowledged, self.press.time);
        for (number, request) in (300..).zip(changes(start)) {
            self.say(number, &request);
            let mut answers = Vec::new();
            self.hear(|notice| answers.push(std::format!("{notice:?}")));
            assert_eq!(answers, [std::format!("Refused({number}, OtherStart)")], "{request:?}");
        }
        let press = &self.press;
        assert_eq!((press.settings.clone(), press.acknowledged, press.time), before);
        assert!(press.aside.is_empty() && press.kept == Some(20));
    }
}

#[test]
fn nothing_is_changed_before_somebody_has_greeted_since_the_start() {
    let mut bench = Bench::alone();
    // Even where the start is not counted because it cannot be stored.
    bench.refuses_all_of(bench.press.boots);
    bench.say(1, &Request::Status);
    bench.hear(|notice| assert!(matches!(notice, Notice::Status(_)), "what only reads needs no greeting"));
    bench.say(2, &Request::Hello);
    bench.hear(|_| {});
    for (number, request) in (3..).zip(changes(bench.press.boots)) {
        bench.say(number, &request);
        bench.hear(|notice| {
            assert!(!matches!(notice, Notice::Refused(_, Refusal::OtherStart)), "{request:?}")
        });
    }
    assert_eq!((bench.press.acknowledged, bench.press.time, bench.press.kept), (1, Some(5), None));
}

#[test]
fn what_was_under_way_while_the_controller_started_anew_changes_nothing_whoever_greets() {
    let mut bench = Bench::new();
    bench.press.boots = 2;
    bench.station = Station::default();
    // Greeting and request of the last start come out of a buffer one behind the other; another host greets between them.
    bench.say(1, &Request::Hello);
    bench.say(1, &Request::Acknowledge(1));
    bench
        .hear(|notice| assert!(matches!(notice, Notice::Hello(_) | Notice::Refused(1, Refusal::OtherStart))));
    bench.refuses_all_of(1);
    bench.refuses_all_of(3);
    bench.say(2, &Request::Acknowledge(2));
    bench.hear(|notice| assert_eq!(notice, Notice::Done(2)));
    assert_eq!(bench.press.acknowledged, 1);
}

#[test]
fn a_host_of_another_version_is_answered_so_that_it_can_tell() {
    let mut bench = Bench::alone();
    let mut packet = std::vec![crate::packet::VERSION + 1, 7, 0, 0];
    packet.extend(crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&packet).to_le_bytes());
    let mut out = [0; WIRE_MAX];
    let len = cobs::try_encode(&packet, &mut out).unwrap();
    bench.line.to_station.extend(&out[..=len]);
    let mut answers = Vec::new();
    bench.hear(|notice| answers.push(std::format!("{notice:?}")));
    assert_eq!(answers, ["Refused(0, Unknown)"]);
}

#[test]
fn settings_in_any_order_are_taken_only_whole() {
    let settings: Vec<u8> = (0..500_u32).map(|n| (n * 7) as u8).collect();
    let check = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&settings);
    let parts: Vec<(u32, &[u8])> = (0..).step_by(PART_MAX).zip(settings.chunks(PART_MAX)).collect();
    for missing in 0..=parts.len() {
        let mut bench = Bench::new();
        for (n, (from, bytes)) in parts.iter().enumerate().rev() {
            if n != missing {
                bench.say(n as u16, &Request::PutSettings { start: 1, from: *from, bytes });
            }
        }
        bench.say(100, &Request::CommitSettings { start: 1, len: 500, check });
        let mut last = None;
        bench.hear(|notice| last = Some(std::format!("{notice:?}")));
        if missing == parts.len() {
            assert_eq!(last.as_deref(), Some("Done(100)"));
            assert_eq!(bench.press.settings, settings);
            bench.say(101, &Request::GetSettings { from: 192, count: 192 });
            bench.hear(|notice| {
                assert_eq!(notice, Notice::Settings { from: 192, bytes: &settings[192..384] });
            });
        } else {
            assert_eq!(last.as_deref(), Some("Refused(100, NotWhole)"), "part {missing} is missing");
            assert!(bench.press.settings.is_empty());
        }
    }
}

#[test]
fn a_kept_stroke_can_be_read_from_the_middle() {
    let mut bench = Bench::new();
    bench.press.kept = Some(20);
    for (first, wanted) in [(0, 20), (13, 7)] {
        bench.say(first as u16, &Request::KeptFrom(first));
        let mut next = first;
        bench.hear(|notice| {
            if let Notice::Kept { from, total, records } = notice {
                assert_eq!((from, total), (next, 20));
                assert!(
                    records.iter().step_by(28).eq((from..)
                        .take(records.len() / 28)
                        .map(|n| n as u8)
                        .collect::<Vec<_>>()
                        .iter())
                );
                next += records.len() as u32 / 28;
            }
        });
        assert_eq!(next - first, wanted);
    }
    bench.say(900, &Request::ReleaseKept(1));
    bench.say(901, &Request::KeptFrom(0));
    let mut last = None;
    bench.hear(|notice| last = Some(std::format!("{notice:?}")));
    assert_eq!(last.as_deref(), Some("Refused(901, NothingKept)"));
}

#[test]
fn a_hostile_peer_makes_nothing_happen_and_delays_nothing() {
    let seed = 20_260_103;
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let mut bench = Bench::new();
    let mut valid = [0; WIRE_MAX];
    let len = encode(7, &Request::CommitSettings { start: 1, len: 3, check: 1 }, &mut valid).unwrap();
    for round in 0..20_000_u32 {
        // Random bytes, zeros among them, and truncated or damaged requests.
        if rng.random_ratio(1, 3) {
            let mut damaged = valid;
            damaged[rng.random_range(0..len - 1)] ^= 1 << rng.random_range(0..8);
            let cut = rng.random_range(1..=len);
            bench.line.to_station.extend(&damaged[..cut]);
        }
        (0..50).for_each(|_| bench.line.to_station.push_back(rng.random()));
        bench.line.room = rng.random_range(0..40);
        if round % 1000 == 0 {
            bench.station.strokes.put(stroke(round / 1000));
        }
        // The line asserts that it is never made to wait; a step reads a bounded number of bytes.
        let before = bench.line.to_station.len();
        bench.steps(1);
        assert!(before - bench.line.to_station.len() <= READ_MAX);
        bench.line.to_station.clear();
    }
    assert_eq!((bench.press.acknowledged, bench.press.time), (0, Some(0)), "seed {seed}");
    assert!(bench.press.settings.is_empty() && bench.press.aside.is_empty(), "seed {seed}");
    bench.line.room = usize::MAX;
    bench.line.to_station.push_back(0);
    bench.say(9, &Request::SetTime { start: 1, unix_ms: 5 });
    let mut strokes = 0;
    let mut done = false;
    bench.hear(|notice| match notice {
        Notice::Stroke(_) => strokes += 1,
        Notice::Done(9) => done = true,
        _ => {}
    });
    assert_eq!(strokes, 20, "every stroke came through, seed {seed}");
    assert!(done && bench.press.time == Some(5));
}

#[test]
fn every_finding_comes_after_its_stroke_and_a_lost_one_can_be_asked_for_again() {
    let mut bench = Bench::new();
    // Numbers 0 to 4 have made room.
    (0..13).for_each(|number| bench.station.strokes.put(stroke(number)));
    for first in [5, 11] {
        bench.say(first as u16, &Request::StrokesFrom(first));
        let (mut number, mut left, mut from_next) = (first, 0, 0);
        bench.hear(|notice| match notice {
            Notice::Stroke(summary) => {
                assert_eq!((left, summary.number), (0, number));
                (left, from_next) = (summary.findings, 0);
                number += 1;
            }
            Notice::Findings { stroke: of, from, list } => {
                assert_eq!((of, from), (number - 1, from_next));
                let wanted = stroke(of).part(from).expect("there are findings");
                assert_eq!(list, wanted);
                let sent = list.iter().flatten().count() as u8;
                (left, from_next) = (left - sent, from_next + sent);
            }
            Notice::Done(_) => {}
            other => panic!("{other:?}"),
        });
        assert_eq!(left, 0);
        assert_eq!(number, 13);
    }
}

#[test]
fn the_journal_is_read_page_by_page_from_anywhere() {
    let mut bench = Bench::new();
    let (mut next, mut pages) = (3, 0);
    loop {
        let asked = next;
        bench.say(pages, &Request::JournalFrom(asked));
        bench.hear(|notice| {
            let Notice::Journal { next: on, lines } = notice else { panic!("{notice:?}") };
            let mut rest = lines;
            while !rest.is_empty() {
                let (line, after) = postcard::take_from_bytes::<JournalLine>(rest).unwrap();
                assert_eq!(line, JournalLine { number: next, entry: JournalEntry::Settings(next) });
                (rest, next) = (after, next + 1);
            }
            assert_eq!(on, next);
        });
        if next == asked {
            break;
        }
        pages += 1;
    }
    assert_eq!(next, 50);
    bench.say(99, &Request::Status);
    bench.hear(|notice| assert!(matches!(notice, Notice::Status(status) if status.stack == 900)));
}

#[test]
fn live_frames_give_way_to_everything_else() {
    let mut bench = Bench::new();
    bench.say(1, &Request::Live(10));
    bench.hear(|_| {});
    assert!(bench.station.wants_live());
    bench.station.strokes.put(stroke(0));
    (0..25_u8).for_each(|tick| bench.station.offer_live(&[tick; RECORD_LEN_MAX], 28));
    let mut heard = Vec::new();
    bench.hear(|notice| match notice {
        Notice::Live { record } => heard.push(record.to_vec()),
        Notice::Stroke(_) => assert!(heard.is_empty()),
        other => panic!("{other:?}"),
    });
    assert_eq!(
        heard,
        [std::vec![20; 28]],
        "of 25 frames the first, the eleventh and the newest, which is sent"
    );
}
