//! The sample loop: one frame each time the sample clock strikes, judged, the permit set, the watchdog fed.
//!
//! It owns the monitor. What lies below reaches it through [`with`], which masks the interrupt for the few
//! microseconds of one short call, and through queues that it fills and never waits for.

use crate::below::{Reach, begun, check};
use crate::mmio::{Device, Register};
use crate::outputs::{BoardWatchdog, Coil, Contact};
use crate::source::Source;
use crate::{place, restart, stack};
use bolster_core::frame::Frame;
use bolster_core::health::GaugeHealth;
use bolster_core::permit::PermitState;
use bolster_core::units::Tick;
use bolster_drivers::permit::{FrameHealth, Guardian, PermitOutput};
use bolster_link::feed::{Before, Header, RECORD_LEN_MAX, encode_record};
use bolster_link::message::{Cause, EventLine, JudgedStroke, Refusal, Status};
use bolster_link::settings::Fixed;
use bolster_link::trial::{BYPASS_TICKS, TrialMonitor, press, put_die};
use bolster_store::counters::Counters;
use core::cell::RefCell;
use core::sync::atomic::{AtomicBool, AtomicU32, Ordering::Relaxed};
use cortex_m::interrupt::Mutex;
use heapless::spsc::{Consumer, Producer, Queue};
use static_cell::StaticCell;

/// Timer ticks of 25 MHz between frames: 10 kHz.
pub const FRAME_TICKS: u32 = 2_500;
/// The watchdog's time: ten frames.
const WATCHDOG_TICKS: u32 = 10 * FRAME_TICKS;
/// The timer's interrupt number.
const TIMER0: i16 = 8;
/// Frames in which the relay may move.
const MOVING_FRAMES: u16 = 5;
/// Frames within which what runs below must come round: two seconds, for it may be busy with the flash.
const LOWER_FRAMES: u32 = 20_000;

const VALUE: Register = Register::of(Device::Timer0, 0x4);
const CLEAR: Register = Register::of(Device::Timer0, 0xC);

static SAMPLER: Mutex<RefCell<Option<Sampler>>> = Mutex::new(RefCell::new(None));
static MONITOR: StaticCell<TrialMonitor<4>> = StaticCell::new();
static STROKES: StaticCell<Queue<JudgedStroke, 4>> = StaticCell::new();
static EVENTS: StaticCell<Queue<EventLine, 64>> = StaticCell::new();
static LIVE: StaticCell<Queue<Record, 2>> = StaticCell::new();
/// A host watches.
pub static WANTS_LIVE: AtomicBool = AtomicBool::new(false);
/// Frames whose time had come again before they were done.
static MISSED: AtomicU32 = AtomicU32::new(0);
/// Latest start of a frame after its time, timer ticks.
static LATEST: AtomicU32 = AtomicU32::new(0);
/// Why the watchdog was not fed in the last frame, as a number: frames stop without a word. Beside the sampler, which
/// the watchdog may interrupt.
static CAUSE: AtomicU32 = AtomicU32::new(1);
/// Frames since what runs below came round.
static SINCE_ALIVE: AtomicU32 = AtomicU32::new(0);

/// One frame as a feed's record.
pub type Record = ([u8; RECORD_LEN_MAX], usize);

/// What the sample loop owns.
struct Sampler {
    source: Source,
    monitor: &'static mut TrialMonitor<4>,
    permit: PermitOutput<Coil, Contact>,
    guardian: Guardian<BoardWatchdog>,
    strokes: Producer<'static, JudgedStroke>,
    events: Producer<'static, EventLine>,
    live: Producer<'static, Record>,
    next_event: u32,
    frames: u32,
    tick: Tick,
    ended: bool,
}

