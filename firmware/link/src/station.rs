//! The controller's end of the line: answers requests, sends strokes and events, in small steps that never wait.
//!
//! One step reads the few bytes that have arrived, does at most one request and writes what the line takes at
//! once. Nothing here is needed for a frame: the sample loop only puts into the outboxes.

use embedded_io::{Read, ReadReady, Write, WriteReady};

use crate::message::{EventLine, Hello, Notice, PART_MAX, Refusal, Request, StrokeSummary};
use crate::outbox::{Out, Outbox};
use crate::packet::{Decoder, WIRE_MAX, encode};

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
    fn get_settings(&self, from: u32, out: &mut [u8]) -> Result<(), Refusal>;
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
    fn set_time(&mut self, unix_ms: u64);
}

/// An answer still to be sent.
#[derive(Debug, Clone, Copy)]
enum Answer {
    Hello,
    Done(u16),
    Refused(u16, Refusal),
    Settings { number: u16, from: u32, count: u8 },
}

/// The controller's end of the line, with the last `STROKES` strokes and `EVENTS` events.
#[derive(Debug)]
pub struct Station<const STROKES: usize, const EVENTS: usize> {
    /// Judged strokes go in here.
    pub strokes: Outbox<StrokeSummary, STROKES>,
    /// Events go in here.
    pub events: Outbox<EventLine, EVENTS>,
    decoder: Decoder,
    number: u16,
    answer: Option<Answer>,
    /// The request last done, and whether it was: a doubled one is answered but not done again.
    last: Option<(u16, Result<(), Refusal>)>,
    kept_from: Option<u32>,
    live_every: u16,
    live: Option<(u32, i64)>,
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
            kept_from: None,
            live_every: 0,
            live: None,
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

    /// One frame's loads, for a host that watches: the newest one wins.
    pub fn offer_live(&mut self, tick: u32, counts: i64) {
        if self.live_every != 0 && tick.is_multiple_of(u32::from(self.live_every)) {
            self.live = Some((tick, counts));
        }
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
            let Self { decoder, answer, last, strokes, events, kept_from, live_every, refused, .. } = self;
            match decoder.push(byte) {
                None => {}
                Some(Err(_)) => *refused = refused.wrapping_add(1),
                Some(Ok(packet)) => {
                    let number = packet.number;
                    let Ok(request) = packet.message::<Request<'_>>() else {
                        *refused = refused.wrapping_add(1);
                        *answer = Some(Answer::Refused(number, Refusal::Unknown));
                        continue;
                    };
                    let done = match request {
                        Request::Hello => {
                            *answer = Some(Answer::Hello);
                            // A new host numbers from wherever it likes.
                            *last = None;
                            continue;
                        }
                        Request::GetSettings { from, count } => {
                            *answer = Some(Answer::Settings { number, from, count });
                            continue;
                        }
                        _ if last.is_some_and(|(done, _)| done == number) => {
                            last.map_or(Ok(()), |(_, result)| result)
                        }
                        Request::StrokesFrom(first) => {
                            strokes.rewind(first);
                            Ok(())
                        }
                        Request::EventsFrom(first) => {
                            events.rewind(first);
                            Ok(())
                        }
                        Request::KeptFrom(first) => match controller.kept_frames() {
                            Some(total) if first < total => {
                                *kept_from = Some(first);
                                Ok(())
                            }
                            _ => Err(Refusal::NothingKept),
                        },
                        Request::ReleaseKept => {
                            *kept_from = None;
                            controller.release_kept();
                            Ok(())
                        }
                        Request::Live(every) => {
                            *live_every = every;
                            Ok(())
                        }
                        Request::PutSettings { from, bytes } => controller.put_settings(from, bytes),
                        Request::CommitSettings { len, check } => controller.commit_settings(len, check),
                        Request::Acknowledge => controller.acknowledge(),
                        Request::SetTime(unix_ms) => {
                            controller.set_time(unix_ms);
                            Ok(())
                        }
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
    fn compose(&mut self, controller: &impl Controller) {
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
            };
            self.send(&notice);
        } else if let Some(out) = self.strokes.peek() {
            self.send(&match out {
                Out::Item(stroke) => Notice::Stroke(stroke),
                Out::Lost(from, to) => Notice::StrokesLost(from, to),
            });
            self.strokes.sent(&out);
        } else if let Some(out) = self.events.peek() {
            self.send(&match out {
                Out::Item(event) => Notice::Event(event),
                Out::Lost(from, to) => Notice::EventsLost(from, to),
            });
            self.events.sent(&out);
        } else if let (Some(from), Some(total)) = (self.kept_from, controller.kept_frames()) {
            let (mut len, mut next) = (0, from);
            while let Some(room) = bytes.get_mut(len..)
                && room.len() >= crate::feed::RECORD_LEN_MAX
                && let Some(more) = controller.kept_record(next, room)
            {
                len += more;
                next += 1;
            }
            self.send(&Notice::Kept { from, total, records: bytes.get(..len).unwrap_or(&[]) });
            self.kept_from = (next < total && next > from).then_some(next);
        } else if let Some((tick, counts)) = self.live.take() {
            self.send(&Notice::Live { tick, counts });
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
mod tests;
