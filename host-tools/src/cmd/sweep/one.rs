//! One seed of a sweep: simulated, learnt from, judged, and held to what must be true of every run.

use std::collections::BTreeMap;
use std::io::BufWriter;
use std::path::Path;

use bolster_core::verdict::Reason;
use bolster_sim::scenario::Scenario;
use bolster_sim::simulator::{SimStroke, Simulator};
use bolster_sim::truth::Truth;
use serde::Serialize;

use crate::card::press::PressCard;
use crate::cmd::Failure;
use crate::learn::{LEAST_STROKES, Wish, learn};
use crate::recording::{Header, Row, SimulatedWriter, Unit, WriterError};
use crate::session::{Outcome, SampleRate, Session, verdict_rank};

/// How far the energy of a stroke may stay unexplained, as a share of its work.
const ENERGY: f64 = 0.01;

/// How many strokes with a fault of one kind were stopped.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub(super) struct Found {
    pub(super) stopped: u32,
    pub(super) of: u32,
}

/// What a seed came to.
#[derive(Debug, Default, Serialize)]
pub(super) struct Result {
    pub(super) seed: u64,
    /// Strokes simulated.
    pub(super) strokes: u32,
    /// Good strokes the die was learnt from; 0 where only the machine's limits judged.
    pub(super) learnt: u32,
    /// Strokes judged after learning, by verdict.
    pub(super) verdicts: BTreeMap<&'static str, u32>,
    /// Good strokes judged after learning.
    pub(super) good: u32,
    /// Of which held or tripped.
    pub(super) false_stops: u32,
    /// By kind of fault.
    pub(super) faults: BTreeMap<&'static str, Found>,
    /// What must not be, if it was.
    pub(super) failure: Option<String>,
    /// The command that does this seed alone.
    pub(super) reproduce: String,
}

impl Result {
    pub(super) fn found(&self) -> Found {
        self.faults.values().fold(Found::default(), |sum, one| Found {
            stopped: sum.stopped + one.stopped,
            of: sum.of + one.of,
        })
    }
}

/// Strokes to learn from at most, and the tolerated false-stop rate; none judges by the machine's limits only.
#[derive(Debug, Clone, Copy)]
pub(super) struct Learning {
    pub(super) most: u32,
    pub(super) false_stop: f64,
}

impl Learning {
    /// Strokes to learn from: the first half at most, and none that can be faulty.
    pub(super) fn strokes(&self, scenario: &Scenario) -> u32 {
        let clean =
            scenario.faults.iter().map(|fault| fault.from.saturating_sub(1)).min().unwrap_or(u32::MAX);
        let strokes = self.most.min(scenario.strokes / 2).min(clean);
        if strokes < LEAST_STROKES as u32 { 0 } else { strokes }
    }
}

/// Runs the scenario with its seed.
pub(super) fn run(scenario: &Scenario, learning: Option<Learning>) -> Result {
    let mut result = Result { seed: scenario.seed, ..Result::default() };
    if let Err(failure) = all(scenario, learning, &mut result) {
        result.failure = Some(match failure {
            Failure::Message(message) => message,
            Failure::Found => "stopped".to_owned(),
        });
    }
    result
}

fn all(
    scenario: &Scenario,
    learning: Option<Learning>,
    result: &mut Result,
) -> std::result::Result<(), Failure> {
    let mut simulator = Simulator::new(scenario)?;
    let card = PressCard::parse(&bolster_sim::press::card(scenario), Path::new("press.toml"))?;
    let header = Header {
        has_time: true,
        sensors: SimulatedWriter::sensors(scenario.sensor_inputs()),
        ..SimulatedWriter::header(card.spec.columns)
    };
    let rate = SampleRate { hz: scenario.sample_hz, is_measured: true, is_clock: true };
    let mut invariants = Invariants::default();
    let first = learning.map_or(0, |learning| learning.strokes(scenario));
    let mut die = None;
    if let Some(learning) = learning.filter(|_| first > 0) {
        // Learning reads a recording twice, so the good strokes go to a file; what follows never does.
        let file = tempfile::Builder::new().prefix("bolster-sweep-").suffix(".csv").tempfile()?;
        let mut recording = SimulatedWriter::new(BufWriter::new(file.as_file()), header)?;
        let mut session = Session::new(&card, &header, rate)?;
        let strokes = simulator.by_ref().take(first as usize);
        feed(strokes, &mut session, &mut invariants, |stroke| recording.write(stroke), |_, _| {})?;
        recording.finish()?;
        let wish = Wish { die: scenario.name.clone(), false_stop: learning.false_stop };
        die = Some(learn(file.path(), &card, &wish, &mut |_, _, _| {})?);
        result.learnt = first;
    }
    let mut session = Session::new(&card, &header, rate)?;
    if let Some(die) = &die {
        session.set_die(die, true)?;
    }
    feed(
        simulator,
        &mut session,
        &mut invariants,
        |_| Ok(()),
        |outcome, truth| {
            *result.verdicts.entry(outcome.verdict).or_default() += 1;
            let stopped = verdict_rank(outcome.verdict) >= verdict_rank("hold");
            if truth.severity > 0.0 {
                let found = result.faults.entry(truth.kind.name()).or_default();
                found.of += 1;
                found.stopped += u32::from(stopped);
            } else {
                result.good += 1;
                result.false_stops += u32::from(stopped);
            }
        },
    )?;
    result.strokes = invariants.strokes;
    if invariants.strokes != scenario.strokes {
        return Err(Failure::because(format!(
            "{} strokes were simulated instead of {}",
            invariants.strokes, scenario.strokes
        )));
    }
    invariants.broken.map_or(Ok(()), |what| Err(Failure::Message(what)))
}