impl Sampler {
    fn frame(&mut self) {
        let since = SINCE_ALIVE.load(Relaxed).saturating_add(1);
        SINCE_ALIVE.store(since, Relaxed);
        // Without a frame nothing is fed, and the watchdog does the rest.
        let Some((before, frame)) = self.source.next() else {
            self.ended = true;
            return;
        };
        if before.mark {
            self.monitor.mark();
        }
        if before.new_coil {
            self.monitor.new_coil();
        }
        if before.acknowledge {
            // Either way it is journalled.
            let _ = self.acknowledge(frame.tick);
        }
        if before.bypass {
            let _ = self.monitor.bypass(frame.tick, BYPASS_TICKS);
        }
        if let Some(mode) = before.mode {
            self.monitor.set_mode(frame.tick, mode);
        }
        let step = self.monitor.step(&frame);
        (self.frames, self.tick) = (self.frames.wrapping_add(1), frame.tick);
        let stuck_below = since > LOWER_FRAMES;
        let output = self.permit.step(step.permit && !stuck_below);
        let frozen = self.frozen();
        let fresh = frozen.is_none() && !stuck_below;
        let fed = self.guardian.step(FrameHealth { tick: frame.tick, fresh, healthy: step.healthy, output });
        let cause = match frozen {
            _ if fed => Cause::FramesStopped,
            Some(channel) => Cause::ChannelFrozen(channel),
            None if stuck_below => Cause::TaskStuck,
            None => Cause::FramesUnsound,
        };
        CAUSE.store(restart::code(cause), Relaxed);
        if step.reported
            && let Some(report) = self.monitor.report()
        {
            // A full queue is seen by its numbers.
            let _ = self.strokes.enqueue(JudgedStroke::of(report));
        }
        self.hand_down(&frame);
    }

    /// A channel that gives one reading again and again. The converter may be the one to blame, and a restart sets it
    /// up anew; one that stays frozen after that leaves the permit off, and the monitor goes on to tell of it.
    fn frozen(&self) -> Option<u8> {
        if self.monitor.permit().state() == PermitState::SelfTest {
            return None;
        }
        // At the converter's own zero that looks like a gauge that is shorted.
        let stuck = |health: &GaugeHealth| matches!(health, GaugeHealth::Stuck | GaugeHealth::Short);
        self.monitor.health().iter().position(stuck).map(|channel| channel as u8)
    }

    fn hand_down(&mut self, frame: &Frame<4>) {
        let count = self.monitor.journal().count();
        if count != self.next_event {
            let first = self.next_event;
            for event in self.monitor.journal().iter().filter(|event| event.number >= first) {
                let _ = self.events.enqueue(event.into());
            }
            self.next_event = count;
        }
        if WANTS_LIVE.load(Relaxed) {
            let _ = self.live.enqueue(encode_record(Before::default(), frame));
        }
    }

    /// A person acknowledges: what was withdrawn, or that the watchdog has restarted the controller.
    fn acknowledge(&mut self, tick: Tick) -> Result<(), Refusal> {
        if self.monitor.permit().state() == PermitState::SelfTest {
            self.monitor.self_test(tick, true);
        }
        self.monitor.acknowledge(tick).map_err(Refusal::from)
    }
}

/// Does something with the sampler between two frames. To be short: the sample clock waits.
fn with<T>(call: impl FnOnce(&mut Sampler) -> T) -> Option<T> {
    cortex_m::interrupt::free(|free| {
        let mut sampler = SAMPLER.borrow(free).try_borrow_mut().ok()?;
        sampler.as_mut().map(call)
    })
}

/// The interrupt with this number: the sample clock's judges a frame. A program with a sample loop calls it from its
/// default handler; one without is not made to carry it.
#[allow(unsafe_code)]
// Named on purpose: the instruction counter finds them by name, once.
#[allow(named_asm_labels)]
#[inline(never)]
pub fn interrupt(number: i16) {
    if number != TIMER0 {
        return;
    }
    // SAFETY: labels only, no instruction.
    unsafe { core::arch::asm!(".global interrupt_begin", ".thumb_func", "interrupt_begin:") };
    let late = (FRAME_TICKS - 1).saturating_sub(VALUE.read());
    LATEST.store(LATEST.load(Relaxed).max(late), Relaxed);
    CLEAR.write(1);
    let _ = with(Sampler::frame);
    if CLEAR.read() & 1 != 0 {
        MISSED.store(MISSED.load(Relaxed).saturating_add(1), Relaxed);
    }
    // SAFETY: as above.
    unsafe { core::arch::asm!(".global interrupt_end", ".thumb_func", "interrupt_end:") };
}

