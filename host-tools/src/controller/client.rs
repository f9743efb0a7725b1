//! What a host does at its end of the line: asks, and takes in strokes and events in order, each once.
//!
//! Whatever the line loses is asked for again by number; what the controller no longer holds is told as a gap. After
//! the line broke [`Client::resume`] goes on where it was, unless the controller has started anew meanwhile.

use std::collections::VecDeque;
use std::io::{Read, Write};

use bolster_core::verdict::FINDINGS;
use bolster_link::feed::record_len;
use bolster_link::message::{
    EventLine, Hello, JournalLine, JudgedStroke, Notice, PART_MAX, Refusal, Request, Status, StrokeSummary,
};
use bolster_link::packet::VERSION;

use super::line::{Line, LineError};

/// Times that a request is sent before the controller counts as gone.
const TRIES: u32 = 8;
/// Reads without a word after which a request is sent again.
const SILENCE: u32 = 2;

/// What the controller does not do, or cannot be asked.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ClientError {
    /// The line.
    #[error(transparent)]
    Line(#[from] LineError),
    /// No answer.
    #[error("the controller does not answer; look at its line, and whether it runs")]
    Silent,
    /// It speaks another version of the line's format.
    #[error(
        "the controller speaks version {0} of the line's format, this program version {VERSION}: use the program that goes with \
         the controller's, or update the older of the two"
    )]
    OtherVersion(u8),
    /// A refusal.
    #[error("the controller refuses: {}", says(*.0))]
    Refused(Refusal),
    /// The controller is another one than was greeted: it has started since.
    #[error(
        "the controller has started anew since it was greeted (it is start {0} now) and did not take what was asked before: \
         look at what it says now, then ask again"
    )]
    StartedAnew(u32),
    /// Settings came back otherwise than they were sent.
    #[error("the controller holds other settings than were sent, from byte {0} on; send them again")]
    ReadBack(u32),
    /// Frames or lines of a journal that are none.
    #[error("the controller sent {0} that this program does not understand; is one of the two newer?")]
    NotUnderstood(&'static str),
}

/// A refusal in words.
fn says(why: Refusal) -> String {
    match why {
        Refusal::Unknown => "it does not know the request; is its program older?".into(),
        Refusal::Place => "the place lies outside what settings may have".into(),
        Refusal::NotWhole => "the settings did not arrive whole".into(),
        Refusal::Impossible => "the settings cannot be".into(),
        Refusal::Store => "it cannot store that, or not now".into(),
        Refusal::SelfTest => "its self-test has not passed".into(),
        Refusal::StillWrong(bits) => {
            let wrong = bolster_core::verdict::Reason::ALL.iter().filter(|r| bits & 1 << (**r as u8) != 0);
            let wrong: Vec<_> = wrong.map(|reason| reason.says()).collect();
            format!("still wrong: {}", wrong.join(", "))
        }
        Refusal::NothingKept => "no stroke is kept".into(),
        Refusal::OtherStart => "it has started anew since it was greeted; greet it, and look again".into(),
    }
}

/// What the controller told by itself.
#[derive(Debug, Clone, PartialEq)]
pub enum Heard {
    /// A judged stroke, in order.
    Stroke(Box<JudgedStroke>),
    /// Strokes from the first to before the second number cannot be had any more.
    StrokesLost(u32, u32),
    /// An event, in order.
    Event(EventLine),
    /// Events likewise.
    EventsLost(u32, u32),
    /// One frame, as a feed's record.
    Live(Vec<u8>),
    /// The controller has started anew: strokes and events are numbered from 0 again.
    Started(Hello),
}

/// An answer to a request.
#[derive(Debug)]
enum Answer {
    Done,
    Hello(Hello),
    Settings(u32, Vec<u8>),
    Journal(u32, Vec<u8>),
    Status(Status),
    Kept(u32, u32, Vec<u8>),
}

/// A stroke whose findings are still coming.
#[derive(Debug)]
struct Open {
    stroke: Box<JudgedStroke>,
    got: u8,
}

/// What is numbered, as far as it has come.
#[derive(Debug, Default)]
struct Inbox {
    heard: VecDeque<Heard>,
    next_stroke: u32,
    next_event: u32,
    open: Option<Open>,
    /// Something is missing and to be asked for.
    strokes_missing: bool,
    events_missing: bool,
    /// Numbers have begun at 0 again: that is how a start shows.
    from_zero: bool,
}

impl Inbox {
    fn stroke(&mut self, summary: StrokeSummary) {
        // One that came before, or after one that is missing.
        if summary.number != self.next_stroke {
            self.from_zero |= summary.number == 0;
            self.strokes_missing |= summary.number.wrapping_sub(self.next_stroke) <= u32::MAX / 2;
            self.open = None;
            return;
        }
        self.open =
            Some(Open { stroke: Box::new(JudgedStroke { summary, findings: [None; FINDINGS] }), got: 0 });
        self.close_stroke();
    }