/// What must be true of every run; the first thing that is not.
#[derive(Debug, Default)]
struct Invariants {
    strokes: u32,
    /// Work of the first stroke, J: a stroke without strip has too little to measure anything by.
    work_j: f64,
    broken: Option<String>,
}

impl Invariants {
    fn stroke(&mut self, stroke: &SimStroke) {
        self.strokes += 1;
        let energy = &stroke.energy;
        if self.strokes == 1 {
            self.work_j = energy.crank_j.abs();
        }
        let work = energy.crank_j.abs().max(self.work_j);
        let has_drive = energy.drive != bolster_sim::drive::DriveEnergy::default();
        let open = if has_drive { energy.open_with_drive_j() } else { energy.open_j() };
        for open in [energy.open_j(), open] {
            // A number that is none fails too.
            if open.is_nan() || open.abs() > ENERGY * work {
                self.break_at(stroke.number, &format!("{open:.1} J of {work:.1} J are unexplained"));
            }
        }
    }

    fn outcome(&mut self, outcome: &Outcome, stroke: u32, truth: &Truth) {
        if outcome.stroke != u64::from(stroke) {
            self.break_at(stroke, &format!("the monitor reported stroke {} in its place", outcome.stroke));
        }
        if truth.severity == 0.0 {
            let machine =
                |reason: &&&str| Reason::ALL.iter().any(|r| r.code() == **reason && r.is_machine_limit());
            if let Some(reason) = outcome.reasons.iter().find(machine) {
                self.break_at(stroke, &format!("a good stroke broke a limit of the machine: {reason}"));
            }
        }
    }

    fn break_at(&mut self, stroke: u32, what: &str) {
        self.broken.get_or_insert_with(|| format!("stroke {stroke}: {what}"));
    }
}

/// Feeds strokes to a session; `take` gets each outcome with the truth about its stroke.
fn feed(
    strokes: impl Iterator<Item = SimStroke>,
    session: &mut Session,
    invariants: &mut Invariants,
    mut also: impl FnMut(&SimStroke) -> std::result::Result<(), WriterError>,
    mut take: impl FnMut(&Outcome, &Truth),
) -> std::result::Result<(), Failure> {
    // The stroke before is reported when the first row of the next one comes.
    let mut waiting: Option<(u32, Truth)> = None;
    let mut report = |outcome: Option<Outcome>,
                      waiting: Option<(u32, Truth)>,
                      invariants: &mut Invariants| match (outcome, waiting) {
        (Some(outcome), Some((stroke, truth))) => {
            invariants.outcome(&outcome, stroke, &truth);
            take(&outcome, &truth);
        }
        (None, Some((stroke, _))) => invariants.break_at(stroke, "the monitor reported nothing"),
        (Some(outcome), None) => {
            invariants.break_at(0, &format!("the monitor reported stroke {} twice", outcome.stroke));
        }
        (None, None) => {}
    };
    for stroke in strokes {
        invariants.stroke(&stroke);
        also(&stroke)?;
        let mut first = true;
        for sample in &stroke.samples {
            let outcome = session.row(&Row::simulated(&stroke, sample, Unit::Kilonewtons));
            if first || outcome.is_some() {
                report(outcome, waiting.take(), invariants);
                first = false;
            }
        }
        waiting = Some((stroke.number, stroke.truth));
    }
    report(session.close(), waiting.take(), invariants);
    Ok(())
}
