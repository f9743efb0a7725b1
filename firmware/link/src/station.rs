//! The controller's end of the line: answers requests, sends strokes and events, in small steps that never wait.
//!
//! One step reads the few bytes that have arrived, does at most one request and writes what the line takes at
//! once. Nothing here is needed for a frame: the sample loop only puts into the outboxes.

use embedded_io::{Read, ReadReady, Write, WriteReady};

use crate::feed::RECORD_LEN_MAX;
use crate::message::{
    EventLine, FINDINGS_PART, Hello, JudgedStroke, Notice, PART_MAX, Refusal, Request, Status,
};
use crate::outbox::{Out, Outbox};
use crate::packet::{Decoder, PacketError, WIRE_MAX, encode};

/// Bytes taken from the line in one step at most.
const READ_MAX: usize = 32;

/// What the station asks of the controller.
pub trait Controller {
    /// Who is here; the station fills in the numbers of strokes and events.
    fn hello(&self) -> Hello;
    /// Puts a part of new settings aside.
    ///
    /// # Errors
    /// [`Refusal`] if it does not fit.
    fn put_settings(&mut self, from: u32, bytes: &[u8]) -> Result<(), Refusal>;
    /// What has been put aside, from a byte on, into `out`.
    ///
    /// # Errors
    /// [`Refusal`] if there is nothing there.
    fn get_settings(&mut self, from: u32, out: &mut [u8]) -> Result<(), Refusal>;
    /// Checks what has been put aside and takes it as the new settings.
    ///
    /// # Errors
    /// [`Refusal`] if it is not whole or cannot be; the old settings then stay.
    fn commit_settings(&mut self, len: u32, check: u32) -> Result<(), Refusal>;
    /// Frames in the kept stroke, once it stands still.
    fn kept_frames(&self) -> Option<u32>;
    /// One kept frame as a feed's record into `out`; gives its length.
    fn kept_record(&self, number: u32, out: &mut [u8]) -> Option<usize>;
    /// Lets the kept ring run again.
    fn release_kept(&mut self);
    /// A person acknowledges.
    ///
    /// # Errors
    /// [`Refusal`] while something is wrong.
    fn acknowledge(&mut self) -> Result<(), Refusal>;
    /// The time now, milliseconds since 1970-01-01 UTC.
    ///
    /// # Errors
    /// [`Refusal`] if it could not be written down.
    fn set_time(&mut self, unix_ms: u64) -> Result<(), Refusal>;
    /// Whole lines of the journal in flash, from a number on, into `out`: gives their length, and the number to go on
    /// with.
    ///
    /// # Errors
    /// [`Refusal`] if the journal cannot be read.
    fn journal(&mut self, from: u32, out: &mut [u8]) -> Result<(usize, u32), Refusal>;
    /// How it is doing; the station fills in what it refused.
    fn status(&self) -> Status;
}

/// An answer still to be sent.
#[derive(Debug, Clone, Copy)]
enum Answer {
    Hello,
    Done(u16),
    Refused(u16, Refusal),
    Settings { number: u16, from: u32, count: u8 },
    Journal { number: u16, from: u32 },
    Status,
}

/// The controller's end of the line, with the last `STROKES` strokes and `EVENTS` events.
#[derive(Debug)]
pub struct Station<const STROKES: usize, const EVENTS: usize> {
    /// Judged strokes go in here.
    pub strokes: Outbox<JudgedStroke, STROKES>,
    /// Events go in here.
    pub events: Outbox<EventLine, EVENTS>,
    decoder: Decoder,
    number: u16,
    answer: Option<Answer>,
    /// The request last done, and whether it was: a doubled one is answered but not done again.
    last: Option<(u16, Result<(), Refusal>)>,
    /// Somebody has greeted since this start.
    greeted: bool,
    kept_from: Option<u32>,
    live_every: u16,
    live_left: u16,
    live: Option<([u8; RECORD_LEN_MAX], usize)>,
    /// The stroke whose figures have been sent, and from where on its findings have not.
    findings: Option<(u32, u8)>,
    line: [u8; WIRE_MAX],
    written: usize,
    len: usize,
    refused: u32,
}

impl<const STROKES: usize, const EVENTS: usize> Default for Station<STROKES, EVENTS> {
    fn default() -> Self {
        Self {
            strokes: Outbox::default(),
            events: Outbox::default(),
            decoder: Decoder::default(),
            number: 0,
            answer: None,
            last: None,
            greeted: false,
            kept_from: None,
            live_every: 0,
            live_left: 0,
            live: None,
            findings: None,
            line: [0; WIRE_MAX],
            written: 0,
            len: 0,
            refused: 0,
        }
    }
}