    fn findings(&mut self, stroke: u32, from: u8, list: &[Option<bolster_link::message::FindingLine>]) {
        match &mut self.open {
            Some(open) if open.stroke.summary.number == stroke && open.got == from => {
                let room = open.stroke.findings.iter_mut().skip(usize::from(from));
                for (to, finding) in room.zip(list.iter().filter(|finding| finding.is_some())) {
                    *to = *finding;
                    open.got = open.got.saturating_add(1);
                }
                self.close_stroke();
            }
            Some(_) => {
                self.open = None;
                self.strokes_missing = true;
            }
            // Of a stroke that came before, or whose figures are missing, which its own number tells.
            None => self.strokes_missing |= stroke == self.next_stroke,
        }
    }

    /// Takes the open stroke in if all of its findings are there.
    fn close_stroke(&mut self) {
        if let Some(open) = self.open.take_if(|open| open.got >= open.stroke.summary.findings) {
            self.heard.push_back(Heard::Stroke(open.stroke));
            self.next_stroke = self.next_stroke.wrapping_add(1);
        }
    }

    fn event(&mut self, event: EventLine) {
        if event.number == self.next_event {
            self.heard.push_back(Heard::Event(event));
            self.next_event = self.next_event.wrapping_add(1);
        } else {
            self.from_zero |= event.number == 0;
            self.events_missing |= event.number.wrapping_sub(self.next_event) <= u32::MAX / 2;
        }
    }

    /// Takes in what is told without having been asked for; gives back what is an answer.
    fn take(&mut self, notice: &Notice<'_>) -> Option<(Option<u16>, Result<Answer, Refusal>)> {
        let ahead = |to: u32, next: u32| to.wrapping_sub(next) <= u32::MAX / 2 && to != next;
        match *notice {
            Notice::Done(number) => return Some((Some(number), Ok(Answer::Done))),
            Notice::Refused(number, why) => return Some((Some(number), Err(why))),
            Notice::Hello(hello) => return Some((None, Ok(Answer::Hello(hello)))),
            Notice::Settings { from, bytes } => {
                return Some((None, Ok(Answer::Settings(from, bytes.to_vec()))));
            }
            Notice::Journal { next, lines } => {
                return Some((None, Ok(Answer::Journal(next, lines.to_vec()))));
            }
            Notice::Status(status) => return Some((None, Ok(Answer::Status(status)))),
            Notice::Kept { from, total, records } => {
                return Some((None, Ok(Answer::Kept(from, total, records.to_vec()))));
            }
            Notice::Stroke(summary) => self.stroke(summary),
            Notice::Findings { stroke, from, list } => self.findings(stroke, from, &list),
            Notice::StrokesLost(_, to) => {
                if ahead(to, self.next_stroke) {
                    self.heard.push_back(Heard::StrokesLost(self.next_stroke, to));
                    (self.next_stroke, self.open) = (to, None);
                }
            }
            Notice::Event(event) => self.event(event),
            Notice::EventsLost(_, to) => {
                if ahead(to, self.next_event) {
                    self.heard.push_back(Heard::EventsLost(self.next_event, to));
                    self.next_event = to;
                }
            }
            Notice::Live { record } => self.heard.push_back(Heard::Live(record.to_vec())),
        }
        None
    }
}

/// The host's end of a line to a controller.
#[derive(Debug)]
pub struct Client<S> {
    line: Line<S>,
    inbox: Inbox,
    hello: Hello,
}

impl<S: Read + Write> Client<S> {
    /// Greets the controller on this line; strokes and events follow from the oldest it holds.
    ///
    /// # Errors
    /// [`ClientError`] if it does not answer.
    pub fn connect(stream: S) -> Result<Self, ClientError> {
        let hello = Hello {
            build: [0; 8],
            columns: 0,
            bins: 0,
            boots: 0,
            cause: bolster_link::message::Cause::Power,
            settings: 0,
            next_stroke: 0,
            next_event: 0,
        };
        let mut client = Self { line: Line::new(stream), inbox: Inbox::default(), hello };
        client.hello = client.ask_hello()?;
        Ok(client)
    }

    /// Goes on over another stream after the first one broke. What was told meanwhile is asked for by number; if the
    /// controller has started anew, that is heard, and numbers begin again.
    ///
    /// # Errors
    /// [`ClientError`] if it does not answer.
    pub fn resume(&mut self, stream: S) -> Result<(), ClientError> {
        self.line = Line::new(stream);
        self.inbox.open = None;
        self.greet()?;
        self.done(&Request::StrokesFrom(self.inbox.next_stroke))?;
        self.done(&Request::EventsFrom(self.inbox.next_event))
    }

