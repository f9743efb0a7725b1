//! How far a plan's numbers may be off: each thing that is not known is changed by its half band, the stroke is
//! run again, and the changes are added as squares (the law of propagation of JCGM 100, inputs taken as
//! independent). The half bands are those that hold nineteen in twenty; so does the result.
//!
//! Half bands: strength and thickness from the job; depth at fracture 20 %; formulas 5 % for cutting, 15 % for
//! bending (conventions differ by that), 15 % for drawing and for squeezing; closing height 0.1 mm; stiffness of the
//! frame 15 %; what ringing adds to the peak 40 %; shape of the course 10 % of the work (20 % of a draw's), 25 % of
//! a reverse load. All but the first two are
//! assumptions of this plan, without a source.

use serde::Serialize;

use super::contact::Variation;
use super::course::{Course, march};
use super::job::{Job, Operation};
use super::press::Candidate;

/// A number with the band that should hold nineteen in twenty.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Banded {
    /// For the nominal stock.
    pub nominal: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Banded {
    fn around(nominal: f64, half: f64) -> Self {
        Self { nominal, low: nominal - half, high: nominal + half }
    }

    /// Whether a value lies in the band.
    #[must_use]
    pub fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }
}

/// The bands of one stroke.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Bands {
    /// Peak of the total, kN.
    pub peak_kn: Banded,
    /// Reverse load, kN, a positive magnitude.
    pub reverse_kn: Banded,
    /// Work, kJ.
    pub work_kj: Banded,
    /// Highest load of any column, kN.
    pub column_kn: Banded,
    /// Left-right and front-rear difference, kN.
    pub imbalance_kn: [Banded; 2],
    /// Load over allowed load where that is greatest.
    pub use_of_curve: Banded,
    /// Load centre at the peak, mm.
    pub centre_mm: [Banded; 2],
    /// What each unknown adds to the peak, kN.
    pub shares_kn: Vec<(&'static str, f64)>,
}

/// The numbers that get a band.
fn figures(course: &Course) -> [f64; 9] {
    let column = course.column_peaks_kn.iter().copied().fold(0.0, f64::max);
    [
        course.peak.kn,
        (-course.least.kn).max(0.0),
        course.work_kj,
        column,
        course.imbalance[0].kn,
        course.imbalance[1].kn,
        if course.closest.1 > 0.0 { course.closest.0.kn / course.closest.1 } else { 0.0 },
        course.centre_mm[0],
        course.centre_mm[1],
    ]
}

fn has(job: &Job, hit: u32, wanted: fn(&Operation) -> bool) -> bool {
    job.stations.iter().filter(|s| s.hit == hit).flat_map(|s| &s.operations).any(wanted)
}

/// The unknowns of a job, each with what it changes.
fn unknowns(job: &Job, hit: u32) -> Vec<(&'static str, Variation)> {
    let base = Variation::default();
    let mut all = vec![
        ("strength", Variation { strength: 1.0, ..base }),
        ("thickness", Variation { thickness: 1.0, ..base }),
        ("closing height", Variation { lower_mm: 0.1, ..base }),
        ("frame stiffness", Variation { stiffness: 0.85, ..base }),
    ];
    if has(job, hit, |o| matches!(o, Operation::Cut(_))) {
        all.push(("depth at fracture", Variation { penetration: 1.2, ..base }));
        all.push(("cutting formula", Variation { cut: 1.05, ..base }));
    }
    if has(job, hit, |o| matches!(o, Operation::Bend(_))) {
        all.push(("bending formula", Variation { bend: 1.15, ..base }));
    }
    if has(job, hit, |o| matches!(o, Operation::Draw(_))) {
        all.push(("drawing formula", Variation { draw: 1.15, ..base }));
    }
    if has(job, hit, |o| matches!(o, Operation::Coin(_))) {
        all.push(("squeezing formula", Variation { coin: 1.15, ..base }));
    }
    all
}

/// The bands of a hit, given its nominal course.
#[must_use]
pub fn bands(job: &Job, hit: u32, press: &Candidate, speed_spm: f64, nominal: &Course) -> Bands {
    let base = figures(nominal);
    let mut squares = [0.0; 9];
    let mut shares_kn = Vec::new();
    for (name, variation) in unknowns(job, hit) {
        let changed = figures(&march(job, hit, press, speed_spm, &variation));
        for ((square, was), is) in squares.iter_mut().zip(base).zip(changed) {
            *square += (is - was) * (is - was);
        }
        shares_kn.push((name, (changed[0] - base[0]).abs()));
    }
    // How fast a sheet yields, and so how much the frame rings, no handbook says.
    let ringing = 0.4 * (nominal.peak.kn - nominal.die_peak_kn).abs() + 0.01 * nominal.peak.kn;
    let [peak, reverse, work, column, left_right, front_rear, curve, x, y] = base;
    let half = |place: usize, more: f64| (squares.get(place).copied().unwrap_or(0.0) + more * more).sqrt();
    let centre = |place: usize, nominal_mm: f64, span: [f64; 2], plate: f64| {
        // Guides carry some of the tilt; ringing rocks the slide.
        let own = 0.06 * nominal_mm.abs() + 0.01 * plate;
        Banded {
            nominal: nominal_mm,
            low: span[0].min(nominal_mm) - half(place, own),
            high: span[1].max(nominal_mm) + half(place, own),
        }
    };
    let draws = |place: usize| {
        job.stations.get(place).is_some_and(|s| s.operations.iter().any(|o| matches!(o, Operation::Draw(_))))
    };
    let drawn: f64 =
        nominal.stations.iter().enumerate().filter(|(i, _)| draws(*i)).map(|(_, s)| s.work_kj).sum();
    let floor = |banded: Banded| Banded { low: banded.low.max(0.0), ..banded };
    let plate = press.spec.bolster_mm;
    Bands {
        peak_kn: floor(Banded::around(peak, half(0, ringing))),
        reverse_kn: floor(Banded::around(reverse, half(1, 0.25 * reverse))),
        work_kj: floor(Banded::around(work, half(2, 0.1 * work + 0.1 * drawn))),
        column_kn: floor(Banded::around(column, half(3, ringing / plate_share(press)))),
        imbalance_kn: [
            floor(Banded::around(left_right, half(4, 0.1 * left_right))),
            floor(Banded::around(front_rear, half(5, 0.1 * front_rear))),
        ],
        use_of_curve: floor(Banded::around(curve, half(6, 0.02 * curve))),
        centre_mm: [
            centre(7, x, nominal.centre_span_mm[0], plate[0]),
            centre(8, y, nominal.centre_span_mm[1], plate[1]),
        ],
        shares_kn,
    }
}

fn plate_share(press: &Candidate) -> f64 {
    press.spec.columns.count() as f64
}
