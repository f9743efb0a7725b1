//! What a stopped stroke shows: where in the stroke, where in the press, what changed, and what it usually is.
//!
//! A [`Diagnoser`] takes every stroke as it comes, with its signature and what that was expected to be (the running
//! baseline of good strokes), and diagnoses those that were noted, held or tripped. The change, stroke less
//! expected, is averaged over the frame's ringing and weighed by the scatter of good strokes, which is known from
//! learning: its noise and the directions in which good strokes vary anyway. Then everything that could have changed
//! is laid over it: each station of the job in each of a few ways (what the plan of the job says that would do to
//! the columns), each column's gauge and stiffness, the stock, the slide, the crank's reading. What explains most
//! comes first. Causes are rules over these and over the strokes before, each with its signs listed; they are
//! common practice, no source.
//!
//! Nothing here decides about the press: the verdict is the core's.

mod by_height;
mod cause;
mod diagnosis;
mod fit;
mod grid;
mod history;
mod place;
mod press_wide;
mod station;
mod summary;
mod told;
mod unnamed;

use bolster_core::crank::CrankSlider;
use bolster_core::press::{Columns, PressSpec};
use bolster_core::verdict::Reason;

pub use diagnosis::{BASIS, Cause, Centre, ChangeSeen, Diagnosis, Evidence, Extent, Place};
pub use summary::Summary;
pub(crate) use told::labelled;
pub use told::{Told, ToldCause, ToldChange, ToldEvidence, ToldExtent, ToldPlace};

use crate::card::die::{Axis, DieCard};
use crate::plan::job::Job;
use crate::plan::press::Candidate;
use crate::session::Outcome;

use cause::Seen;
use diagnosis::tidy;
use fit::{Change, Fit, Part};
use grid::Grid;
use history::{Before, Course, History};
use press_wide::{WidePattern, patterns};
use station::{Planned, StationModel, WholePress};

/// Why nothing can be diagnosed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum DiagnoseError {
    /// A card without learnt signatures.
    #[error(
        "die {0} has no learnt signature to hold strokes against; learn it from good strokes (bolster learn) first"
    )]
    NotLearnt(String),
    /// A hit that the job does not have.
    #[error("the job has {of} hit(s), there is no hit {asked}; name one of them with --hit")]
    NoSuchHit {
        /// Asked for.
        asked: u32,
        /// In the job.
        of: u32,
    },
}

/// Windows of averaging, in periods of the frame's ringing.
const PERIODS: f64 = 2.0;
/// What a plan's prediction of a change cannot be trusted beyond, as a share of the greatest change.
const TRUST: f64 = 0.05;

/// Diagnoses strokes of one die on one press.
#[derive(Debug, Clone)]
pub struct Diagnoser {
    spec: PressSpec,
    crank: Option<CrankSlider>,
    by_angle: bool,
    grid: Grid,
    /// Learnt reference, and 1/variance, in the signature's bins.
    reference: Vec<f32>,
    weights: Vec<f64>,
    /// Variances and directions of scatter on the grid.
    variances: Vec<f64>,
    scatter: Vec<Vec<f64>>,
    stations: Vec<StationModel>,
    whole: WholePress,
    /// Load of something that lies on the die at a place that no job names.
    lying: Vec<Vec<Part>>,
    remarks: Vec<String>,
    history: History,
    /// What was last noted, to be repeated while nothing else is.
    last: Option<(Vec<&'static str>, Diagnosis)>,
}

/// A stroke as the judge had it: signature and expectation in the bins of the die, column by column.
#[derive(Debug, Clone, Copy)]
pub struct JudgedStroke<'a> {
    /// Verdict and figures.
    pub outcome: &'a Outcome,
    /// Mean load of each column in each bin, kN; none if the stroke does not cover them.
    pub signature: Option<&'a [f32]>,
    /// What the die's good strokes would have given.
    pub expected: Option<&'a [f32]>,
}