    /// What the controller said of itself the last time.
    #[must_use]
    pub fn hello(&self) -> &Hello {
        &self.hello
    }

    /// Asks it again who it is. If it has started anew, that is heard next, and numbers begin again.
    ///
    /// # Errors
    /// [`ClientError`] if it does not answer.
    pub fn greet(&mut self) -> Result<(), ClientError> {
        let hello = self.ask_hello()?;
        self.take_hello(hello, hello.boots != self.hello.boots);
        Ok(())
    }

    fn ask_hello(&mut self) -> Result<Hello, ClientError> {
        match self.ask(&Request::Hello, |answer| matches!(answer, Answer::Hello(_)))? {
            Answer::Hello(hello) => Ok(hello),
            _ => Err(ClientError::Silent),
        }
    }

    fn take_hello(&mut self, hello: Hello, started: bool) {
        self.hello = hello;
        self.inbox.from_zero = false;
        if started {
            let heard = std::mem::take(&mut self.inbox.heard);
            self.inbox = Inbox { heard, strokes_missing: true, events_missing: true, ..Inbox::default() };
            self.inbox.heard.push_back(Heard::Started(hello));
        }
    }

    /// The next thing that the controller tells by itself; none within the stream's own time.
    ///
    /// # Errors
    /// [`ClientError`] if the line is broken.
    pub fn hear(&mut self) -> Result<Option<Heard>, ClientError> {
        loop {
            if let Some(heard) = self.inbox.heard.pop_front() {
                return Ok(Some(heard));
            }
            if self.inbox.from_zero {
                self.greet()?;
                continue;
            }
            self.ask_for_missing()?;
            let inbox = &mut self.inbox;
            // An answer to a request that was given up says nothing any more.
            if self.line.next(|notice| inbox.take(notice).is_some())?.is_none() {
                return Ok(None);
            }
        }
    }

    fn ask_for_missing(&mut self) -> Result<(), ClientError> {
        if std::mem::take(&mut self.inbox.strokes_missing) {
            let number = self.line.number();
            self.line.send(number, &Request::StrokesFrom(self.inbox.next_stroke))?;
        }
        if std::mem::take(&mut self.inbox.events_missing) {
            let number = self.line.number();
            self.line.send(number, &Request::EventsFrom(self.inbox.next_event))?;
        }
        Ok(())
    }

    /// Asks until there is an answer that `fits`; what else is told meanwhile is kept for [`Self::hear`].
    fn ask(&mut self, request: &Request<'_>, fits: impl Fn(&Answer) -> bool) -> Result<Answer, ClientError> {
        let number = self.line.number();
        for _ in 0..TRIES {
            self.line.send(number, request)?;
            let mut silent = 0;
            while silent < SILENCE {
                let inbox = &mut self.inbox;
                match self.line.next(|notice| inbox.take(notice))? {
                    None => silent += 1,
                    Some(Some((of, Err(why)))) if of == Some(number) => {
                        return Err(ClientError::Refused(why));
                    }
                    Some(Some((of, Ok(answer)))) if of.is_none_or(|of| of == number) && fits(&answer) => {
                        return Ok(answer);
                    }
                    Some(_) => {}
                }
            }
        }
        Err(self.line.other_version().map_or(ClientError::Silent, ClientError::OtherVersion))
    }

    fn done(&mut self, request: &Request<'_>) -> Result<(), ClientError> {
        self.ask(request, |answer| matches!(answer, Answer::Done)).map(|_| ())
    }

    /// Asks for a change in the start that was greeted. A controller that has started anew meanwhile refuses it; it is
    /// greeted then, but not asked again: whoever asked has not seen what it says now.
    fn change(&mut self, request: &Request<'_>) -> Result<(), ClientError> {
        match self.done(request) {
            Err(ClientError::Refused(Refusal::OtherStart)) => {
                let hello = self.ask_hello()?;
                self.take_hello(hello, true);
                Err(ClientError::StartedAnew(hello.boots))
            }
            answer => answer,
        }
    }

