//! The controller for replay: recorded frames come by the emulator instead of a converter, as fast as they can be
//! judged; everything else goes over the line. Settings first: they say how many columns there are.
//!
//! The line and what lies below the sample loop are those of `controller`. Here no clock drives the frames, so that
//! they can wait for the line: no stroke of a recording is lost however fast it is judged.
#![no_std]
#![no_main]

use bolster_core::frame::Frame;
use bolster_core::monitor::Monitor;
use bolster_core::permit::PermitState;
use bolster_core::units::Tick;
use bolster_link::feed::{Before, RECORD_LEN_MAX, decode_record, encode_record, record_len};
use bolster_link::message::{Cause, EventLine, JudgedStroke, Refusal, Status};
use bolster_link::settings::{Fixed, Head};
use bolster_link::station::Station;
use bolster_link::trial::{BYPASS_TICKS, TrialMonitor};
use bolster_mps2::below::{Below, Reach, begun, check};
use bolster_mps2::flash::Stored;
use bolster_mps2::mmio::Device;
use bolster_mps2::stack;
use bolster_mps2::uart::Uart;
use bolster_store::counters::Counters;
use semihosting::fs::File;
use semihosting::io::Read;
use semihosting::{println, process};
use static_cell::StaticCell;

/// Frames judged between two looks at the line.
const AT_ONCE: usize = 64;
/// Bytes read at a time: a whole number of records of every length, 16, 20 and 28 bytes.
const BUFFER: usize = 16 * 5 * 7 * 16;

/// The one monitor of a run: there is no room for one of each.
// There is no heap to box the large ones in, and only one is ever made.
#[allow(clippy::large_enum_variant)]
enum Any {
    One(TrialMonitor<1>),
    Two(TrialMonitor<2>),
    Four(TrialMonitor<4>),
}

static MONITOR: StaticCell<Any> = StaticCell::new();
static BYTES: StaticCell<[u8; BUFFER]> = StaticCell::new();

/// Does the same with whichever monitor there is.
macro_rules! each {
    ($any:expr, $monitor:ident => $do:expr) => {
        match $any {
            Any::One($monitor) => $do,
            Any::Two($monitor) => $do,
            Any::Four($monitor) => $do,
        }
    };
}

/// The monitor, once there are settings.
struct Bench {
    monitor: Option<&'static mut Any>,
    frames: u32,
    tick: Tick,
    ended: bool,
    next_event: u32,
}

impl Bench {
    /// One record: what happens before its frame, and the frame. Gives the stroke that it completed.
    fn record(&mut self, bytes: &[u8]) -> Option<JudgedStroke> {
        let any = self.monitor.as_mut()?;
        self.frames = self.frames.wrapping_add(1);
        each!(any, monitor => {
            let Ok((before, frame)) = decode_record(bytes) else {
                println!("bridge: record {} is none", self.frames);
                process::exit(1)
            };
            self.tick = frame.tick;
            step(monitor, before, &frame)
        })
    }

    /// The frames have come to their end: gives the last stroke.
    fn close(&mut self) -> Option<JudgedStroke> {
        self.ended = true;
        let tick = self.tick;
        let any = self.monitor.as_mut()?;
        each!(any, monitor => if monitor.close(tick) { monitor.report().map(JudgedStroke::of) } else { None })
    }

    /// Events since the last call, as many as the monitor still holds.
    fn events(&mut self, mut take: impl FnMut(EventLine)) {
        let Some(any) = &self.monitor else { return };
        each!(any, monitor => {
            let count = monitor.journal().count();
            if count != self.next_event {
                let first = self.next_event;
                monitor.journal().iter().filter(|event| event.number >= first).for_each(|event| take(event.into()));
                self.next_event = count;
            }
        })
    }
}