impl<const STROKES: usize, const EVENTS: usize> Station<STROKES, EVENTS> {
    /// Packets refused so far.
    #[must_use]
    pub fn refused(&self) -> u32 {
        self.refused
    }

    /// Whether a host watches: then frames are to be offered by [`Self::offer_live`].
    #[must_use]
    pub fn wants_live(&self) -> bool {
        self.live_every != 0
    }

    /// One frame as a record, for a host that watches: of every so many that are offered one is sent, the newest first.
    pub fn offer_live(&mut self, record: &[u8; RECORD_LEN_MAX], len: usize) {
        if self.live_every == 0 {
            return;
        }
        self.live_left = self.live_left.saturating_sub(1);
        if self.live_left == 0 {
            self.live_left = self.live_every;
            self.live = Some((*record, len));
        }
    }

    /// Whether all that was to be said has gone to the line.
    #[must_use]
    pub fn is_quiet(&self) -> bool {
        self.written == self.len
            && self.answer.is_none()
            && self.strokes.peek().is_none()
            && self.events.peek().is_none()
    }

    /// One step. Never waits; does bounded work.
    ///
    /// # Errors
    /// What the line says; the station stays usable.
    pub fn step<L>(&mut self, line: &mut L, controller: &mut impl Controller) -> Result<(), L::Error>
    where
        L: Read + ReadReady + Write + WriteReady,
    {
        self.read(line, controller)?;
        if self.written == self.len {
            self.compose(controller);
        }
        while self.written < self.len && line.write_ready()? {
            let rest = self.line.get(self.written..self.len).unwrap_or(&[]);
            let taken = line.write(rest)?;
            if taken == 0 {
                break;
            }
            self.written += taken;
        }
        Ok(())
    }

