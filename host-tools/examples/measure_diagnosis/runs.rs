//! Faults of a built-in scenario, one stroke each among good ones, simulated, judged and diagnosed.

use std::io::BufWriter;
use std::path::Path;

use bolster::card::press::PressCard;
use bolster::diagnose::{Diagnoser, Diagnosis, JudgedStroke};
use bolster::learn::{Wish, learn};
use bolster::material::Materials;
use bolster::plan::job::Job;
use bolster::plan::press::{FrameFacts, of_card};
use bolster::recording::SimulatedWriter;
use bolster::recording::{Header, Row, Unit};
use bolster::session::{Outcome, SampleRate, Session};
use bolster_sim::scenario::{FaultData, Scenario, find};
use bolster_sim::simulator::Simulator;
use bolster_sim::truth::{Kind, Truth};

use super::job;

/// Good strokes the die is learnt from, and between two faults.
const LEARN: u32 = 200;
const BETWEEN: u32 = 4;

/// A faulty stroke with what was made of it.
pub(crate) struct Case {
    pub(crate) truth: Truth,
    pub(crate) outcome: Outcome,
    /// None if it passed.
    pub(crate) diagnosis: Option<Diagnosis>,
}

/// What to run.
pub(crate) struct Runs<'a> {
    /// Name of a built-in scenario; its own faults are left out.
    pub(crate) scenario: &'a str,
    pub(crate) seed: u64,
    pub(crate) severity: f64,
    /// Strokes of each kind of fault, at stations and columns by chance.
    pub(crate) each: u32,
    /// Whether the frame's stiffness, mass and damping are known (as from a press builder) or assumed.
    pub(crate) frame_known: bool,
    /// Whether a job file names the stations.
    pub(crate) job_known: bool,
}

/// A station as the scenario has it.
#[derive(Debug)]
pub(crate) struct Named {
    pub(crate) name: String,
    /// Right and front of the middle, mm; none where the columns cannot tell.
    at_mm: [Option<f64>; 2],
    /// A quarter of the plate's width and depth, mm.
    quarter_mm: [f64; 2],
}

impl Named {
    /// Whether a place is nearer than a quarter of the plate, as far as the columns can tell.
    fn is_near(&self, at_mm: [f64; 2]) -> bool {
        let told = self.at_mm.iter().zip(at_mm).zip(self.quarter_mm);
        self.at_mm[0].is_some()
            && told.into_iter().all(|((own, at), quarter)| own.is_none_or(|own| (own - at).abs() <= quarter))
    }
}

type Failed = Box<dyn std::error::Error>;

