//! Strokes of a controller at the other end of a line, as it judged them.
//!
//! The controller judges by its own settings; the console takes in what it says and changes nothing on it. A line that
//! breaks is taken up again, and what was told meanwhile is asked for by number; what the controller no longer holds is
//! journalled as lost.

use std::io::{ErrorKind, Read, Write};
use std::net::{TcpStream, ToSocketAddrs as _};
use std::path::PathBuf;
use std::str::FromStr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use bolster_core::verdict::Reason;

use super::{FeedError, JudgedStroke, StrokeFeed};
use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::controller::{Client, ClientError, Heard, LineError};
use crate::session::Outcome;

/// How long a read of the line waits for a word of the controller.
const READ_TIME: Duration = Duration::from_millis(200);
/// How long a connection may take to come about.
const CONNECT_TIME: Duration = Duration::from_secs(5);
/// Time between two tries to take the line up again.
const AGAIN: Duration = Duration::from_millis(500);
/// Reads without a word after which the controller is asked whether it is there: ten seconds.
const SILENCE: u32 = 50;
/// Things to be journalled that may wait; more are counted.
const MOST_TOLD: usize = 1000;

/// Where a controller's line is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// A host and port, where a serial server or the controller itself listens.
    Tcp(String),
    /// A serial device.
    Device(PathBuf),
}

impl FromStr for Place {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text.strip_prefix("tcp:") {
            Some(address) => {
                let port = address.rsplit_once(':').filter(|(host, _)| !host.is_empty());
                match port.and_then(|(_, port)| port.parse::<u16>().ok()).filter(|port| *port > 0) {
                    Some(_) => Ok(Self::Tcp(address.to_owned())),
                    None => Err("after tcp: a host and port, such as tcp:10.0.0.7:4001".to_owned()),
                }
            }
            None if text.starts_with('/') => Ok(Self::Device(text.into())),
            None => Err("tcp:HOST:PORT, or a serial device such as /dev/ttyUSB0".to_owned()),
        }
    }
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Tcp(address) => write!(f, "tcp:{address}"),
            Self::Device(path) => write!(f, "{}", path.display()),
        }
    }
}

/// A stream of either kind.
trait Stream: Read + Write + Send {}
impl<S: Read + Write + Send> Stream for S {}
type Boxed = Box<dyn Stream>;

impl Place {
    fn open(&self) -> std::io::Result<Boxed> {
        match self {
            Self::Tcp(address) => {
                let mut last = std::io::Error::from(ErrorKind::AddrNotAvailable);
                for one in address.to_socket_addrs()? {
                    match TcpStream::connect_timeout(&one, CONNECT_TIME) {
                        Ok(stream) => {
                            stream.set_nodelay(true)?;
                            stream.set_read_timeout(Some(READ_TIME))?;
                            return Ok(Box::new(stream));
                        }
                        Err(why) => last = why,
                    }
                }
                Err(last)
            }
            Self::Device(path) => serial(path),
        }
    }
}

/// A serial device, plain bytes, 115,200 baud, reads that give up after [`READ_TIME`].
#[cfg(unix)]
fn serial(path: &std::path::Path) -> std::io::Result<Boxed> {
    use rustix::termios::{OptionalActions, SpecialCodeIndex, tcgetattr, tcsetattr};
    let file = std::fs::File::options().read(true).write(true).open(path)?;
    let mut settings = tcgetattr(&file)?;
    settings.make_raw();
    settings.set_speed(115_200)?;
    settings.special_codes[SpecialCodeIndex::VMIN] = 0;
    // In tenths of a second.
    settings.special_codes[SpecialCodeIndex::VTIME] = (READ_TIME.as_millis() / 100) as u8;
    tcsetattr(&file, OptionalActions::Flush, &settings)?;
    Ok(Box::new(Device(file)))
}

#[cfg(not(unix))]
fn serial(_: &std::path::Path) -> std::io::Result<Boxed> {
    Err(std::io::Error::new(
        ErrorKind::Unsupported,
        "serial devices are read on Unix only; use a serial server and tcp:",
    ))
}

/// A serial device whose reads of nothing are silence, not its end.
#[cfg(unix)]
struct Device(std::fs::File);

#[cfg(unix)]
impl Read for Device {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        match self.0.read(into)? {
            0 => Err(ErrorKind::TimedOut.into()),
            got => Ok(got),
        }
    }
}

#[cfg(unix)]
impl Write for Device {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.0.flush()
    }
}

/// A controller as a feed.
pub struct Connected {
    place: Place,
    card: PressCard,
    client: Client<Boxed>,
    closing: Arc<AtomicBool>,
    silent: u32,
    /// The line is lost and sought.
    away: bool,
    /// Number of the first stroke that is taken in.
    first: u32,
    told: Vec<String>,
}

impl Connected {
    /// Greets the controller of this press; `closing` ends the feed.
    ///
    /// # Errors
    /// [`FeedError`] if it cannot be reached, or is of a press with other columns.
    pub fn open(place: &Place, card: PressCard, closing: Arc<AtomicBool>) -> Result<Self, FeedError> {
        let failed = |why: String| FeedError::Controller { place: place.to_string(), why };
        let stream = place.open().map_err(|why| failed(why.to_string()))?;
        let client = Client::connect(stream).map_err(|why| failed(why.to_string()))?;
        let (found, expected) = (usize::from(client.hello().columns), card.spec.columns.count());
        if found != 0 && found != expected {
            return Err(failed(format!(
                "it measures {found} column(s), the press card says {expected}; use this press's card"
            )));
        }
        let first = client.hello().next_stroke;
        Ok(Self {
            place: place.clone(),
            card,
            client,
            closing,
            silent: 0,
            away: false,
            first,
            told: Vec::new(),
        })
    }