    fn read<L>(&mut self, line: &mut L, controller: &mut impl Controller) -> Result<(), L::Error>
    where
        L: Read + ReadReady,
    {
        for _ in 0..READ_MAX {
            // A request is read only once the last one's answer is on its way.
            if self.answer.is_some() || !line.read_ready()? {
                break;
            }
            let mut byte = [0];
            if line.read(&mut byte)? == 0 {
                break;
            }
            let [byte] = byte;
            let Self { decoder, answer, last, strokes, events, findings, kept_from, .. } = self;
            let Self { greeted, live_every, live_left, live, refused, .. } = self;
            match decoder.push(byte) {
                None => {}
                Some(Err(why)) => {
                    *refused = refused.wrapping_add(1);
                    if let PacketError::Version(_) = why {
                        // The answer's first byte tells the version that is spoken here.
                        *answer = Some(Answer::Refused(0, Refusal::Unknown));
                    }
                }
                Some(Ok(packet)) => {
                    let number = packet.number;
                    let Ok(request) = packet.message::<Request<'_>>() else {
                        *refused = refused.wrapping_add(1);
                        *answer = Some(Answer::Refused(number, Refusal::Unknown));
                        continue;
                    };
                    // What was under way while the controller started anew was asked of another one.
                    let meant = |start| *greeted && start == controller.hello().boots;
                    if !request.changes().is_none_or(meant) {
                        *answer = Some(Answer::Refused(number, Refusal::OtherStart));
                        continue;
                    }
                    let done = match request {
                        Request::Hello => {
                            *answer = Some(Answer::Hello);
                            // A new host numbers from wherever it likes.
                            (*last, *greeted) = (None, true);
                            continue;
                        }
                        Request::GetSettings { from, count } => {
                            *answer = Some(Answer::Settings { number, from, count });
                            continue;
                        }
                        Request::JournalFrom(from) => {
                            *answer = Some(Answer::Journal { number, from });
                            continue;
                        }
                        Request::Status => {
                            *answer = Some(Answer::Status);
                            continue;
                        }
                        // Asked for again, frames are sent again: those of the first time may have been lost.
                        Request::KeptFrom(first) => match controller.kept_frames() {
                            Some(total) if first < total => {
                                *kept_from = Some(first);
                                Ok(())
                            }
                            _ => Err(Refusal::NothingKept),
                        },
                        _ if last.is_some_and(|(done, _)| done == number) => {
                            last.map_or(Ok(()), |(_, result)| result)
                        }
                        Request::StrokesFrom(first) => {
                            strokes.rewind(first);
                            *findings = None;
                            Ok(())
                        }
                        Request::EventsFrom(first) => {
                            events.rewind(first);
                            Ok(())
                        }
                        Request::ReleaseKept(_) => {
                            *kept_from = None;
                            controller.release_kept();
                            Ok(())
                        }
                        Request::Live(every) => {
                            (*live_every, *live_left) = (every, 1);
                            *live = None;
                            Ok(())
                        }
                        Request::PutSettings { from, bytes, .. } => controller.put_settings(from, bytes),
                        Request::CommitSettings { len, check, .. } => controller.commit_settings(len, check),
                        Request::Acknowledge(_) => controller.acknowledge(),
                        Request::SetTime { unix_ms, .. } => controller.set_time(unix_ms),
                    };
                    *last = Some((number, done));
                    *answer = Some(match done {
                        Ok(()) => Answer::Done(number),
                        Err(why) => Answer::Refused(number, why),
                    });
                }
            }
        }
        Ok(())
    }

    /// Makes the next packet, if there is anything to say: answers, then strokes, events, kept frames, live ones.
    fn compose(&mut self, controller: &mut impl Controller) {
        let mut bytes = [0; PART_MAX];
        if let Some(answer) = self.answer.take() {
            let notice = match answer {
                Answer::Hello => Notice::Hello(Hello {
                    next_stroke: self.strokes.next_number(),
                    next_event: self.events.next_number(),
                    ..controller.hello()
                }),
                Answer::Done(number) => Notice::Done(number),
                Answer::Refused(number, why) => Notice::Refused(number, why),
                Answer::Settings { number, from, count } => {
                    let part = bytes.get_mut(..usize::from(count)).unwrap_or(&mut []);
                    match controller.get_settings(from, part) {
                        Ok(()) => Notice::Settings { from, bytes: part },
                        Err(why) => Notice::Refused(number, why),
                    }
                }
                Answer::Journal { number, from } => match controller.journal(from, &mut bytes) {
                    Ok((len, next)) => Notice::Journal { next, lines: bytes.get(..len).unwrap_or(&[]) },
                    Err(why) => Notice::Refused(number, why),
                },
                Answer::Status => Notice::Status(Status { refused: self.refused, ..controller.status() }),
            };
            self.send(&notice);
        } else if let Some(out) = self.strokes.peek() {
            self.send_stroke(&out);
        } else if let Some(out) = self.events.peek() {
            self.send(&match out {
                Out::Item(event) => Notice::Event(event),
                Out::Lost(from, to) => Notice::EventsLost(from, to),
            });
            self.events.sent(&out);
        } else if let (Some(from), Some(total)) = (self.kept_from, controller.kept_frames()) {
            let (mut len, mut next) = (0, from);
            while let Some(room) = bytes.get_mut(len..)
                && room.len() >= RECORD_LEN_MAX
                && let Some(more) = controller.kept_record(next, room)
            {
                len += more;
                next += 1;
            }
            self.send(&Notice::Kept { from, total, records: bytes.get(..len).unwrap_or(&[]) });
            self.kept_from = (next < total && next > from).then_some(next);
        } else if let Some((record, len)) = self.live.take() {
            self.send(&Notice::Live { record: record.get(..len).unwrap_or(&record) });
        }
    }

    /// The next part of a stroke, or of a gap: first its figures, then its findings as many as one message takes.
    fn send_stroke(&mut self, out: &Out<JudgedStroke>) {
        let stroke = match out {
            Out::Item(stroke) => stroke,
            Out::Lost(from, to) => {
                self.findings = None;
                self.send(&Notice::StrokesLost(*from, *to));
                self.strokes.sent(out);
                return;
            }
        };
        let number = stroke.summary.number;
        // A stroke that made room for another one while its findings were being sent is told as lost.
        let next = match self.findings.filter(|(begun, _)| *begun == number) {
            None => {
                self.send(&Notice::Stroke(stroke.summary));
                0
            }
            Some((_, from)) => {
                if let Some(list) = stroke.part(from) {
                    self.send(&Notice::Findings { stroke: number, from, list });
                }
                from.saturating_add(FINDINGS_PART as u8)
            }
        };
        self.findings = Some((number, next));
        if stroke.part(next).is_none() {
            self.findings = None;
            self.strokes.sent(out);
        }
    }

    fn send(&mut self, notice: &Notice<'_>) {
        // Every notice fits: its parts are limited by PART_MAX, which a test holds against the packet's room.
        self.len = encode(self.number, notice, &mut self.line).unwrap_or(0);
        self.written = 0;
        self.number = self.number.wrapping_add(1);
    }
}

#[cfg(test)]
mod pretend;
#[cfg(test)]
mod tests;