impl Diagnoser {
    /// For strokes judged by `die` on `press`; with a job, stations can be named, those of one `hit` of it.
    ///
    /// # Errors
    /// [`DiagnoseError`] for a die without learnt signatures or a hit the job does not have.
    pub fn new(press: &Candidate, die: &DieCard, job: Option<(&Job, u32)>) -> Result<Self, DiagnoseError> {
        let shape = die.shape.as_ref().ok_or_else(|| DiagnoseError::NotLearnt(die.die.name.clone()))?;
        let spec = press.spec;
        let by_angle = shape.axis == Axis::CrankDegrees;
        let crank = spec.check().ok().filter(|_| by_angle);
        let middle_spm = 0.5 * (spec.speed_spm[0] + spec.speed_spm[1]);
        let speed_spm = job.and_then(|(job, _)| job.speed_spm).unwrap_or(middle_spm);
        let per_s = if by_angle { 6.0 * speed_spm } else { 1000.0 };
        let grid = Grid::new(&shape.edges, spec.columns.count(), PERIODS * press.period_s() * per_s);
        let direction = |(row, spread): (&Vec<f64>, &f64)| {
            let kn: Vec<f64> = row.iter().zip(&shape.sigma).map(|(f, s)| f * s * spread).collect();
            grid.smoothed(&kn)
        };
        let scatter = shape.factors.iter().zip(&shape.spread).map(direction).collect();
        let mut remarks = Vec::new();
        let mut stations = Vec::new();
        let mut whole = WholePress::default();
        let mut lying = Vec::new();
        match job {
            Some((job, hit)) => {
                if hit == 0 || hit > job.hits {
                    return Err(DiagnoseError::NoSuchHit { asked: hit, of: job.hits });
                }
                if crank.is_some() {
                    let planned = Planned::new(job, hit, press, speed_spm, &grid);
                    stations = station::stations(&planned);
                    whole = station::whole_press(&planned);
                } else {
                    remarks.push("no crank angle: stations cannot be told apart by height".to_owned());
                }
                if !press.defaults.is_empty() {
                    remarks.push(
                        "frame stiffness or slide mass of the press assumed: neighbouring stations are told apart \
                         better with them (press.plan.toml beside the card)"
                            .to_owned(),
                    );
                }
            }
            None => {
                lying =
                    crank.iter().flat_map(|crank| unnamed::at_bottom(&grid, spec.columns, crank)).collect();
                remarks.push(
                    "no job file: places are told by the columns' shares alone, stations cannot be named (--job)"
                        .to_owned(),
                );
            }
        }
        if spec.columns == Columns::Total {
            remarks.push("one gauge column: places in the die cannot be told".to_owned());
        }
        Ok(Self {
            spec,
            crank,
            by_angle,
            reference: shape.reference.iter().map(|value| *value as f32).collect(),
            weights: shape.sigma.iter().map(|sigma| 1.0 / (sigma * sigma)).collect(),
            variances: grid.variances(&shape.sigma),
            scatter,
            stations,
            whole,
            lying,
            remarks,
            grid,
            history: History::default(),
            last: None,
        })
    }

    /// Takes a stroke; gives its diagnosis if it was noted, held or tripped.
    ///
    /// Strokes must come in order, the good ones too: they show whether a change was there before. A note that only
    /// repeats the one before it repeats its diagnosis.
    pub fn stroke(&mut self, stroke: JudgedStroke<'_>) -> Option<Diagnosis> {
        let outcome = stroke.outcome;
        self.history.coil(outcome.coil);
        let diagnosis = if outcome.verdict == "pass" {
            self.last = None;
            None
        } else {
            let repeated = match &self.last {
                Some((reasons, last)) if outcome.verdict == "note" && *reasons == outcome.reasons => {
                    Some(last.clone())
                }
                _ => None,
            };
            let diagnosis = repeated.unwrap_or_else(|| self.diagnose(stroke));
            self.last = Some((outcome.reasons.clone(), diagnosis.clone()));
            Some(diagnosis)
        };
        if let Some(signature) = stroke.signature {
            self.history.add(signature);
        }
        diagnosis
    }

