//! Claim: the console takes in a controller's strokes once and in order, over a line that breaks, and journals what is lost.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::io::{Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use bolster::card::press::PressCard;
use bolster::console::feed::{Connected, StrokeFeed as _};
use bolster_link::message::{Cause, Hello, Notice, Place, Request, StrokeSummary};
use bolster_link::packet::{Decoder, WIRE_MAX, encode};

fn hello(boots: u32, next_stroke: u32) -> Hello {
    Hello {
        build: *b"invented",
        columns: 4,
        bins: 64,
        boots,
        cause: Cause::Power,
        settings: 1,
        next_stroke,
        next_event: 0,
    }
}

fn summary(number: u32) -> StrokeSummary {
    StrokeSummary {
        number,
        verdict: if number.is_multiple_of(5) { 1 } else { 0 },
        reasons: 0,
        peak_kn: 500.0 + number as f32,
        peak_at: Place::Angle(1 << 31),
        peak_height_mm: Some(0.0),
        reverse_kn: 12.5,
        reverse_at: Place::Unknown,
        contact_at: None,
        work_kj: Some(1.5),
        speed_spm: Some(40.0),
        centre_mm: Some([1.0, -2.0]),
        columns_kn: [[125.0, 3.0]; 4],
        findings: 0,
    }
}

/// A controller at one end of a connection: what a host needs of one, by the link's own packets.
struct Fake {
    stream: TcpStream,
    number: u16,
}

impl Fake {
    fn say(&mut self, notice: &Notice<'_>) {
        let mut wire = [0; WIRE_MAX];
        let len = encode(self.number, notice, &mut wire).unwrap();
        self.number = self.number.wrapping_add(1);
        // The host may have gone.
        let _ = self.stream.write_all(&wire[..len]);
    }

    /// Answers until `more` says stop; strokes that are asked for are those from `oldest` to before `next`.
    fn serve(&mut self, hello: Hello, oldest: u32, mut next: u32, until: u32) {
        let mut decoder = Decoder::default();
        let mut bytes = [0; 512];
        self.stream.set_read_timeout(Some(std::time::Duration::from_millis(5))).unwrap();
        let mut greeted = false;
        loop {
            let got = match self.stream.read(&mut bytes) {
                Ok(0) => return,
                Ok(got) => got,
                Err(_) => 0,
            };
            for byte in &bytes[..got] {
                let Some(Ok(packet)) = decoder.push(*byte) else { continue };
                let (number, request) = (packet.number, packet.message::<Request<'_>>().unwrap());
                match request {
                    Request::Hello => {
                        self.say(&Notice::Hello(hello));
                        greeted = true;
                    }
                    Request::StrokesFrom(from) => {
                        self.say(&Notice::Done(number));
                        if from < oldest {
                            self.say(&Notice::StrokesLost(from, oldest));
                        }
                        for stroke in from.max(oldest)..next {
                            self.say(&Notice::Stroke(summary(stroke)));
                        }
                    }
                    _ => self.say(&Notice::Done(number)),
                }
            }
            // Strokes come by themselves.
            if greeted && got == 0 {
                if next == until {
                    return;
                }
                self.say(&Notice::Stroke(summary(next)));
                next += 1;
            }
        }
    }
}

fn press() -> PressCard {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-signatures/presses/five-station.toml");
    PressCard::load(&path).unwrap()
}

#[test]
fn strokes_come_once_and_in_order_over_a_line_that_breaks() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let controller = std::thread::spawn(move || {
        let accept = || Fake { stream: listener.accept().unwrap().0, number: 0 };
        // At work for a while: strokes 0 to 6 were before our time. The line breaks after stroke 9.
        accept().serve(hello(3, 7), 5, 7, 10);
        // Strokes 10 to 14 come while nobody listens; the controller still holds 12 to 14.
        accept().serve(hello(3, 15), 12, 15, 18);
        // Power was lost: it counts from 0 again.
        accept().serve(hello(4, 0), 0, 0, 4);
    });
    let closing = Arc::new(AtomicBool::new(false));
    let place = format!("tcp:127.0.0.1:{port}").parse().unwrap();
    let mut feed = Connected::open(&place, press(), Arc::clone(&closing)).unwrap();
    assert!(feed.source().contains("127.0.0.1") && feed.is_live());
    let mut numbers = Vec::new();
    let mut told = Vec::new();
    while numbers.len() < 13 {
        let judged = feed.next().unwrap().expect("the feed goes on");
        assert_eq!(judged.outcome.peak_kn, 500.0 + judged.outcome.stroke as f64);
        assert_eq!(
            judged.outcome.verdict,
            if judged.outcome.stroke.is_multiple_of(5) { "note" } else { "pass" }
        );
        assert_eq!(judged.outcome.columns.len(), 4);
        numbers.push(judged.outcome.stroke);
        told.extend(feed.told());
    }
    assert_eq!(numbers, [7, 8, 9, 12, 13, 14, 15, 16, 17, 0, 1, 2, 3]);
    let all = told.join("\n");
    for says in ["strokes 10 to before 12", "broke", "there again", "started anew"] {
        assert!(all.contains(says), "{says}: {all}");
    }
    assert!(!all.contains("strokes 0 to"), "what was before our time is not lost to us: {all}");
    controller.join().unwrap();
    // Nobody is there any more: the console can still close.
    closing.store(true, Ordering::Relaxed);
    assert!(feed.next().unwrap().is_none());
}

#[test]
fn a_controller_of_another_press_or_none_at_all_is_refused() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    std::thread::spawn(move || {
        let two = Hello { columns: 2, ..hello(1, 0) };
        Fake { stream: listener.accept().unwrap().0, number: 0 }.serve(two, 0, 0, 50);
    });
    let closing = Arc::new(AtomicBool::new(false));
    let place = format!("tcp:127.0.0.1:{port}").parse().unwrap();
    let why = Connected::open(&place, press(), Arc::clone(&closing)).err().unwrap().to_string();
    assert!(why.contains("2 column(s)") && why.contains("4"), "{why}");
    // A port that was just given back: nobody listens.
    let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let place = format!("tcp:127.0.0.1:{port}").parse().unwrap();
    assert!(Connected::open(&place, press(), closing).is_err());
}
