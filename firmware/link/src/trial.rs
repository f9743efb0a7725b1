//! One run of the monitor over a feed, done alike on host and controller.

mod model;
mod rainflow;

use bolster_core::die::{Band, DieError, DieLimits, Envelope, Threshold};
use bolster_core::digest::MonitorDigest;
use bolster_core::frame::Frame;
use bolster_core::monitor::{Monitor, Step};
use bolster_core::often::MofN;
use bolster_core::press::{Columns, PressSpec};
use bolster_core::settings::{Press, PressSettings, SettingsError};
use bolster_core::shape::FillError;
use bolster_core::stroke::StrokeSource;
use bolster_core::units::{CrankAngle, Tick};
use bolster_core::verdict::Verdict;
use bolster_core::windows::{Channel, SensorRule, SensorWindow, Span, WatchWindow, WindowValue};

use crate::feed::{Before, Header, TrialDie};

pub use rainflow::count_example;

/// Signature bins.
pub const BINS: usize = bolster_core::signature::SIGNATURE_BINS;
/// Frames kept around a stop: what a controller of 128 KiB has room for.
pub const KEEP: usize = 512;
/// Ticks of a bypass in a trial.
pub const BYPASS_TICKS: u32 = 5_000;

/// An invented press of 2,000 kN that trials and measurements use.
#[must_use]
pub fn invented_press(columns: Columns) -> PressSpec {
    PressSpec {
        columns,
        rated_kn: 2000.0,
        rated_height_mm: 6.0,
        stroke_mm: 180.0,
        rod_mm: 800.0,
        speed_spm: [30.0, 90.0],
        bolster_mm: [1600.0, 900.0],
        usable_energy_kj: Some(18.0),
        reverse_percent: 10.0,
        column_percent: 120.0,
        imbalance_percent: 30.0,
        off_centre_percent: Some(40.0),
    }
}

/// The press of a feed, set as usual.
///
/// # Errors
/// [`SettingsError`] if the header's figures do not go together.
pub fn press<const N: usize>(header: &Header) -> Result<Press<N>, SettingsError> {
    let mut settings =
        PressSettings::<N>::usual(header.press, header.sample_hz, header.kn_per_count, header.source);
    settings.timed = header.timed;
    settings.build()
}

/// A die that uses every kind of limit, with every watch window and every sensor window taken.
#[must_use]
pub fn die(press: &PressSpec, source: StrokeSource) -> DieLimits {
    let rated = press.rated_kn as f32;
    // Sixteenths of the turn, or of 0.1 s of 10,000 frames where only time is known.
    let span = |from: u8, to: u8| {
        if source == StrokeSource::Load {
            Span::ticks(u32::from(from) * 64, u32::from(to) * 64)
        } else {
            Some(Span::angles(CrankAngle(u32::from(from) << 28), CrankAngle(u32::from(to) << 28)))
        }
    };
    let rule = |m, n| MofN { m, n };
    let band = |low, high, verdict, rule| Some(Band { low, high, verdict, rule });
    let threshold = |kn, rule| Some(Threshold { kn, verdict: Verdict::Hold, rule });
    let mut die = DieLimits {
        peak_kn: band(0.2 * rated, 0.8 * rated, Verdict::Hold, rule(1, 1)),
        reverse_kn: band(0.0, 0.06 * rated, Verdict::Hold, rule(2, 5)),
        work_kj: band(0.1, 12.0, Verdict::Note, rule(3, 8)),
        no_load: threshold(0.05 * rated, rule(1, 1)),
        double_load: threshold(0.9 * rated, rule(2, 2)),
        envelope: Envelope { verdict: Verdict::Hold, rule: rule(2, 3) },
        ..DieLimits::default()
    };
    let columns = press.columns.count() as u8;
    let values = [WindowValue::Greatest, WindowValue::Least, WindowValue::Mean];
    let musts = [SensorRule::OnOnce, SensorRule::OnThroughout, SensorRule::OffThroughout];
    for (number, (value, must)) in (0_u8..8).zip(values.into_iter().cycle().zip(musts.into_iter().cycle())) {
        let Some(span) = span(5 + number % 4, 7 + number % 4) else { continue };
        let channel = if number % 2 == 0 { Channel::Total } else { Channel::Column(number / 2 % columns) };
        let high_kn = 0.7 * rated;
        let often = MofN { m: 1 + number % 2, n: 1 + number };
        let watch = WatchWindow {
            span,
            channel,
            value,
            low_kn: -0.05 * rated,
            high_kn,
            verdict: Verdict::Hold,
            rule: if often.is_sound() { often } else { MofN::FIRST },
        };
        // Neither list is full before its eighth window.
        let _ = die.watch.push(watch);
        let _ = die.sensors.push(SensorWindow {
            span,
            input: number,
            must,
            verdict: Verdict::Note,
            rule: MofN::FIRST,
        });
    }
    die
}

/// A trial's die could not go in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PutDieError {
    /// Its limits.
    Limits(DieError),
    /// Its shape.
    Shape(FillError),
}

/// Puts the die that a feed asks for into a monitor, with coil changes told.
///
/// # Errors
/// [`PutDieError`] if the monitor refuses it.
pub fn put_die<const N: usize>(monitor: &mut TrialMonitor<N>, header: &Header) -> Result<(), PutDieError> {
    if header.die == TrialDie::None {
        return Ok(());
    }
    monitor.set_limits(Tick(0), die(&header.press, header.source)).map_err(PutDieError::Limits)?;
    if header.die == TrialDie::Shape {
        model::fill(monitor, header).map_err(PutDieError::Shape)?;
    }
    Ok(())
}

