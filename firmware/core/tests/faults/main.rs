//! Claim: every fault of gauges, sample clock and crank sensor has its stated reaction, in every way of telling strokes
//! and every mode, alone and in pairs. The table of reactions is data; each line says what must be told, and how soon.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "../kit/mod.rs"]
mod kit;
mod rig;
mod table;

use std::collections::BTreeSet;

use bolster_core::frame::Frame;
use bolster_core::journal::EventKind;
use bolster_core::mode::Mode;
use bolster_core::monitor::Monitor;
use bolster_core::permit::PermitState;
use bolster_core::stroke::StrokeSource;
use bolster_core::units::Tick;
use bolster_core::verdict::{Reason, Verdict};

use rig::{AFTER, Fault, Pace};
use table::{ALONE, HIDDEN, Reaction, SOURCES, TOGETHER, UNTOLD};

/// Seed of all noise here.
const SEED: u64 = 20_261_125;

/// What a monitor made of a run.
#[derive(Debug)]
struct Outcome {
    /// All reasons told in reports or latched by the permit, but for loads that a broken gauge only seems to show.
    reasons: BTreeSet<Reason>,
    /// Machine limits that were told.
    limits: BTreeSet<Reason>,
    given_up: bool,
    strokes: u32,
    /// Worst verdict of all reports.
    verdict: Verdict,
    /// Frames from the fault's beginning to the withdrawal.
    withdrawn_after: Option<u32>,
    latched: bool,
    /// The cause that the journal names for the first withdrawal; the inner one is missing if it names none.
    journalled: Option<Option<Reason>>,
}

/// What the monitors of a press run in each mode made of it.
fn run<const N: usize>(source: StrokeSource, faults: &[Fault]) -> [(Mode, Outcome); 3] {
    let frames = rig::frames::<N>(source, faults, SEED);
    Mode::ALL.map(|mode| (mode, watch(source, mode, faults, &frames)))
}

fn watch<const N: usize>(source: StrokeSource, mode: Mode, faults: &[Fault], frames: &[Frame<N>]) -> Outcome {
    let begins = Pace::of(faults).begins();
    let settings = rig::settings::<N>(source, Pace::of(faults));
    let mut monitor: Monitor<N, 16, 4> = Monitor::new(settings.build().unwrap());
    monitor.self_test(Tick(0), true);
    monitor.set_mode(Tick(0), mode);
    let (mut all, mut verdict, mut strokes, mut withdrawn) = (BTreeSet::new(), Verdict::Pass, 0, None);
    let mut hear = |monitor: &Monitor<N, 16, 4>, all: &mut BTreeSet<Reason>| {
        let findings = &monitor.report().unwrap().findings;
        all.extend(findings.reasons().iter());
        verdict = verdict.max(findings.verdict());
        strokes += 1;
    };
    let (mut given_up, mut journalled) = (false, None);
    for (n, frame) in (0_u32..).zip(frames) {
        let step = monitor.step(frame);
        if step.reported {
            hear(&monitor, &mut all);
        }
        given_up |= monitor.journal().iter().any(|event| event.kind == EventKind::StrokeGivenUp);
        if !step.permit && withdrawn.is_none() {
            assert!(n >= begins, "{faults:?} by {source:?}, {mode:?}: withdrawn before anything was wrong");
            withdrawn = Some(n - begins);
            let event = monitor.journal().iter().find(|event| event.kind == EventKind::PermitWithdrawn);
            journalled = event.map(|event| event.reason);
        }
    }
    if monitor.close(frames.last().unwrap().tick) {
        hear(&monitor, &mut all);
    }
    if let PermitState::Latched(reasons) = monitor.permit().state() {
        all.extend(reasons.iter());
        // What is found between strokes stands in no stroke's report.
        verdict = verdict.max(reasons.iter().map(Reason::verdict).max().unwrap_or_default());
    }
    let (limits, reasons) = all.into_iter().partition(|reason| reason.is_machine_limit());
    let latched = !monitor.permit().is_granted();
    Outcome { reasons, limits, given_up, strokes, verdict, withdrawn_after: withdrawn, latched, journalled }
}