fn step<const N: usize>(
    monitor: &mut TrialMonitor<N>,
    before: Before,
    frame: &Frame<N>,
) -> Option<JudgedStroke> {
    if before.mark {
        monitor.mark();
    }
    if before.new_coil {
        monitor.new_coil();
    }
    if before.acknowledge {
        // Refusals are journalled.
        let _ = monitor.acknowledge(frame.tick);
    }
    if before.bypass {
        let _ = monitor.bypass(frame.tick, BYPASS_TICKS);
    }
    if let Some(mode) = before.mode {
        monitor.set_mode(frame.tick, mode);
    }
    let step = monitor.step(frame);
    let reported = step.reported || (before.finish && monitor.finish_judging(frame.tick));
    if reported { monitor.report().map(JudgedStroke::of) } else { None }
}

fn made<const N: usize>(fixed: &[u8]) -> Result<(TrialMonitor<N>, Fixed<N>), Refusal> {
    let (fixed, _) = Fixed::<N>::decode(fixed).map_err(|_| Refusal::Impossible)?;
    let press = fixed.press.build().map_err(|_| Refusal::Impossible)?;
    let mut monitor = Monitor::new(press);
    monitor.self_test(Tick(0), true);
    if let Some(die) = &fixed.die {
        monitor.set_limits(Tick(0), die.clone()).map_err(|_| Refusal::Impossible)?;
    }
    Ok((monitor, fixed))
}

impl Reach for Bench {
    fn check(&self, fixed: &[u8]) -> Result<usize, Refusal> {
        match Head::read(fixed).map_err(|_| Refusal::Impossible)?.columns {
            1 => check::<1>(fixed),
            2 => check::<2>(fixed),
            4 => check::<4>(fixed),
            _ => Err(Refusal::Impossible),
        }
    }

    fn take(&mut self, fixed: &[u8]) -> Result<(), Refusal> {
        // One recording a run.
        let cell = MONITOR.try_uninit().ok_or(Refusal::Store)?;
        let any = match Head::read(fixed).map_err(|_| Refusal::Impossible)?.columns {
            1 => made(fixed).map(|(monitor, _)| Any::One(monitor)),
            2 => made(fixed).map(|(monitor, _)| Any::Two(monitor)),
            _ => made(fixed).map(|(monitor, _)| Any::Four(monitor)),
        };
        self.monitor = Some(cell.write(any?));
        Ok(())
    }

    fn waits(&self) -> bool {
        self.monitor.as_ref().is_some_and(|any| each!(any, monitor => monitor.is_waiting()))
    }

    fn begin_shape(&mut self) -> Result<bool, Refusal> {
        let any = self.monitor.as_mut().ok_or(Refusal::Store)?;
        each!(any, monitor => begun(monitor.begin_shape()))
    }

    fn words(&mut self, n: usize, words: &[u32]) -> Result<(), Refusal> {
        let any = self.monitor.as_mut().ok_or(Refusal::Store)?;
        each!(any, monitor => monitor.fill_shape(n, words).map_err(|_| Refusal::Impossible))
    }

    fn commit_shape(&mut self, marked: bool) -> Result<(), Refusal> {
        let tick = self.tick;
        let any = self.monitor.as_mut().ok_or(Refusal::Store)?;
        each!(any, monitor => monitor.commit_shape(tick, marked).map_err(|_| Refusal::Impossible))
    }

    fn columns(&self) -> u8 {
        match self.monitor {
            None => 0,
            Some(Any::One(_)) => 1,
            Some(Any::Two(_)) => 2,
            Some(Any::Four(_)) => 4,
        }
    }

    fn kept_frames(&self) -> Option<u32> {
        let any = self.monitor.as_ref()?;
        each!(any, monitor => monitor.kept().frames().map(|frames| frames as u32))
    }

    fn kept_record(&self, number: u32, out: &mut [u8]) -> Option<usize> {
        let any = self.monitor.as_ref()?;
        each!(any, monitor => {
            let frame = monitor.kept().frame(number as usize)?;
            let (bytes, len) = encode_record(Before::default(), frame);
            out.get_mut(..len)?.copy_from_slice(bytes.get(..len)?);
            Some(len)
        })
    }

    fn release_kept(&mut self) {
        if let Some(any) = &mut self.monitor {
            each!(any, monitor => monitor.release_kept());
        }
    }

