//! A controller as a host meets it: what it says at one end of a line, by the link's own packets; it judges nothing.

use std::io::{ErrorKind, Read, Write};
use std::time::Duration;

use bolster_link::message::{Cause, Hello, Notice, Place, Request, StrokeSummary};
use bolster_link::packet::{Decoder, WIRE_MAX, encode};

/// What a controller of four columns greets with.
#[must_use]
pub fn hello(boots: u32, next_stroke: u32) -> Hello {
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

/// A stroke by its number: every fifth is noted, its peak is 500 kN and its number.
#[must_use]
pub fn summary(number: u32) -> StrokeSummary {
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

/// Looks without a word of the host before a line is closed.
const QUIET: u32 = 20;

/// One end of a line whose reads do not wait.
#[derive(Debug)]
pub struct Fake<S> {
    stream: S,
    number: u16,
}

impl<S: Read + Write> Fake<S> {
    /// At this end.
    pub fn new(stream: S) -> Self {
        Self { stream, number: 0 }
    }

    fn say(&mut self, notice: &Notice<'_>) {
        let mut wire = [0; WIRE_MAX];
        let len = encode(self.number, notice, &mut wire).expect("a notice fits in a packet");
        self.number = self.number.wrapping_add(1);
        let mut left = &wire[..len];
        while !left.is_empty() {
            match self.stream.write(left) {
                Ok(written) => left = &left[written..],
                Err(why) if why.kind() == ErrorKind::WouldBlock => {
                    std::thread::sleep(Duration::from_millis(1))
                }
                // The host may have gone.
                Err(_) => return,
            }
        }
    }

    /// Answers, and makes a stroke `every` so often once it was greeted, until `until` would be next or the host has gone.
    /// Strokes that are asked for are those from `oldest` on. Gives whether it came to `until`.
    ///
    /// # Panics
    /// If the host says what is no request.
    pub fn serve(&mut self, hello: Hello, oldest: u32, mut next: u32, until: u32, every: Duration) -> bool {
        let mut decoder = Decoder::default();
        let mut bytes = [0; 512];
        let (mut greeted, mut quiet) = (false, 0);
        loop {
            let got = match self.stream.read(&mut bytes) {
                Ok(0) => return false,
                Ok(got) => got,
                Err(why) if why.kind() == ErrorKind::WouldBlock => 0,
                Err(_) => return false,
            };
            for byte in &bytes[..got] {
                let Some(Ok(packet)) = decoder.push(*byte) else { continue };
                let (number, request) = (packet.number, packet.message::<Request<'_>>().expect("a request"));
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
            quiet = if got == 0 { quiet + 1 } else { 0 };
            if got == 0 {
                std::thread::sleep(every);
                if greeted && next < until {
                    // Strokes come by themselves.
                    self.say(&Notice::Stroke(summary(next)));
                    next += 1;
                    quiet = 0;
                } else if greeted && quiet >= QUIET {
                    // Closed with a request unread, a connection would throw away what was said last.
                    return true;
                }
            }
        }
    }
}