    /// Sends settings (see [`super::settings`]), reads them back, and lets the controller take them.
    ///
    /// # Errors
    /// [`ClientError`] if they do not arrive, the controller refuses them, or has started since; the old ones then stay.
    pub fn put_settings(&mut self, bytes: &[u8]) -> Result<(), ClientError> {
        let start = self.hello.boots;
        let parts = || (0_u32..).step_by(PART_MAX).zip(bytes.chunks(PART_MAX));
        for (from, part) in parts() {
            self.change(&Request::PutSettings { start, from, bytes: part })?;
        }
        for (from, part) in parts() {
            let request = Request::GetSettings { from, count: part.len() as u8 };
            let fits = |answer: &Answer| matches!(answer, Answer::Settings(at, _) if *at == from);
            match self.ask(&request, fits)? {
                Answer::Settings(_, back) if back == part => {}
                _ => return Err(ClientError::ReadBack(from)),
            }
        }
        let check = super::settings::checksum(bytes);
        self.change(&Request::CommitSettings { start, len: bytes.len() as u32, check })
    }

    /// A person acknowledges what the controller shows since the start that was greeted.
    ///
    /// # Errors
    /// [`ClientError::Refused`] while something is wrong, [`ClientError::StartedAnew`] if it has started since: a person
    /// must look again.
    pub fn acknowledge(&mut self) -> Result<(), ClientError> {
        self.change(&Request::Acknowledge(self.hello.boots))
    }

    /// Tells the time, milliseconds since 1970-01-01 UTC.
    ///
    /// # Errors
    /// [`ClientError`] if it cannot be written down.
    pub fn set_time(&mut self, unix_ms: u64) -> Result<(), ClientError> {
        self.change(&Request::SetTime { start: self.hello.boots, unix_ms })
    }

    /// Asks for one frame of every so many; 0 stops it.
    ///
    /// # Errors
    /// [`ClientError`] if it does not answer.
    pub fn live(&mut self, every: u16) -> Result<(), ClientError> {
        self.done(&Request::Live(every))
    }

    /// How it is doing.
    ///
    /// # Errors
    /// [`ClientError`] if it does not answer.
    pub fn status(&mut self) -> Result<Status, ClientError> {
        match self.ask(&Request::Status, |answer| matches!(answer, Answer::Status(_)))? {
            Answer::Status(status) => Ok(status),
            _ => Err(ClientError::Silent),
        }
    }

    /// The journal in flash from a number on, page after page.
    ///
    /// # Errors
    /// [`ClientError`] if it cannot be read.
    pub fn journal(&mut self, from: u32) -> Result<Vec<JournalLine>, ClientError> {
        let (mut all, mut next) = (Vec::new(), from);
        loop {
            let answer =
                self.ask(&Request::JournalFrom(next), |answer| matches!(answer, Answer::Journal(..)))?;
            let Answer::Journal(on, lines) = answer else { return Err(ClientError::Silent) };
            let mut rest = lines.as_slice();
            while !rest.is_empty() {
                let (line, after) = bolster_link::message::journal_line(rest)
                    .ok_or(ClientError::NotUnderstood("lines of a journal"))?;
                // A page may have come twice.
                if all.last().is_none_or(|last: &JournalLine| line.number.wrapping_sub(last.number) == 1) {
                    all.push(line);
                }
                rest = after;
            }
            if on == next {
                return Ok(all);
            }
            next = on;
        }
    }

    /// The frames of the kept stroke, as records of a feed, and lets the ring run again. What breaks off is asked for
    /// from where it did.
    ///
    /// # Errors
    /// [`ClientError::Refused`] if none is kept.
    pub fn kept(&mut self) -> Result<Vec<u8>, ClientError> {
        let len = record_len(usize::from(self.hello.columns));
        let (mut records, mut total) = (Vec::new(), None);
        while total.is_none_or(|total| records.len() / len < total as usize) {
            let next = (records.len() / len) as u32;
            let fits = |answer: &Answer| matches!(answer, Answer::Kept(from, ..) if *from == next);
            // The first part answers the request; further ones come by themselves, until one is missing.
            let Answer::Kept(_, all, some) = self.ask(&Request::KeptFrom(next), fits)? else {
                return Err(ClientError::Silent);
            };
            if some.is_empty() || some.len() % len != 0 {
                return Err(ClientError::NotUnderstood("kept frames"));
            }
            total = Some(all);
            records.extend(some);
            self.more_kept(&mut records, len)?;
        }
        self.change(&Request::ReleaseKept(self.hello.boots))?;
        Ok(records)
    }

    /// Takes in kept frames that follow, until one is missing or none come.
    fn more_kept(&mut self, records: &mut Vec<u8>, len: usize) -> Result<(), ClientError> {
        loop {
            let inbox = &mut self.inbox;
            match self.line.next(|notice| inbox.take(notice))? {
                None => return Ok(()),
                Some(Some((None, Ok(Answer::Kept(from, total, some))))) => {
                    if from as usize != records.len() / len {
                        return Ok(());
                    }
                    records.extend(some);
                    if records.len() / len >= total as usize {
                        return Ok(());
                    }
                }
                Some(_) => {}
            }
        }
    }
}