/// The watchdog's first expiry, for the handler of the interrupt that cannot be masked: nothing can be relied on any more
/// but the pin, and the note for the next start.
pub fn expiry() -> ! {
    use embedded_hal::digital::OutputPin;
    let _ = Coil.set_low();
    restart::note(CAUSE.load(Relaxed));
    // The second expiry resets.
    loop {
        core::hint::spin_loop();
    }
}

/// Ends of the queues that lie below.
#[allow(missing_debug_implementations, reason = "queues have none")]
pub struct Queues {
    /// Judged strokes.
    pub strokes: Consumer<'static, JudgedStroke>,
    /// Events.
    pub events: Consumer<'static, EventLine>,
    /// Frames for a host that watches.
    pub live: Consumer<'static, Record>,
}

/// The sampler as what lies below reaches it: first to be prepared, then running.
#[derive(Debug)]
pub struct Shared {
    /// The monitor, until it runs.
    waiting: Option<&'static mut TrialMonitor<4>>,
    cause: Cause,
}

impl Shared {
    /// Not prepared yet.
    #[must_use]
    pub fn new(cause: Cause) -> Self {
        Self { waiting: None, cause }
    }

    fn prepare(&mut self, made: bolster_core::settings::Press<4>) -> Result<(), Refusal> {
        let cell = MONITOR.try_uninit().ok_or(Refusal::Store)?;
        let monitor = place::monitor(cell, &made);
        // The output is off and its contact says so.
        let mut permit = PermitOutput::new(Coil, Contact, MOVING_FRAMES);
        let off = permit.step(false).is_ok();
        // After a restart by the watchdog a person must have seen why.
        let by_hand = matches!(self.cause, Cause::Power | Cause::Settings);
        monitor.self_test(Tick(0), off && by_hand);
        self.waiting = Some(monitor);
        Ok(())
    }

    /// For a trial without settings: the press and the die that the feed itself names.
    pub fn take_from(&mut self, header: &Header) {
        let Ok(made) = press::<4>(header) else { return };
        if self.waiting.is_none()
            && self.prepare(made).is_ok()
            && let Some(monitor) = &mut self.waiting
            && put_die(monitor, header).is_err()
        {
            self.waiting = None;
        }
    }

    /// Starts the sample clock, if there is something to judge and it is prepared. Without either the permit stays off.
    pub fn start(&mut self) -> Option<Queues> {
        // Once.
        let (source, _) = Source::open().filter(|_| self.waiting.is_some())?;
        let monitor = self.waiting.take()?;
        let (strokes, strokes_below) = STROKES.try_init(Queue::new())?.split();
        let (events, events_below) = EVENTS.try_init(Queue::new())?.split();
        let (live, live_below) = LIVE.try_init(Queue::new())?.split();
        let permit = PermitOutput::new(Coil, Contact, MOVING_FRAMES);
        let guardian = Guardian::new(BoardWatchdog::start(WATCHDOG_TICKS));
        let sampler = Sampler {
            source,
            monitor,
            permit,
            guardian,
            strokes,
            events,
            live,
            next_event: 0,
            frames: 0,
            tick: Tick(0),
            ended: false,
        };
        cortex_m::interrupt::free(|free| {
            let mut place = SAMPLER.borrow(free).try_borrow_mut().ok()?;
            *place = Some(sampler);
            Some(())
        })?;
        Register::of(Device::Timer0, 0x8).write(FRAME_TICKS - 1);
        VALUE.write(FRAME_TICKS - 1);
        Register::of(Device::Timer0, 0x0).write(0b1001);
        Register::of(Device::Nvic, 0x0).write(1 << TIMER0);
        Some(Queues { strokes: strokes_below, events: events_below, live: live_below })
    }