/// Every faulty stroke of a run, and the job's stations in order.
pub(crate) fn run(runs: &Runs<'_>) -> Result<(Vec<Case>, Vec<Named>), Failed> {
    let text = find(runs.scenario).ok_or_else(|| format!("no built-in scenario {}", runs.scenario))?;
    let mut scenario = Scenario::from_toml(text)?;
    scenario.seed = runs.seed;
    scenario.faults.clear();
    let mut at = LEARN + 20;
    for kind in Kind::ALL.iter().filter(|kind| **kind != Kind::Good) {
        for _ in 0..runs.each {
            scenario.faults.push(FaultData {
                kind: *kind,
                severity: runs.severity,
                from: at,
                to: Some(at),
                probability: None,
                grows: false,
                station: None,
                column: None,
            });
            at += BETWEEN;
        }
    }
    scenario.strokes = at;
    let card = PressCard::parse(&bolster_sim::press::card(&scenario), Path::new("press.toml"))?;
    let job = Job::parse(&job::text(&scenario), Path::new("job.toml"), &Materials::built_in()?)?;
    let mut press = of_card(&card)?.into_iter().next().ok_or("no press")?;
    if runs.frame_known {
        press.defaults.clear();
        press.frame = FrameFacts {
            stretch_at_rated_mm: scenario.frame.stretch_at_rated_mm,
            slide_mass_kg: scenario.frame.slide_mass_kg,
            damping: scenario.frame.damping,
        };
    }
    let header = Header {
        has_time: true,
        sensors: SimulatedWriter::sensors(scenario.sensor_inputs()),
        ..SimulatedWriter::header(card.spec.columns)
    };
    let rate = SampleRate { hz: scenario.sample_hz, is_measured: true, is_clock: true };
    let mut simulator = Simulator::new(&scenario)?;
    let file = tempfile::Builder::new().suffix(".csv").tempfile()?;
    let mut recording = SimulatedWriter::new(BufWriter::new(file.as_file()), header)?;
    for stroke in simulator.by_ref().take(LEARN as usize) {
        recording.write(&stroke)?;
    }
    recording.finish()?;
    let wish = Wish { die: scenario.name.clone(), false_stop: 1e-4 };
    let die = learn(file.path(), &card, &wish, &mut |_, _, _| {})?;
    let mut session = Session::new(&card, &header, rate)?;
    session.set_die(&die, true)?;
    let mut diagnoser = Diagnoser::new(&press, &die, runs.job_known.then_some((&job, 1)))?;
    let mut cases = Vec::new();
    let mut take = |outcome: Outcome, session: &Session, truth: Truth| {
        let signature = session.signature();
        let stroke =
            JudgedStroke { outcome: &outcome, signature: signature.as_deref(), expected: session.expected() };
        let diagnosis = diagnoser.stroke(stroke);
        if truth.severity > 0.0 {
            cases.push(Case { truth, outcome, diagnosis });
        }
    };
    let mut before: Option<Truth> = None;
    for stroke in simulator {
        for sample in &stroke.samples {
            if let Some(outcome) = session.row(&Row::simulated(&stroke, sample, Unit::Kilonewtons))
                && let Some(truth) = before.take()
            {
                take(outcome, &session, truth);
            }
        }
        before = Some(stroke.truth);
    }
    if let (Some(outcome), Some(truth)) = (session.close(), before) {
        take(outcome, &session, truth);
    }
    let columns = card.spec.columns.count();
    let named = job.stations.iter().map(|station| Named {
        name: station.name.clone(),
        at_mm: [(columns > 1).then_some(station.x_mm), (columns > 2).then_some(station.y_mm)],
        quarter_mm: card.spec.bolster_mm.map(|width| 0.25 * width),
    });
    Ok((cases, named.collect()))
}

/// How a diagnosis did on a fault whose place is known.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Score {
    /// Faulty strokes.
    pub(crate) all: u32,
    /// Of which noted, held or tripped: only these are diagnosed.
    pub(crate) told: u32,
    /// First place is the right station or column.
    pub(crate) first: u32,
    /// First place is the right one, or one the diagnosis says it cannot tell from the first is.
    pub(crate) among: u32,
    /// First place is the right column, or a station of the right row of alike ones (`notch 3` for `notch 4`).
    pub(crate) group: u32,
    /// First place lies at the right corner (quarter of the die), or is the right column; without a job file, within
    /// a quarter of the plate's width and depth of the right place.
    pub(crate) corner: u32,
}

impl Score {
    pub(crate) fn add(&mut self, other: &Self) {
        self.all += other.all;
        self.told += other.told;
        self.first += other.first;
        self.among += other.among;
        self.group += other.group;
        self.corner += other.corner;
    }
}

/// Name of a station without the number of its repeat.
fn row_of(name: &str) -> &str {
    name.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end()
}

/// The score of one stroke; none if its fault has no place.
pub(crate) fn score(case: &Case, stations: &[Named]) -> Option<Score> {
    let (station, column) = (case.truth.station, case.truth.column);
    if station.is_none() && column.is_none() {
        return None;
    }
    let mut score = Score { all: 1, ..Score::default() };
    let Some(diagnosis) = &case.diagnosis else { return Some(score) };
    score.told = 1;
    let is_right = |place: &bolster::diagnose::Place| match column {
        Some(name) => place.kind == "column" && place.name == name,
        None => place.kind == "station" && place.station == station,
    };
    let right = diagnosis.places.iter().find(|place| is_right(place));
    let Some(first) = diagnosis.places.first() else { return Some(score) };
    score.first = u32::from(is_right(first));
    score.among = u32::from(right.is_some_and(|right| right.as_likely_as_first));
    let wanted = station.and_then(|n| stations.get(n - 1));
    let same_row =
        first.kind == "station" && wanted.is_some_and(|named| row_of(&named.name) == row_of(&first.name));
    score.group = u32::from(is_right(first) || same_row);
    let at_corner = match first.kind {
        "station" => right.is_some_and(|right| right.corner == first.corner),
        "near" => wanted.zip(first.at_mm).is_some_and(|(named, at_mm)| named.is_near(at_mm)),
        _ => false,
    };
    score.corner = u32::from(is_right(first) || at_corner);
    Some(score)
}
