//! The picture of a run: what every stroke did, and one of each kind beside a good one.

use std::collections::BTreeMap;

use bolster_core::press::Columns;
use bolster_sim::simulator::{SimSample, SimStroke};
use bolster_sim::station::Site;
use bolster_sim::truth::{Kind, Truth};

use crate::figure::{Beside, ColumnBeside, Curve, Gallery};

/// Panels of first strokes of coils, where a run has no fault.
const COILS: usize = 8;

/// What is kept of a run while it goes by.
pub(super) struct Picture {
    columns: Columns,
    stations: Vec<String>,
    stroke: Vec<u64>,
    peak_kn: Vec<f64>,
    reverse_kn: Vec<f64>,
    marked: Vec<bool>,
    /// The first good stroke, and the last one.
    good: Option<[SimStroke; 2]>,
    /// Of each kind the worst stroke, with the good stroke before it.
    worst: BTreeMap<Kind, (SimStroke, Option<SimStroke>)>,
    /// First good strokes of coils after the first coil.
    coils: Vec<SimStroke>,
}

impl Picture {
    pub(super) fn new(columns: Columns, sites: &[Site]) -> Self {
        Self {
            columns,
            stations: sites.iter().map(|site| site.name.clone()).collect(),
            stroke: Vec::new(),
            peak_kn: Vec::new(),
            reverse_kn: Vec::new(),
            marked: Vec::new(),
            good: None,
            worst: BTreeMap::new(),
            coils: Vec::new(),
        }
    }

    /// Takes in the next stroke of the run.
    pub(super) fn take(&mut self, stroke: &SimStroke) {
        let truth = &stroke.truth;
        let faulty = truth.severity > 0.0;
        self.stroke.push(u64::from(stroke.number));
        self.peak_kn.push(truth.peak_kn);
        self.reverse_kn.push(truth.reverse_kn);
        self.marked.push(faulty);
        if faulty {
            if self.worst.get(&truth.kind).is_none_or(|(worst, _)| worst.truth.severity < truth.severity) {
                let good = self.good.as_ref().map(|[_, last]| last.clone());
                self.worst.insert(truth.kind, (stroke.clone(), good));
            }
            return;
        }
        match &mut self.good {
            Some([first, last]) => {
                if stroke.coil != first.coil && stroke.coil != last.coil && self.coils.len() < COILS {
                    self.coils.push(stroke.clone());
                }
                last.clone_from(stroke);
            }
            none => *none = Some([stroke.clone(), stroke.clone()]),
        }
    }

    /// The figure of the whole run.
    pub(super) fn figure(self, about: &str, seed: u64) -> Gallery {
        let first = self.good.as_ref().map(|[first, _]| first);
        let last = self.good.as_ref().map(|[_, last]| last);
        let mut panels = Vec::new();
        if let Some((first, last)) = first.zip(last) {
            let title = |n: u32| format!("good, stroke {n}");
            panels.push(self.beside(title(first.number), first, None));
            if self.worst.is_empty() {
                panels.push(self.beside(title(last.number), last, Some(first)));
            }
        }
        if self.worst.is_empty() {
            panels.extend(self.coils.iter().map(|stroke| {
                self.beside(format!("coil {}, stroke {}", stroke.coil, stroke.number), stroke, first)
            }));
        }
        panels.extend(self.worst.values().map(|(stroke, good)| {
            self.beside(self.name(&stroke.truth, stroke.number), stroke, good.as_ref().or(first))
        }));
        Gallery {
            title: "Simulated strokes".into(),
            subtitle: format!("{about}; seed {seed}"),
            stroke: self.stroke,
            peak_kn: self.peak_kn,
            reverse_kn: self.reverse_kn,
            marked: self.marked,
            panels,
            ..Gallery::default()
        }
    }

    fn name(&self, truth: &Truth, number: u32) -> String {
        let mut text = format!("{} {:.2}", truth.kind.name().replace('_', " "), truth.severity);
        if let Some(station) = truth.station {
            let name = station.checked_sub(1).and_then(|n| self.stations.get(n));
            text += &format!(", {}", name.map_or("station", String::as_str));
        }
        if let Some(column) = truth.column {
            text += &format!(", {}", column.to_uppercase());
        }
        text + &format!(" ({number})")
    }

    fn beside(&self, title: String, stroke: &SimStroke, good: Option<&SimStroke>) -> Beside {
        let total = |stroke: &SimStroke| curve(stroke, |sample| sample.kn.iter().sum());
        let good = good.unwrap_or(stroke);
        let names = self.columns.names();
        let column = |n: usize| {
            let of = |stroke: &SimStroke| curve(stroke, |sample| sample.kn.get(n).copied().unwrap_or(0.0));
            let name = names.get(n).map(|name| name.to_uppercase()).unwrap_or_default();
            ColumnBeside { name, number: (n, names.len()), load: of(stroke), good: of(good) }
        };
        let differs = |column: &ColumnBeside| {
            column
                .load
                .angle_deg
                .iter()
                .zip(&column.load.load_kn)
                .map(|(a, kn)| (kn - at(&column.good, *a)).abs())
                .sum::<f64>()
        };
        let columns = (0..names.len()).filter(|_| names.len() > 1).map(column);
        let most = columns.map(|column| (differs(&column), column)).max_by(|a, b| a.0.total_cmp(&b.0));
        Beside { title, total: total(stroke), good: total(good), column: most.map(|(_, column)| column) }
    }
}

fn curve(stroke: &SimStroke, load: impl Fn(&SimSample) -> f64) -> Curve {
    Curve {
        angle_deg: stroke.samples.iter().map(|sample| sample.angle_deg).collect(),
        load_kn: stroke.samples.iter().map(load).collect(),
    }
}

/// A curve's load at an angle, kN: that of the reading before it.
fn at(curve: &Curve, angle_deg: f64) -> f64 {
    let after = curve.angle_deg.partition_point(|angle| *angle < angle_deg);
    curve.load_kn.get(after).or(curve.load_kn.last()).copied().unwrap_or(0.0)
}