/// The monitor of a trial: with these sizes everywhere.
pub type TrialMonitor<const N: usize> = Monitor<N, BINS, KEEP>;

/// A monitor under trial with the digest of its outputs.
#[derive(Debug)]
pub struct Trial<'a, const N: usize> {
    monitor: &'a mut TrialMonitor<N>,
    digest: MonitorDigest,
    last: Tick,
}

impl<'a, const N: usize> Trial<'a, N> {
    /// A trial of a new monitor of this feed's [`press`]: its self-test passes, and the trial's die goes in if
    /// the feed asks for it. The monitor is lent, for it is large and a board has a place for it.
    #[must_use]
    pub fn new(monitor: &'a mut TrialMonitor<N>, header: &Header) -> Self {
        monitor.self_test(Tick(0), true);
        // The die is made for this very press; were it refused, the digest would show it.
        let _ = put_die(monitor, header);
        Self { monitor, digest: MonitorDigest::default(), last: Tick(0) }
    }

    /// One record. `step` is [`Monitor::step`], handed in so that a board can measure just it.
    pub fn step(
        &mut self,
        before: Before,
        frame: &Frame<N>,
        step: impl FnOnce(&mut TrialMonitor<N>, &Frame<N>) -> Step,
    ) {
        if before.mark {
            self.monitor.mark();
        }
        if before.new_coil {
            self.monitor.new_coil();
        }
        if before.acknowledge {
            // Refusals are journalled, and the journal is in the digest.
            let _ = self.monitor.acknowledge(frame.tick);
        }
        if before.bypass {
            let _ = self.monitor.bypass(frame.tick, BYPASS_TICKS);
        }
        if let Some(mode) = before.mode {
            self.monitor.set_mode(frame.tick, mode);
        }
        let done = step(self.monitor, frame);
        self.digest.step(self.monitor, done);
        self.last = frame.tick;
    }

    /// The feed has ended: strokes reported and the digest of all outputs.
    pub fn close(&mut self) -> (u32, u64) {
        let reported = self.monitor.close(self.last);
        self.digest.close(self.monitor, reported);
        (self.digest.strokes(), self.digest.value())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bolster_core::frame::CrankReading;
    use bolster_core::mode::Mode;

    fn header(columns: Columns) -> Header {
        Header {
            press: invented_press(columns),
            source: StrokeSource::Encoder,
            timed: true,
            repeats: false,
            die: TrialDie::Shape,
            records: 0,
            sample_hz: 10_000.0,
            kn_per_count: 1e-3,
        }
    }

    fn run(bump: i32) -> (u32, u64) {
        let header = header(Columns::Corners);
        let mut monitor = std::boxed::Box::new(TrialMonitor::<4>::new(press(&header).unwrap()));
        let mut trial = Trial::new(&mut monitor, &header);
        for n in 0..40_000_u32 {
            // 60 strokes a minute at 10 kHz: a turn in 10,000 frames.
            let angle = CrankAngle((u64::from(n) * (1 << 32) / 10_000) as u32);
            let loaded = (4_000..5_000).contains(&(n % 10_000));
            let count =
                if loaded { 250_000 } else { 0 } + (n % 7) as i32 + if n == 24_500 { bump } else { 0 };
            let frame =
                Frame { tick: Tick(n), counts: [count; 4], crank: CrankReading::Angle(angle), sensors: 0 };
            trial.step(Before::default(), &frame, |monitor, frame| monitor.step(frame));
        }
        trial.close()
    }

    #[test]
    fn a_trial_reports_its_strokes_and_one_changed_frame_changes_the_digest() {
        let (strokes, digest) = run(0);
        assert_eq!(strokes, 3, "four turns hold three whole strokes");
        assert_eq!(run(0), (strokes, digest));
        assert_ne!(run(100).1, digest, "a hundred counts more in one frame");
    }

    #[test]
    fn a_mode_that_is_asked_for_takes_effect_and_changes_the_digest() {
        let run = |asked: Option<Mode>| {
            let header = header(Columns::Total);
            let mut monitor = std::boxed::Box::new(TrialMonitor::<1>::new(press(&header).unwrap()));
            let mut trial = Trial::new(&mut monitor, &header);
            for n in 0..10_u32 {
                let crank = CrankReading::Angle(CrankAngle(n << 20));
                let frame = Frame { tick: Tick(n), counts: [n as i32], crank, sensors: 0 };
                let mode = asked.filter(|_| n == 5);
                trial
                    .step(Before { mode, ..Before::default() }, &frame, |monitor, frame| monitor.step(frame));
            }
            let digest = trial.close();
            (digest, monitor.mode())
        };
        let runs = [None, Some(Mode::Inch), Some(Mode::Single), Some(Mode::Continuous)].map(run);
        assert_eq!(
            runs.map(|(_, mode)| mode),
            [Mode::Continuous, Mode::Inch, Mode::Single, Mode::Continuous]
        );
        assert!(runs[0].0 != runs[1].0 && runs[1].0 != runs[2].0 && runs[0].0 != runs[2].0);
        assert_eq!(runs[3], runs[0], "the mode in effect already");
    }

    #[test]
    fn the_trial_die_fits_every_press() {
        for columns in [Columns::Total, Columns::LeftRight, Columns::Corners] {
            for source in [StrokeSource::Encoder, StrokeSource::Load] {
                let die = die(&invented_press(columns), source);
                assert_eq!(die.check(columns.count()), Ok(()));
                assert_eq!((die.watch.len(), die.sensors.len()), (8, 8));
            }
        }
    }
}