    fn acknowledge(&mut self) -> Result<(), Refusal> {
        let tick = self.tick;
        let any = self.monitor.as_mut().ok_or(Refusal::SelfTest)?;
        each!(any, monitor => monitor.acknowledge(tick).map_err(Refusal::from))
    }

    fn tick(&self) -> u32 {
        self.tick.0
    }

    fn counters(&self, start: &Counters) -> Counters {
        self.monitor.as_ref().map_or(*start, |any| each!(any, monitor => start.with(monitor.ledger())))
    }

    fn status(&self) -> Status {
        let state = self.monitor.as_ref().map(|any| each!(any, monitor => monitor.permit().state()));
        let (permit, reasons) = match state {
            None | Some(PermitState::SelfTest) => (0, 0),
            Some(PermitState::Granted) => (1, 0),
            Some(PermitState::Latched(reasons)) => (2, reasons.bits()),
        };
        Status {
            frames: self.frames,
            // No clock: none can be missed or late.
            missed: 0,
            latest: 0,
            refused: 0,
            stack: stack::peak() as u32,
            permit,
            reasons,
            ended: self.ended,
        }
    }

    fn alive(&self) {}
}

/// Records out of the emulator's standard input.
struct Input {
    file: Option<File>,
    bytes: &'static mut [u8; BUFFER],
    at: usize,
    end: usize,
}

impl Input {
    /// The next record; none when there will be no more.
    fn next(&mut self, len: usize) -> Option<&[u8]> {
        while self.end - self.at < len {
            self.bytes.copy_within(self.at..self.end, 0);
            (self.at, self.end) = (0, self.end - self.at);
            let room = self.bytes.get_mut(self.end..)?;
            match self.file.as_mut()?.read(room) {
                Ok(0) | Err(_) => {
                    self.file = None;
                    return None;
                }
                Ok(got) => self.end += got,
            }
        }
        let record = self.bytes.get(self.at..self.at + len);
        self.at += len;
        record
    }
}

#[cortex_m_rt::entry]
fn main() -> ! {
    stack::paint();
    let mut uart = Uart::new(Device::Uart1);
    let bench = Bench { monitor: None, frames: 0, tick: Tick(0), ended: false, next_event: 0 };
    let mut below = Below::start(bench, Stored::open(), Cause::Power);
    let mut station = Station::<8, 64>::default();
    let Ok(file) = File::open(c"/dev/stdin") else {
        println!("bridge: the emulator has no standard input");
        process::exit(1)
    };
    let mut input = Input { file: Some(file), bytes: BYTES.init([0; BUFFER]), at: 0, end: 0 };
    loop {
        // The line cannot fail.
        let _ = station.step(&mut uart, &mut below);
        if station.is_quiet() {
            below.take_settings();
        }
        let columns = usize::from(below.reach.columns());
        if columns == 0 || below.reach.ended || below.has_pending() {
            continue;
        }
        for _ in 0..AT_ONCE {
            // A stroke that found no room would be told as lost, which a replay need not do.
            if station.strokes.waiting() + 1 >= 8 {
                break;
            }
            let stroke = match input.next(record_len(columns)) {
                Some(record) => {
                    offer(&mut station, record);
                    below.reach.record(record)
                }
                None => below.reach.close(),
            };
            if let Some(stroke) = stroke {
                station.strokes.put(stroke);
            }
            below.reach.events(|event| station.events.put(event));
            if below.reach.ended {
                break;
            }
        }
    }
}

fn offer(station: &mut Station<8, 64>, record: &[u8]) {
    if station.wants_live() {
        let mut bytes = [0; RECORD_LEN_MAX];
        bytes.iter_mut().zip(record).for_each(|(to, from)| *to = *from);
        station.offer_live(&bytes, record.len());
    }
}

/// A stack that ran over, above all.
#[cortex_m_rt::exception]
#[allow(unsafe_code)]
unsafe fn HardFault(_: &cortex_m_rt::ExceptionFrame) -> ! {
    process::exit(70)
}