    fn is_closing(&self) -> bool {
        self.closing.load(Ordering::Relaxed)
    }

    fn tell(&mut self, says: String) {
        if self.told.len() < MOST_TOLD {
            self.told.push(says);
        }
    }

    /// Takes the line up again; returns when that is done or the console closes.
    fn again(&mut self) {
        while !self.is_closing() {
            let Ok(stream) = self.place.open() else {
                std::thread::sleep(AGAIN);
                continue;
            };
            if self.client.resume(stream).is_ok() {
                self.away = false;
                self.tell("the line to the controller is there again".to_owned());
                return;
            }
            std::thread::sleep(AGAIN);
        }
    }

    /// What the controller told; a stroke, where it is one.
    fn take(&mut self, heard: Heard) -> Option<JudgedStroke> {
        match heard {
            // Judged before this console was there: it may be in its database already.
            Heard::Stroke(judged) if judged.summary.number < self.first => {}
            Heard::Stroke(judged) => {
                let number = u64::from(judged.summary.number);
                let outcome = Outcome::new(number, 0, self.card.spec.columns, &judged);
                return Some(JudgedStroke { outcome, rows: Vec::new(), band: None, diagnosis: None });
            }
            Heard::StrokesLost(_, to) if to <= self.first => {}
            Heard::StrokesLost(from, to) => {
                let from = from.max(self.first);
                self.tell(format!(
                    "the controller no longer holds its strokes {from} to before {to}: they are lost"
                ));
            }
            Heard::EventsLost(from, to) => {
                self.tell(format!("the controller no longer holds its events {from} to before {to}"));
            }
            Heard::Started(hello) => {
                self.first = 0;
                self.tell(format!(
                    "the controller started anew, for the {}th time: it counts strokes from 0",
                    hello.boots
                ));
            }
            Heard::Event(event) => {
                let reason = event.reason.and_then(|number| Reason::ALL.get(usize::from(number)));
                let reason = reason.map(|reason| format!(": {}", reason.says())).unwrap_or_default();
                let what = event_words(event.kind, event.value);
                self.tell(format!(
                    "controller's event {}, in its stroke {}: {what}{reason}",
                    event.number, event.stroke
                ));
            }
            Heard::Live(_) => {}
        }
        None
    }
}

/// What an event is, in words; numbers as in the link's format.
fn event_words(kind: u8, value: u32) -> String {
    match (kind, value) {
        (0, _) => "it started".into(),
        (1, 1) => "its self-test passed".into(),
        (1, _) => "its self-test failed".into(),
        (2, verdict) => {
            let word = ["pass", "note", "hold", "trip"].get(verdict as usize).copied().unwrap_or("trip");
            format!("a stroke was judged {word}")
        }
        (3, _) => "the run permit was withdrawn".into(),
        (4, _) => "a person acknowledged and the run permit returned".into(),
        (5, _) => "an acknowledgement was refused".into(),
        (6, ticks) => format!("a bypass of holds began, for {ticks} ticks"),
        (7, _) => "its settings changed".into(),
        (8, _) => "the health of a gauge changed".into(),
        (9, _) => "a stroke was given up".into(),
        (other, _) => format!("an event of kind {other}, which this program does not know"),
    }
}

impl StrokeFeed for Connected {
    fn press(&self) -> &PressCard {
        &self.card
    }

    fn source(&self) -> String {
        format!("controller at {}", self.place)
    }

    fn set_die(&mut self, _: &DieCard) -> Result<(), FeedError> {
        Err(FeedError::Controller {
            place: self.place.to_string(),
            why: "a controller judges by its own settings; the console does not change them".to_owned(),
        })
    }

    fn next(&mut self) -> Result<Option<JudgedStroke>, FeedError> {
        if self.away {
            self.again();
            return if self.is_closing() { Ok(None) } else { Err(FeedError::NotYet) };
        }
        while !self.is_closing() {
            let heard = match self.client.hear() {
                Ok(None) => {
                    self.silent += 1;
                    // A line that is cut without a word looks like a press that stands still.
                    let asked = if self.silent >= SILENCE { self.client.greet() } else { Ok(()) };
                    if self.silent >= SILENCE {
                        self.silent = 0;
                    }
                    asked.map(|()| None)
                }
                other => other,
            };
            match heard {
                Ok(Some(heard)) => {
                    self.silent = 0;
                    if let Some(judged) = self.take(heard) {
                        return Ok(Some(judged));
                    }
                }
                Ok(None) => {}
                Err(why @ (ClientError::Line(LineError::Request(_)) | ClientError::Refused(_))) => {
                    return Err(FeedError::Controller {
                        place: self.place.to_string(),
                        why: why.to_string(),
                    });
                }
                Err(why) => {
                    // People are told at once, not when the line is there again.
                    self.tell(format!("the line to the controller broke: {why}"));
                    self.away = true;
                    return Err(FeedError::NotYet);
                }
            }
        }
        Ok(None)
    }

    fn is_live(&self) -> bool {
        true
    }

    fn is_away(&self) -> bool {
        self.away
    }

    fn told(&mut self) -> Vec<String> {
        std::mem::take(&mut self.told)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_a_host_and_port_or_a_device() {
        assert_eq!("tcp:h:1".parse(), Ok(Place::Tcp("h:1".into())));
        assert_eq!("tcp:[::1]:4001".parse(), Ok(Place::Tcp("[::1]:4001".into())));
        assert_eq!("/dev/ttyS0".parse(), Ok(Place::Device("/dev/ttyS0".into())));
        for bad in ["tcp:h", "tcp::1", "tcp:h:0", "tcp:h:99999", "h:1", ""] {
            assert!(bad.parse::<Place>().is_err(), "{bad}");
        }
    }
}
