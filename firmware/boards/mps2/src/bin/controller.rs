//! The controller: frames judged in the sample clock's interrupt, the line to the host below it.
//!
//! Two levels are all there is, so there is no operating system: the interrupt owns the monitor and hands strokes and
//! events down through a queue; the program below it owns the line and whatever may take its time. Nothing below can
//! delay a frame, because nothing below masks the interrupt.
//!
//! Like the release image it links only if no panic is reachable.
#![no_std]
#![no_main]

use bolster_core::units::Tick;
use bolster_drivers::permit::{FrameHealth, Guardian, PermitOutput};
use bolster_link::message::{Cause, EventLine, Hello, JudgedStroke, Refusal, Status};
use bolster_link::station::{Controller, Station};
use bolster_link::trial::{BINS, BYPASS_TICKS, TrialMonitor, press, put_die};
use bolster_mps2::mmio::{Device, Register};
use bolster_mps2::outputs::{BoardWatchdog, Coil, Contact};
use bolster_mps2::place;
use bolster_mps2::source::Source;
use bolster_mps2::uart::Uart;
use core::cell::RefCell;
use core::sync::atomic::{AtomicBool, AtomicU32, Ordering::Relaxed};
use cortex_m::interrupt::Mutex;
use heapless::spsc::{Consumer, Producer, Queue};
use static_cell::StaticCell;

/// Timer ticks of 25 MHz between frames: 10 kHz.
const FRAME_TICKS: u32 = 2_500;
/// The watchdog's time: ten frames.
const WATCHDOG_TICKS: u32 = 10 * FRAME_TICKS;
/// The timer's interrupt number.
const TIMER0: i16 = 8;

/// What the interrupt owns.
struct Sampler {
    source: Source,
    monitor: &'static mut TrialMonitor<4>,
    permit: PermitOutput<Coil, Contact>,
    guardian: Guardian<BoardWatchdog>,
    strokes: Producer<'static, JudgedStroke>,
    events: Producer<'static, EventLine>,
    next_event: u32,
}

static SAMPLER: Mutex<RefCell<Option<Sampler>>> = Mutex::new(RefCell::new(None));
static MONITOR: StaticCell<TrialMonitor<4>> = StaticCell::new();
static STROKES: StaticCell<Queue<JudgedStroke, 4>> = StaticCell::new();
static EVENTS: StaticCell<Queue<EventLine, 64>> = StaticCell::new();
/// A person asked for acknowledgement by the line.
static ACKNOWLEDGE: AtomicBool = AtomicBool::new(false);
/// Frames whose time had come again before they were done.
static OVERRUNS: AtomicU32 = AtomicU32::new(0);

impl Sampler {
    fn frame(&mut self) {
        // Without a frame nothing is fed, and the watchdog does the rest.
        let Some((before, frame)) = self.source.next() else { return };
        if before.mark {
            self.monitor.mark();
        }
        if before.new_coil {
            self.monitor.new_coil();
        }
        if before.acknowledge | ACKNOWLEDGE.swap(false, Relaxed) {
            // Either way it is journalled.
            let _ = self.monitor.acknowledge(frame.tick);
        }
        if before.bypass {
            let _ = self.monitor.bypass(frame.tick, BYPASS_TICKS);
        }
        let step = self.monitor.step(&frame);
        let output = self.permit.step(step.permit);
        self.guardian.step(FrameHealth { tick: frame.tick, fresh: true, healthy: step.healthy, output });
        if step.reported
            && let Some(report) = self.monitor.report()
        {
            // A full queue is seen as a gap in the numbers by the host.
            let _ = self.strokes.enqueue(JudgedStroke::of(report));
        }
        let count = self.monitor.journal().count();
        if count != self.next_event {
            let first = self.next_event;
            for event in self.monitor.journal().iter().filter(|event| event.number >= first) {
                let _ = self.events.enqueue(event.into());
            }
            self.next_event = count;
        }
    }
}

#[cortex_m_rt::exception]
#[allow(unsafe_code)]
// Named on purpose: the instruction counter finds them by name.
#[allow(named_asm_labels)]
unsafe fn DefaultHandler(number: i16) {
    if number != TIMER0 {
        return;
    }
    // SAFETY: labels only, no instruction.
    unsafe { core::arch::asm!(".global interrupt_begin", ".thumb_func", "interrupt_begin:") };
    let clear = Register::of(Device::Timer0, 0xC);
    clear.write(1);
    cortex_m::interrupt::free(|free| {
        if let Ok(mut sampler) = SAMPLER.borrow(free).try_borrow_mut()
            && let Some(sampler) = sampler.as_mut()
        {
            sampler.frame();
        }
    });
    if clear.read() & 1 != 0 {
        OVERRUNS.fetch_add(1, Relaxed);
    }
    // SAFETY: as above.
    unsafe { core::arch::asm!(".global interrupt_end", ".thumb_func", "interrupt_end:") };
}

