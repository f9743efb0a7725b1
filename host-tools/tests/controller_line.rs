//! The host's end of a controller's line against the controller's own end, over lines that lose, flip and double bytes.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test stops at the first failure")]

use std::cell::RefCell;
use std::collections::VecDeque;
use std::io::{self, ErrorKind, Read, Write};
use std::rc::Rc;

use bolster::controller::{Client, ClientError, Heard};
use bolster_link::message::Refusal;
use bolster_link::station::Station;
use pretend::{Line, Press, stroke};

#[path = "../../firmware/link/src/station/pretend.rs"]
mod pretend;

/// A fixed generator.
struct Chance(u64);

impl Chance {
    fn one_in(&mut self, n: u64) -> bool {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        n != 0 && (self.0 >> 33).is_multiple_of(n)
    }
}

struct Far {
    line: Line,
    /// What has come through to the near end.
    arrived: VecDeque<u8>,
    station: Station<8, 8>,
    press: Press,
    chance: Chance,
    /// Of so many bytes one is lost, flipped or doubled; 0 none.
    harm: u64,
    broken: bool,
}

/// The near end of the line, with the controller behind it.
#[derive(Clone)]
struct Near(Rc<RefCell<Far>>);

impl Near {
    fn new(seed: u64, harm: u64) -> Self {
        Self(Rc::new(RefCell::new(Far {
            line: Line::default(),
            arrived: VecDeque::new(),
            station: Station::default(),
            press: Press { kept: Some(50), lines: 40, frames: 9, time: None, ..Press::default() },
            chance: Chance(seed),
            harm,
            broken: false,
        })))
    }

    fn put(&self, number: u32) {
        self.0.borrow_mut().station.strokes.put(stroke(number));
    }

    /// The controller starts anew; the line stays.
    fn start_anew(&self) {
        let far = &mut *self.0.borrow_mut();
        far.station = Station::default();
        far.press.boots += 1;
    }
}

impl Far {
    fn harm(&mut self, byte: u8, to: impl Fn(&mut Self) -> &mut VecDeque<u8>) {
        if self.chance.one_in(self.harm) {
            if self.chance.one_in(3) {
                return;
            }
            if self.chance.one_in(2) {
                to(self).push_back(byte);
            } else {
                to(self).push_back(byte ^ 0x10);
                return;
            }
        }
        to(self).push_back(byte);
    }
}

impl Read for Near {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let far = &mut *self.0.borrow_mut();
        if far.broken {
            return Err(ErrorKind::BrokenPipe.into());
        }
        for _ in 0..40 {
            far.station.step(&mut far.line, &mut far.press).unwrap();
        }
        let sent = std::mem::take(&mut far.line.from_station);
        sent.into_iter().for_each(|byte| far.harm(byte, |far| &mut far.arrived));
        let got = far.arrived.len().min(out.len());
        out.iter_mut().zip(far.arrived.drain(..got)).for_each(|(to, byte)| *to = byte);
        if got == 0 { Err(ErrorKind::WouldBlock.into()) } else { Ok(got) }
    }
}

