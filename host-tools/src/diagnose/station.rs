//! What can change at one station, and what that does to the columns.
//!
//! The plan of the job on this press ([`crate::plan::course`]: contacts, frame, crank) is run with the station as it
//! should be and with one thing about it changed; the difference of the columns' loads is what that change looks
//! like, the frame's answer included (an extra load near the bottom opens the frame, so that tools elsewhere press
//! less). The ways a station may change:
//!
//! * *own cut*, *own form*: more or less of what its cutting, or its other tools always do (part of an edge gone;
//!   metal harder there);
//! * *later release*: a cut holds on past where it cracked before (a blunt edge sinks deeper before the sheet cracks);
//! * *trailing*: load between crack and bottom (scrap pushed on through a packed die);
//! * *stripping*: pull on the way up (a blunt edge is gripped harder);
//! * *at the bottom*: load where tools close on something that lies between them, thin or as thick as the sheet.

use bolster_core::press::Columns;

use super::fit::{Part, Sign};
use super::grid::Grid;
use crate::plan::Variation;
use crate::plan::course::march_in;
use crate::plan::job::{Coin, Job, Operation, Station};
use crate::plan::press::Candidate;

/// The ways in which a station may change, in the order of a pattern's parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(usize)]
pub(super) enum Way {
    OwnCut = 0,
    OwnForm = 1,
    LaterRelease = 2,
    Trailing = 3,
    Stripping = 4,
    AtBottomThin = 5,
    AtBottom = 6,
    AtBottomThick = 7,
}

impl Way {
    pub(super) const ALL: [Self; 8] = [
        Self::OwnCut,
        Self::OwnForm,
        Self::LaterRelease,
        Self::Trailing,
        Self::Stripping,
        Self::AtBottomThin,
        Self::AtBottom,
        Self::AtBottomThick,
    ];
}

/// A station as a change may show it.
#[derive(Debug, Clone)]
pub(super) struct StationModel {
    /// Number in the job, from 1.
    pub(super) number: usize,
    pub(super) name: String,
    pub(super) x_mm: f64,
    pub(super) y_mm: f64,
    pub(super) cuts: bool,
    /// Whether it works the strip at all: a pad presses without one.
    pub(super) works: bool,
    pub(super) thickness_mm: f64,
    /// The ways over the places of the grid, for each column; a way it cannot change in is all zero.
    pub(super) parts: Vec<Part>,
    /// Change of the columns' loads when everything here meets its work a mm earlier.
    pub(super) earlier: Vec<f64>,
}

/// Shares of a load at a place, one a column: the slide a rigid plate on columns alike (the linear form).
pub(super) fn shares(columns: Columns, bolster_mm: [f64; 2], x_mm: f64, y_mm: f64) -> Vec<f64> {
    let count = columns.count() as f64;
    let along = |place: f64, side: &f32, width: f64| {
        if width > 1.0 { 2.0 * f64::from(*side) * place / width } else { 0.0 }
    };
    columns
        .side_x()
        .iter()
        .zip(columns.side_y())
        .map(|(x, y)| (1.0 + along(x_mm, x, bolster_mm[0]) + along(y_mm, y, bolster_mm[1])) / count)
        .collect()
}

/// How far each way is tried: shares of the station's own figure, kN of trailing load, a common slug.
const LESS: f64 = 0.8;
const LATER: f64 = 1.25;
const TRAILING_KN: f64 = 10.0;
const MORE_STRIPPING_PERCENT: f64 = 5.0;
/// mm², a hole of 20 mm: the size does not matter, amplitudes are free.
const SLUG_MM2: f64 = 314.0;
/// How much longer tools are tried, mm.
const LONGER_MM: f64 = 0.05;
/// Spans of a stroke that leave two points each: the ringing must be followed to average out.
const SPANS: usize = 2_000;

/// One hit of a job as the plan sees it on a press, on the diagnosis's grid.
pub(super) struct Planned<'a> {
    job: &'a Job,
    hit: u32,
    press: &'a Candidate,
    speed_spm: f64,
    grid: &'a Grid,
    /// The hit as the job says.
    whole: Vec<f64>,
}

