//! Claim: the console takes in a controller's strokes once and in order, over a line that breaks, and journals what is lost.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::net::TcpListener;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use bolster::card::press::PressCard;
use bolster::console::feed::{Connected, FeedError, JudgedStroke, StrokeFeed as _};
use bolster_claims::controller::{Fake, hello};
use bolster_link::message::Hello;

/// Time between two strokes.
const EVERY: Duration = Duration::from_millis(5);

fn press() -> PressCard {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-signatures/presses/five-station.toml");
    PressCard::load(&path).unwrap()
}

/// A connection whose reads do not wait.
fn taken(listener: &TcpListener) -> std::net::TcpStream {
    let stream = listener.accept().unwrap().0;
    stream.set_nonblocking(true).unwrap();
    stream
}

/// The next stroke; none where the line was lost or found again. What was told goes to `told`.
fn next(feed: &mut Connected, told: &mut Vec<String>) -> Option<JudgedStroke> {
    let next = feed.next();
    told.extend(feed.told());
    match next {
        Ok(judged) => Some(judged.expect("the feed goes on")),
        Err(FeedError::NotYet) => None,
        Err(why) => panic!("{why}"),
    }
}

#[test]
fn strokes_come_once_and_in_order_over_a_line_that_breaks() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let controller = std::thread::spawn(move || {
        let accept = || Fake::new(taken(&listener));
        // At work for a while: strokes 0 to 6 were before our time. The line breaks after stroke 9.
        accept().serve(hello(3, 7), 5, 7, 10, EVERY);
        // Strokes 10 to 14 come while nobody listens; the controller still holds 12 to 14.
        accept().serve(hello(3, 15), 12, 15, 18, EVERY);
        // Power was lost: it counts from 0 again.
        accept().serve(hello(4, 0), 0, 0, 4, EVERY);
    });
    let closing = Arc::new(AtomicBool::new(false));
    let place = format!("tcp:127.0.0.1:{port}").parse().unwrap();
    let mut feed = Connected::open(&place, press(), Arc::clone(&closing)).unwrap();
    assert!(feed.source().contains("127.0.0.1") && feed.is_live());
    let mut numbers = Vec::new();
    let mut told = Vec::new();
    while numbers.len() < 13 {
        let Some(judged) = next(&mut feed, &mut told) else { continue };
        assert_eq!(judged.outcome.peak_kn, 500.0 + judged.outcome.stroke as f64);
        assert_eq!(
            judged.outcome.verdict,
            if judged.outcome.stroke.is_multiple_of(5) { "note" } else { "pass" }
        );
        assert_eq!(judged.outcome.columns.len(), 4);
        numbers.push(judged.outcome.stroke);
    }
    assert_eq!(numbers, [7, 8, 9, 12, 13, 14, 15, 16, 17, 0, 1, 2, 3]);
    let all = told.join("\n");
    for says in ["strokes 10 to before 12", "broke", "there again", "started anew"] {
        assert!(all.contains(says), "{says}: {all}");
    }
    assert!(!all.contains("strokes 0 to"), "what was before our time is not lost to us: {all}");
    controller.join().unwrap();
    // Nobody is there any more: that is told at once, and the console can still close.
    while !feed.is_away() {
        assert!(next(&mut feed, &mut told).is_none());
    }
    closing.store(true, Ordering::Relaxed);
    assert!(feed.next().unwrap().is_none());
}

/// A line of bytes as a serial device: the near end's file, and the far end's name.
#[cfg(unix)]
fn serial_line() -> (std::fs::File, std::path::PathBuf) {
    use rustix::fs::{OFlags, fcntl_setfl};
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    let near = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&near).unwrap();
    unlockpt(&near).unwrap();
    let name = ptsname(&near, Vec::new()).unwrap();
    fcntl_setfl(&near, OFlags::RDWR | OFlags::NONBLOCK).unwrap();
    (near.into(), Path::new(name.to_str().unwrap()).to_owned())
}

/// The other side of a serial line while nobody has it open: its reads fail, which is no end of the line.
#[cfg(unix)]
struct Near(std::fs::File);

#[cfg(unix)]
impl std::io::Read for Near {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        self.0.read(into).map_err(|why| match why.raw_os_error() {
            Some(5) => std::io::ErrorKind::WouldBlock.into(),
            _ => why,
        })
    }
}

#[cfg(unix)]
impl std::io::Write for Near {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.0.flush()
    }
}

#[cfg(unix)]
#[test]
fn a_serial_device_that_is_pulled_out_and_put_in_again_loses_no_stroke_that_is_still_held() {
    let folder = tempfile::tempdir().unwrap();
    let device = folder.path().join("line");
    let (near, name) = serial_line();
    std::os::unix::fs::symlink(&name, &device).unwrap();
    let link = device.clone();
    let controller = std::thread::spawn(move || {
        Fake::new(Near(near)).serve(hello(3, 7), 5, 7, 40, EVERY);
        // Pulled out, and a while later put in again: its bytes are those of any line, control codes among them.
        std::thread::sleep(Duration::from_millis(300));
        let (near, name) = serial_line();
        std::fs::remove_file(&link).unwrap();
        std::os::unix::fs::symlink(&name, &link).unwrap();
        Fake::new(Near(near)).serve(hello(3, 45), 30, 45, 300, EVERY);
    });
    let closing = Arc::new(AtomicBool::new(false));
    let place = device.to_str().unwrap().parse().unwrap();
    let mut feed = Connected::open(&place, press(), Arc::clone(&closing)).unwrap();
    assert!(feed.source().contains("line"), "{}", feed.source());
    let (mut numbers, mut told) = (Vec::new(), Vec::new());
    while numbers.len() < 280 {
        let Some(judged) = next(&mut feed, &mut told) else { continue };
        assert_eq!(judged.outcome.peak_kn, 500.0 + judged.outcome.stroke as f64);
        numbers.push(judged.outcome.stroke);
    }
    assert_eq!(numbers, (7..287).collect::<Vec<u64>>());
    let all = told.join("\n");
    assert!(all.contains("broke") && all.contains("there again"), "{all}");
    drop(feed);
    controller.join().unwrap();
}

#[test]
fn a_controller_of_another_press_or_none_at_all_is_refused() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    std::thread::spawn(move || {
        let two = Hello { columns: 2, ..hello(1, 0) };
        Fake::new(taken(&listener)).serve(two, 0, 0, 50, EVERY);
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