impl Write for Near {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let far = &mut *self.0.borrow_mut();
        if far.broken {
            return Err(ErrorKind::BrokenPipe.into());
        }
        bytes.iter().for_each(|byte| far.harm(*byte, |far| &mut far.line.to_station));
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Takes in what is told until nothing comes any more; gives the next number due.
fn hear(client: &mut Client<Near>, mut next: u32) -> u32 {
    let mut silent = 0;
    while silent < 3 {
        match client.hear().unwrap() {
            None => silent += 1,
            Some(Heard::Stroke(told)) => {
                assert_eq!(*told, stroke(next), "whole, and in order");
                next += 1;
            }
            Some(Heard::StrokesLost(from, to)) => {
                assert_eq!(from, next);
                next = to;
            }
            Some(_) => {}
        }
    }
    next
}

#[test]
fn over_a_line_that_harms_bytes_every_stroke_comes_once_and_whole_or_is_told_as_lost() {
    for (seed, harm) in [(1, 0), (2, 2000), (3, 500), (4, 150)] {
        let near = Near::new(seed, harm);
        let mut client = Client::connect(near.clone()).unwrap();
        let mut next = 0;
        for number in 0..300 {
            near.put(number);
            if number % 3 == 0 {
                next = hear(&mut client, next);
            }
        }
        // The last ones may be missing without a later one to show it: the controller says how far it is.
        for _ in 0..50 {
            near.0.borrow_mut().harm = 0;
            client.greet().unwrap();
            client.resume(near.clone()).unwrap();
            next = hear(&mut client, next);
        }
        assert_eq!(next, 300, "seed {seed}");
    }
}

#[test]
fn settings_journal_and_kept_stroke_come_through_a_line_that_harms_bytes() {
    for (seed, harm) in [(11, 0), (12, 1000), (13, 400)] {
        let near = Near::new(seed, harm);
        let mut client = Client::connect(near.clone()).unwrap();
        let settings: Vec<u8> = (0..1000_u32).map(|n| (n * 7) as u8).collect();
        client.put_settings(&settings).unwrap();
        assert_eq!(near.0.borrow().press.settings, settings, "seed {seed}");
        client.acknowledge().unwrap();
        assert_eq!(near.0.borrow().press.acknowledged, 1, "asked for again, done once: seed {seed}");
        let lines = client.journal(5).unwrap();
        assert!(lines.iter().map(|line| line.number).eq(5..40), "seed {seed}");
        let kept = client.kept().unwrap();
        assert!(kept.chunks(28).map(|record| record[0]).eq(0..50), "seed {seed}");
        assert_eq!(client.status().unwrap().frames, 9);
        assert!(matches!(client.set_time(0), Err(ClientError::Refused(Refusal::Store))));
    }
}

#[test]
fn after_a_broken_line_it_goes_on_where_it_was_and_a_restart_is_told() {
    let near = Near::new(21, 0);
    let mut client = Client::connect(near.clone()).unwrap();
    (0..4).for_each(|number| near.put(number));
    assert_eq!(hear(&mut client, 0), 4);
    near.0.borrow_mut().broken = true;
    assert!(matches!(client.hear(), Err(ClientError::Line(_))));
    // Ten strokes meanwhile, of which the controller holds eight.
    (4..14).for_each(|number| near.put(number));
    near.0.borrow_mut().broken = false;
    client.resume(near.clone()).unwrap();
    assert_eq!(client.hear().unwrap(), Some(Heard::StrokesLost(4, 6)));
    assert_eq!(hear(&mut client, 6), 14);
    near.start_anew();
    near.put(0);
    client.resume(near.clone()).unwrap();
    let Some(Heard::Started(hello)) = client.hear().unwrap() else { panic!("the restart is told") };
    assert_eq!(hello.boots, 2);
    assert_eq!(hear(&mut client, 0), 1);
}

#[test]
fn an_acknowledgement_meant_for_the_start_before_is_refused_and_a_person_told_to_look_again() {
    let near = Near::new(31, 0);
    let mut client = Client::connect(near.clone()).unwrap();
    (0..3).for_each(|number| near.put(number));
    assert_eq!(hear(&mut client, 0), 3);
    near.start_anew();
    (0..2).for_each(|number| near.put(number));
    let why = client.acknowledge().unwrap_err();
    assert!(matches!(why, ClientError::StartedAnew(2)), "{why}");
    assert!(why.to_string().contains("look at what it says now"), "{why}");
    assert_eq!(near.0.borrow().press.acknowledged, 0);
    let Some(Heard::Started(hello)) = client.hear().unwrap() else { panic!("the restart is told") };
    assert_eq!(hello.boots, 2);
    assert_eq!(hear(&mut client, 0), 2, "and its strokes are heard from the first on");
    client.acknowledge().unwrap();
    assert_eq!(near.0.borrow().press.acknowledged, 1);
    // Settings, time and a kept stroke likewise.
    near.start_anew();
    assert!(matches!(client.put_settings(&[1; 300]), Err(ClientError::StartedAnew(3))));
    near.start_anew();
    near.0.borrow_mut().press.time = Some(0);
    assert!(matches!(client.set_time(7), Err(ClientError::StartedAnew(4))));
    client.set_time(7).unwrap();
    assert_eq!(near.0.borrow().press.time, Some(7));
    assert!(near.0.borrow().press.settings.is_empty());
}

#[test]
fn a_start_shows_on_an_unbroken_line_too_and_no_stroke_after_it_is_missed() {
    for (seed, harm) in [(41, 0), (42, 600)] {
        let near = Near::new(seed, harm);
        let mut client = Client::connect(near.clone()).unwrap();
        (0..6).for_each(|number| near.put(number));
        near.0.borrow_mut().harm = 0;
        assert_eq!(hear(&mut client, 0), 6, "seed {seed}");
        near.start_anew();
        (0..4).for_each(|number| near.put(number));
        let Some(Heard::Started(hello)) = client.hear().unwrap() else { panic!("the restart is told") };
        assert_eq!(hello.boots, 2);
        assert_eq!(hear(&mut client, 0), 4, "seed {seed}");
    }
}

/// A controller of another version: it says one packet again and again.
#[derive(Debug)]
struct Older(Vec<u8>);

impl Read for Older {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if self.0.is_empty() {
            return Err(ErrorKind::WouldBlock.into());
        }
        let bytes = std::mem::take(&mut self.0);
        out[..bytes.len()].copy_from_slice(&bytes);
        Ok(bytes.len())
    }
}

impl Write for Older {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        // `Done` of request 7 in version 1, as it was pinned.
        self.0 = vec![0x03, 0x01, 0x07, 0x07, 0x01, 0x07, 0xf6, 0x42, 0xea, 0xe1, 0x00];
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_controller_of_another_version_is_told_as_such() {
    let why = Client::connect(Older(Vec::new())).unwrap_err();
    assert!(matches!(why, ClientError::OtherVersion(1)), "{why}");
}