/// The watchdog's first expiry: nothing can be relied on any more but the pin.
#[cortex_m_rt::exception]
#[allow(unsafe_code)]
unsafe fn NonMaskableInt() {
    use embedded_hal::digital::OutputPin;
    let _ = Coil.set_low();
}

/// What the line can ask for here.
struct Below;

impl Controller for Below {
    fn hello(&self) -> Hello {
        Hello {
            build: *b"mps2-386",
            columns: 4,
            bins: BINS as u16,
            boots: 0,
            cause: Cause::Power,
            settings: 0,
            next_stroke: 0,
            next_event: 0,
        }
    }

    fn put_settings(&mut self, _: u32, _: &[u8]) -> Result<(), Refusal> {
        Err(Refusal::Store)
    }

    fn get_settings(&mut self, _: u32, _: &mut [u8]) -> Result<(), Refusal> {
        Err(Refusal::Store)
    }

    fn commit_settings(&mut self, _: u32, _: u32) -> Result<(), Refusal> {
        Err(Refusal::Store)
    }

    fn kept_frames(&self) -> Option<u32> {
        None
    }

    fn kept_record(&self, _: u32, _: &mut [u8]) -> Option<usize> {
        None
    }

    fn release_kept(&mut self) {}

    fn acknowledge(&mut self) -> Result<(), Refusal> {
        ACKNOWLEDGE.store(true, Relaxed);
        Ok(())
    }

    fn set_time(&mut self, _: u64) -> Result<(), Refusal> {
        Err(Refusal::Store)
    }

    fn journal(&mut self, _: u32, _: &mut [u8]) -> Result<(usize, u32), Refusal> {
        Err(Refusal::Store)
    }

    fn status(&self) -> Status {
        Status {
            frames: 0,
            missed: OVERRUNS.load(Relaxed),
            latest: 0,
            refused: 0,
            stack: 0,
            permit: 0,
            reasons: 0,
            ended: false,
        }
    }
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut uart = Uart::new(Device::Uart1);
    let mut down = start();
    let mut station = Station::<8, 64>::default();
    loop {
        if let Some((strokes, events)) = &mut down {
            while let Some(stroke) = strokes.dequeue() {
                station.strokes.put(stroke);
            }
            while let Some(event) = events.dequeue() {
                station.events.put(event);
            }
        }
        // The line cannot fail.
        let _ = station.step(&mut uart, &mut Below);
    }
}

/// Self-test, then the sample clock. None if there is nothing to judge: the permit is then never given.
fn start() -> Option<(Consumer<'static, JudgedStroke>, Consumer<'static, EventLine>)> {
    let (source, header) = Source::open()?;
    let press = press::<4>(&header).ok()?;
    let monitor = place::monitor(MONITOR.try_uninit()?, &press);
    let (strokes, strokes_below) = STROKES.try_init(Queue::new())?.split();
    let (events, events_below) = EVENTS.try_init(Queue::new())?.split();
    // The output is off and its contact says so, the settings are whole, the source is there.
    let mut permit = PermitOutput::new(Coil, Contact, 50);
    let passed = permit.step(false).is_ok();
    monitor.self_test(Tick(0), passed);
    put_die(monitor, &header).ok()?;
    let guardian = Guardian::new(BoardWatchdog::start(WATCHDOG_TICKS));
    let sampler = Sampler { source, monitor, permit, guardian, strokes, events, next_event: 0 };
    cortex_m::interrupt::free(|free| {
        let mut place = SAMPLER.borrow(free).try_borrow_mut().ok()?;
        *place = Some(sampler);
        Some(())
    })?;
    Register::of(Device::Timer0, 0x8).write(FRAME_TICKS - 1);
    Register::of(Device::Timer0, 0x4).write(FRAME_TICKS - 1);
    Register::of(Device::Timer0, 0x0).write(0b1001);
    Register::of(Device::Nvic, 0x0).write(1 << TIMER0);
    Some((strokes_below, events_below))
}

#[allow(unsafe_code)]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    unsafe extern "C" {
        fn a_panic_is_reachable() -> !;
    }
    // SAFETY: never linked, so never called.
    unsafe { a_panic_is_reachable() }
}