    /// Does something with the monitor, waiting or running.
    fn monitor<T>(&mut self, call: impl FnOnce(&mut TrialMonitor<4>, Tick) -> T) -> Option<T> {
        match &mut self.waiting {
            Some(monitor) => Some(call(monitor, Tick(0))),
            None => with(|sampler| call(sampler.monitor, sampler.tick)),
        }
    }
}

impl Reach for Shared {
    fn check(&self, fixed: &[u8]) -> Result<usize, Refusal> {
        check::<4>(fixed)
    }

    fn take(&mut self, fixed: &[u8]) -> Result<(), Refusal> {
        let (fixed, _) = Fixed::<4>::decode(fixed).map_err(|_| Refusal::Impossible)?;
        let Fixed { press, die, .. } = fixed;
        match self.monitor(|monitor, _| monitor.press().settings == press) {
            None => self.prepare(press.build().map_err(|_| Refusal::Impossible)?)?,
            Some(true) => {}
            Some(false) => return Err(Refusal::Store),
        }
        let taken = self.monitor(|monitor, tick| monitor.set_limits(tick, die.unwrap_or_default()));
        taken.ok_or(Refusal::Store)?.map_err(|_| Refusal::Impossible)
    }

    fn waits(&self) -> bool {
        // One that does not run yet has no stroke under way.
        self.waiting.is_none() && with(|sampler| sampler.monitor.is_waiting()).unwrap_or(false)
    }

    fn begin_shape(&mut self) -> Result<bool, Refusal> {
        begun(self.monitor(|monitor, _| monitor.begin_shape()).ok_or(Refusal::Store)?)
    }

    fn words(&mut self, n: usize, words: &[u32]) -> Result<(), Refusal> {
        let filled = self.monitor(|monitor, _| monitor.fill_shape(n, words)).ok_or(Refusal::Store)?;
        filled.map_err(|_| Refusal::Impossible)
    }

    fn commit_shape(&mut self, marked: bool) -> Result<(), Refusal> {
        let whole = self.monitor(|monitor, tick| monitor.commit_shape(tick, marked)).ok_or(Refusal::Store)?;
        whole.map_err(|_| Refusal::Impossible)
    }

    fn columns(&self) -> u8 {
        if self.waiting.is_some() { 4 } else { with(|_| 4).unwrap_or(0) }
    }

    fn kept_frames(&self) -> Option<u32> {
        with(|sampler| sampler.monitor.kept().frames()).flatten().map(|frames| frames as u32)
    }

    fn kept_record(&self, number: u32, out: &mut [u8]) -> Option<usize> {
        let frame = with(|sampler| sampler.monitor.kept().frame(number as usize).copied()).flatten()?;
        let (bytes, len) = encode_record(Before::default(), &frame);
        out.get_mut(..len)?.copy_from_slice(bytes.get(..len)?);
        Some(len)
    }

    fn release_kept(&mut self) {
        let _ = with(|sampler| sampler.monitor.release_kept());
    }

    fn acknowledge(&mut self) -> Result<(), Refusal> {
        with(|sampler| sampler.acknowledge(sampler.tick)).unwrap_or(Err(Refusal::SelfTest))
    }

    fn tick(&self) -> u32 {
        with(|sampler| sampler.tick.0).unwrap_or(0)
    }

    fn counters(&self, start: &Counters) -> Counters {
        with(|sampler| start.with(sampler.monitor.ledger())).unwrap_or(*start)
    }

    fn status(&self) -> Status {
        let now = with(|sampler| (sampler.frames, sampler.monitor.permit().state(), sampler.ended));
        let (frames, state, ended) = now.unwrap_or((0, PermitState::SelfTest, false));
        let (permit, reasons) = match state {
            PermitState::SelfTest => (0, 0),
            PermitState::Granted => (1, 0),
            PermitState::Latched(reasons) => (2, reasons.bits()),
        };
        Status {
            frames,
            missed: MISSED.load(Relaxed),
            latest: LATEST.load(Relaxed),
            refused: 0,
            stack: stack::peak() as u32,
            permit,
            reasons,
            ended,
        }
    }

    fn alive(&self) {
        SINCE_ALIVE.store(0, Relaxed);
    }
}