impl<'a> Planned<'a> {
    /// Plans the hit.
    pub(super) fn new(job: &'a Job, hit: u32, press: &'a Candidate, speed_spm: f64, grid: &'a Grid) -> Self {
        let mut planned = Self { job, hit, press, speed_spm, grid, whole: Vec::new() };
        planned.whole = planned.run(job);
        planned
    }

    fn run(&self, job: &Job) -> Vec<f64> {
        let course = march_in(job, self.hit, self.press, self.speed_spm, &Variation::default(), SPANS);
        let points: Vec<(f64, Vec<f64>)> =
            course.samples.into_iter().map(|sample| (sample.angle_deg, sample.columns_kn)).collect();
        self.grid.of_points(&points)
    }
}

/// Every station of the hit.
pub(super) fn stations(planned: &Planned<'_>) -> Vec<StationModel> {
    let Planned { job, whole, .. } = planned;
    let mut all = Vec::new();
    for (n, station) in job.stations.iter().enumerate().filter(|(_, station)| station.hit == planned.hit) {
        let difference = |(changed, unit): (Station, f64)| -> Vec<f64> {
            let mut job = (*job).clone();
            if let Some(place) = job.stations.get_mut(n) {
                *place = changed;
            }
            planned.run(&job).iter().zip(whole).map(|(a, b)| (a - b) / unit).collect()
        };
        let part = |way: Way| {
            let sign = if matches!(way, Way::OwnCut | Way::OwnForm) { Sign::Free } else { Sign::Up };
            let values = changed(station, way).map_or_else(|| vec![0.0; whole.len()], difference);
            Part { values, sign }
        };
        all.push(StationModel {
            number: n + 1,
            name: station.name.clone(),
            x_mm: station.x_mm,
            y_mm: station.y_mm,
            cuts: station.operations.iter().any(|operation| matches!(operation, Operation::Cut(_))),
            works: station.operations.iter().any(|operation| !matches!(operation, Operation::Pad(_))),
            thickness_mm: station.stock.thickness_mm,
            parts: Way::ALL.into_iter().map(part).collect(),
            earlier: difference(earlier(station)),
        });
    }
    all
}

/// The station changed in one way, and by how much in the way's unit; none if it cannot change so.
fn changed(station: &Station, way: Way) -> Option<(Station, f64)> {
    let mut changed = station.clone();
    let stock = &mut changed.stock;
    let cut = station.operations.iter().find_map(|operation| match operation {
        Operation::Cut(cut) => Some(cut.clone()),
        _ => None,
    });
    let t = stock.thickness_mm;
    let unit = match way {
        Way::OwnCut => {
            let _ = cut?;
            stock.shear_mpa *= LESS;
            LESS - 1.0
        }
        Way::OwnForm => {
            let forms = |operation: &Operation| !matches!(operation, Operation::Cut(_));
            if !station.operations.iter().any(forms) {
                return None;
            }
            stock.tensile_mpa *= LESS;
            stock.yield_mpa *= LESS;
            for operation in &mut changed.operations {
                match operation {
                    Operation::Coin(coin) => coin.pressure_mpa *= LESS,
                    Operation::Pad(pad) => {
                        pad.preload_kn *= LESS;
                        pad.rate_kn_per_mm *= LESS;
                    }
                    _ => {}
                }
            }
            LESS - 1.0
        }
        Way::LaterRelease => {
            let _ = cut?;
            stock.penetration *= LATER;
            LATER - 1.0
        }
        Way::Trailing => {
            let cut = cut?;
            let contact_mm = cut.contact_mm - 0.5 * (cut.stagger_mm + cut.shear_mm) - stock.penetration * t;
            // A squeeze that never gets deep stands at half its full load, and gives nothing back on the way up.
            changed.operations.push(Operation::Coin(Coin {
                area_mm2: 2.0 * TRAILING_KN * 1000.0,
                pressure_mpa: 1.0,
                reduction_mm: 1e4,
                contact_mm: contact_mm.max(0.0),
            }));
            TRAILING_KN
        }
        Way::Stripping => {
            let _ = cut?;
            for operation in &mut changed.operations {
                if let Operation::Cut(cut) = operation {
                    cut.stripping_percent += MORE_STRIPPING_PERCENT;
                }
            }
            MORE_STRIPPING_PERCENT
        }
        Way::AtBottomThin | Way::AtBottom | Way::AtBottomThick => {
            let contact_mm = match way {
                Way::AtBottomThin => 0.15 * t,
                Way::AtBottom => 0.4 * t,
                _ => t,
            };
            changed.operations.push(Operation::Coin(Coin {
                area_mm2: SLUG_MM2,
                pressure_mpa: 3.0 * stock.tensile_mpa,
                reduction_mm: 0.5 * contact_mm,
                contact_mm,
            }));
            1.0
        }
    };
    Some((changed, unit))
}