    fn diagnose(&self, stroke: JudgedStroke<'_>) -> Diagnosis {
        let outcome = stroke.outcome;
        let drift = [Reason::DriftOffReference.code()];
        // What drifted is the baseline itself: only the accepted reference shows it.
        let expected =
            if outcome.reasons == drift { Some(self.reference.as_slice()) } else { stroke.expected };
        let whole = stroke.signature.zip(expected).filter(|(signature, expected)| {
            signature.len() == self.weights.len()
                && expected.len() == self.weights.len()
                && signature.iter().chain(*expected).all(|value| value.is_finite())
        });
        let Some((signature, expected)) = whole else { return self.without_signature(outcome) };
        let expected: Vec<f64> = expected.iter().map(|value| f64::from(*value)).collect();
        let raw: Vec<f64> = signature.iter().zip(&expected).map(|(x, e)| f64::from(*x) - e).collect();
        let change = self.change(&raw);
        let columns = self.spec.columns;
        let wide = (columns, self.spec.bolster_mm);
        let patterns = patterns(
            &expected,
            &self.grid,
            wide,
            self.crank.as_ref(),
            (&self.stations, &self.whole, &self.lying),
        );
        let pattern_fits: Vec<Fit> = patterns.iter().map(|pattern| change.explain(&pattern.parts)).collect();
        let station_fits: Vec<Fit> =
            self.stations.iter().map(|station| change.explain(&station.parts)).collect();
        let count = columns.count();
        let alone: Vec<f64> = (0..count).map(|column| change.alone(|n| n % count == column)).collect();
        let loads = self.grid.smoothed(&expected);
        let unnamed = self.stations.is_empty();
        let spot = unnamed.then(|| unnamed::spot(&change, &loads, &self.grid, wide)).flatten();
        let before = self.history.of(&expected, &raw, &self.weights);
        let smooth = place::Smooth::new(&self.grid, &expected, &raw, count);
        let seen = Seen {
            change: &change,
            stations: &self.stations,
            station_fits: &station_fits,
            patterns: &patterns,
            pattern_fits: &pattern_fits,
            names: columns.names(),
            spot: spot.as_ref(),
            bottom_centre: unnamed::bottom_centre(&loads, &self.grid, columns),
            alone: &alone,
            before,
            outcome,
            peak_ratio: smooth.peak_ratio(),
            net: smooth.net(),
            above: &|height_mm| self.above(&change, height_mm),
        };
        let causes = cause::causes(&seen);
        let places = self.places(outcome, &seen, change.size);
        Diagnosis {
            basis: BASIS,
            since_stroke: outcome.stroke,
            extent: smooth.extent(self.crank.as_ref(), self.by_angle),
            change: Some(smooth.change(columns.names(), &before)),
            centre: smooth.centre(&self.spec, &self.variances),
            places,
            causes,
            remarks: self.remarks.clone(),
        }
    }

    /// The change on the grid, weighed.
    fn change(&self, raw: &[f64]) -> Change {
        let values = self.grid.smoothed(raw);
        let most = values.iter().fold(0.0, |most: f64, value| most.max(value.abs()));
        let floor = (TRUST * most).powi(2);
        let weight = |variance: &f64| self.grid.worth() / (variance + floor).max(1e-12);
        let weights = self.variances.iter().map(weight).collect();
        Change::new(values, weights, self.scatter.clone())
    }

    /// Share of the change on the way down while the slide is still above a height.
    fn above(&self, change: &Change, height_mm: f64) -> f64 {
        let Some(crank) = &self.crank else { return 0.0 };
        let count = self.spec.columns.count();
        // Averages reach half a window ahead of what they are averages of.
        let highest = self.grid.places.iter().filter(|place| {
            let ahead = (**place + self.grid.reach()).min(180.0);
            **place < 180.0 && crank.height_mm(ahead.to_radians()) > height_mm
        });
        let last = highest.count();
        change.share(|n| n / count < last)
    }

    /// Places by how much a change there explains.
    fn places(&self, outcome: &Outcome, seen: &Seen<'_>, size: f64) -> Vec<Place> {
        let mut all = place::ranked(&self.spec, seen);
        place::gauges_told(outcome, &mut all);
        all.sort_by(|a, b| b.explains.total_cmp(&a.explains));
        let first = all.first().map(|first| (first.explains, first.kind));
        if let Some((best, kind)) = first {
            for place in &mut all {
                // Two deviations: a difference of four in a weighted sum of squares.
                place.as_likely_as_first = place.kind == kind && (best - place.explains) * size < 4.0;
                place.explains = tidy(place.explains, 4);
            }
        }
        all.truncate(place::MOST);
        all
    }

    fn without_signature(&self, outcome: &Outcome) -> Diagnosis {
        let none = Change::new(Vec::new(), Vec::new(), Vec::new());
        let seen = Seen {
            change: &none,
            stations: &[],
            station_fits: &[],
            patterns: &[] as &[WidePattern],
            pattern_fits: &[],
            names: self.spec.columns.names(),
            spot: None,
            bottom_centre: None,
            alone: &[],
            before: Before { alike: 0, of: 0, course: Course::Unknown },
            outcome,
            peak_ratio: 1.0,
            net: 0.0,
            above: &|_| 0.0,
        };
        let mut remarks = self.remarks.clone();
        remarks.push("the stroke has no whole signature to look at".to_owned());
        Diagnosis {
            basis: BASIS,
            since_stroke: outcome.stroke,
            extent: None,
            change: None,
            centre: None,
            places: self.places(outcome, &seen, 0.0),
            causes: cause::causes(&seen),
            remarks,
        }
    }
}

#[cfg(test)]
mod tests;