/// What is not as the table says, in words; nothing if all is.
fn differs(outcome: &Outcome, wanted: &Reaction, what: &str) -> Option<String> {
    let mut reasons: BTreeSet<Reason> = wanted.reasons().collect();
    if wanted.speed_is_open {
        reasons.extend(outcome.reasons.iter().filter(|reason| **reason == Reason::SpeedOutOfRange));
    }
    let worst =
        reasons.iter().chain(&outcome.limits).map(|reason| reason.verdict()).max().unwrap_or_default();
    let stops = worst >= Verdict::Hold;
    let named = |cause: Option<Reason>| {
        cause.is_some_and(|reason| reasons.contains(&reason) || outcome.limits.contains(&reason))
    };
    let sound = outcome.reasons == reasons
        && outcome.given_up == wanted.given_up
        // Only a reading that is no load, or an angle that is none, may seem to break a limit.
        && (wanted.seems_load || outcome.limits.is_empty())
        && outcome.latched == stops
        && outcome.verdict == worst
        && outcome.journalled.is_some_and(named) == stops
        && wanted.within.is_none_or(|within| outcome.withdrawn_after.is_some_and(|after| after <= within));
    (!sound).then(|| format!("{what}: {reasons:?} was wanted with {wanted:?}, this came: {outcome:?}"))
}

#[test]
fn a_press_without_a_fault_gives_no_reason_in_any_mode() {
    for source in SOURCES {
        for (mode, outcome) in run::<4>(source, &[]) {
            assert_eq!(differs(&outcome, &Reaction::NOTHING, &format!("{source:?}, {mode:?}")), None);
            // The first turn is not whole for an encoder that starts in it.
            assert!(outcome.strokes >= Pace::of(&[]).before + AFTER - 1, "{source:?}: {outcome:?}");
        }
    }
}

fn alone<const N: usize>() -> Vec<String> {
    let mut wrong = Vec::new();
    for (fault, reactions) in &ALONE {
        for (source, wanted) in SOURCES.into_iter().zip(reactions) {
            let untold = UNTOLD.iter().any(|(untold, columns, by, _)| {
                untold == fault && columns.contains(&N) && by.contains(&source)
            });
            let wanted = if untold { &Reaction::NOTHING } else { wanted };
            for (mode, outcome) in run::<N>(source, &[*fault]) {
                let what = format!("{fault:?} by {source:?}, {N} columns, {mode:?}");
                wrong.extend(differs(&outcome, &wanted.in_mode(mode), &what));
            }
        }
    }
    wrong
}

#[test]
fn every_fault_alone_has_its_stated_reaction_however_strokes_are_told_and_the_press_is_run() {
    let wrong = [alone::<1>(), alone::<2>(), alone::<4>()].concat();
    assert!(wrong.is_empty(), "{} wrong, seed {SEED}:\n{}", wrong.len(), wrong.join("\n"));
    assert!(ALONE.iter().map(|(fault, _)| *fault).eq(Fault::ALL), "every fault has its line");
}

#[test]
fn a_pair_of_faults_is_told_as_both_of_them_but_for_those_that_one_hides() {
    let mut hidden = HIDDEN.to_vec();
    let mut met = [false; TOGETHER.len()];
    let mut wrong = Vec::new();
    for (n, (first, of_first)) in ALONE.iter().enumerate() {
        for (second, of_second) in ALONE.iter().skip(n + 1) {
            for (column, source) in SOURCES.into_iter().enumerate() {
                let hides = |a: Fault, b: Fault| {
                    HIDDEN
                        .iter()
                        .any(|(by, what, sources, _)| (*by, *what) == (a, b) && sources.contains(&source))
                };
                let other = TOGETHER.iter().position(|(a, b, by, ..)| (a, b, *by) == (first, second, source));
                let wanted = if let Some(place) = other {
                    met[place] = true;
                    TOGETHER[place].3
                } else if hides(*first, *second) {
                    Reaction { within: None, ..of_first[column] }
                } else if hides(*second, *first) {
                    Reaction { within: None, ..of_second[column] }
                } else {
                    of_first[column].with(of_second[column])
                };
                let of_gauges = first.is_of_gauge() && second.is_of_gauge();
                let wanted = if of_gauges { wanted } else { wanted.with_open_speed() };
                hidden
                    .retain(|(by, what, ..)| ![(*first, *second), (*second, *first)].contains(&(*by, *what)));
                for (mode, outcome) in run::<4>(source, &[*first, *second]) {
                    let what = format!("{first:?} and {second:?} by {source:?}, {mode:?}");
                    wrong.extend(differs(&outcome, &wanted.in_mode(mode), &what));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{} wrong, seed {SEED}:\n{}", wrong.len(), wrong.join("\n"));
    assert!(hidden.is_empty() && met.iter().all(|met| *met), "never met: {hidden:?}, {met:?}");
}