/// Moves first contact of all tools of a station up by so much.
fn meet_earlier(station: &mut Station, by_mm: f64) {
    for operation in &mut station.operations {
        let contact = match operation {
            Operation::Cut(cut) => &mut cut.contact_mm,
            Operation::Bend(bend) => &mut bend.contact_mm,
            Operation::Draw(draw) => &mut draw.depth_mm,
            Operation::Coin(coin) => &mut coin.contact_mm,
            Operation::Pad(pad) => &mut pad.contact_mm,
        };
        *contact = (*contact + by_mm).max(0.0);
    }
}

/// The station with all its tools a little longer.
fn earlier(station: &Station) -> (Station, f64) {
    let mut changed = station.clone();
    meet_earlier(&mut changed, LONGER_MM);
    (changed, LONGER_MM)
}

/// Changes of the whole press of a size that slopes are no guide to, from the plan.
#[derive(Debug, Clone, Default)]
pub(super) struct WholePress {
    /// Thicker sheet, each by more than the one before.
    pub(super) thicker: Vec<Vec<f64>>,
    /// Slide lower (true) or higher.
    pub(super) height: Vec<(bool, Vec<f64>)>,
    /// The right (0) or front (1) side closing first (true), or the other.
    pub(super) tilted: Vec<(usize, bool, Vec<f64>)>,
}

/// Shares of the thickness, and mm, by which they are tried.
const THICKER: [f64; 4] = [0.1, 0.3, 0.6, 1.0];
const LOWER_MM: [f64; 3] = [0.05, 0.15, 0.4];

/// Those changes for the hit.
pub(super) fn whole_press(planned: &Planned<'_>) -> WholePress {
    let Planned { job, press, whole, .. } = planned;
    let with = |change: &dyn Fn(&mut Station)| -> Vec<f64> {
        let mut job = (*job).clone();
        job.stations.iter_mut().for_each(change);
        planned.run(&job).iter().zip(whole).map(|(a, b)| a - b).collect()
    };
    let thicker = THICKER.map(|share| {
        with(&|station| {
            // A pad meets the sheet too, and a tool that forms meets it earlier by what it is thicker.
            let more = share * station.stock.thickness_mm;
            station.stock.thickness_mm += more;
            meet_earlier(station, more);
        })
    });
    let mut out = WholePress { thicker: thicker.into(), ..WholePress::default() };
    for by in LOWER_MM {
        for lower in [true, false] {
            let by = if lower { by } else { -by };
            out.height.push((lower, with(&|station| meet_earlier(station, by))));
            for (axis, width) in press.spec.bolster_mm.into_iter().enumerate() {
                let place = |station: &Station| if axis == 0 { station.x_mm } else { station.y_mm };
                if width > 1.0 {
                    let tilted = with(&|station| meet_earlier(station, 4.0 * by * place(station) / width));
                    out.tilted.push((axis, lower, tilted));
                }
            }
        }
    }
    out
}
