//! The learned part of a die card, and its two other forms: the learning's and the core's.

use bolster_core::shape::ShapeModel;
use bolster_core::shape::field::Field;
use bolster_core::shape::model::{ALLOWED, Direction, FACTORS, STATISTICS, TANGENTS, WINDOWS};
use bolster_core::signature::Layout;
use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};

use crate::learn::{Gathered, Model};
use crate::session::BINS;

/// Version of the card's learned part; another one is not understood.
const FORMAT: u32 = 1;

/// What learning found. Signatures are flat: bin after bin, the columns of a bin side by side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShapeCard {
    /// Version of this table.
    pub format: u32,
    /// What the edges count.
    pub axis: Axis,
    /// Edges of the bins.
    pub edges: Vec<f64>,
    /// Frames of one repeated reading beyond which a gauge is stuck.
    pub repeat_limit: u32,
    /// See the core's model.
    pub allowed_limit: f64,
    /// See the core's model.
    pub stock_range: f64,
    /// See the core's model.
    pub stock_widening: f64,
    /// Limits of the statistics where coil changes are marked: allowed, residual, greatest, matched, windows, scores, all scores.
    pub limits_marked: Vec<f64>,
    /// The same where they are not.
    pub limits_unmarked: Vec<f64>,
    /// Their medians over the learning strokes.
    pub medians: Vec<f64>,
    /// Reference signature, kN.
    pub reference: Vec<f64>,
    /// Stroke scatter of each value beside the factors, kN.
    pub sigma: Vec<f64>,
    /// Standard deviation of each factor's score.
    pub spread: Vec<f64>,
    /// Factors of stroke scatter.
    pub factors: Vec<Vec<f64>>,
    /// Allowed directions: scores, then values.
    pub allowed: Vec<Vec<f64>>,
    /// Tangents of the reference.
    pub tangents: Vec<Vec<f64>>,
    /// `[column][window]`: scatter of window responses.
    pub window_scatter: Vec<Vec<f64>>,
    /// `[column]`.
    pub gain_scatter: Vec<f64>,
    /// `[window]`.
    pub station_scatter: Vec<f64>,
    /// Lower triangle, row after row, column after column and window after window.
    pub whitener: Vec<Vec<f64>>,
}

/// What the edges count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Axis {
    /// Degrees of crank angle from the top.
    CrankDegrees,
    /// Milliseconds from load onset.
    MsFromOnset,
}

/// Seven significant digits: what an f32 holds.
fn seven(value: f64) -> f64 {
    format!("{value:.6e}").parse().unwrap_or(value)
}

fn rounded<'a>(values: impl IntoIterator<Item = &'a f64>) -> Vec<f64> {
    values.into_iter().map(|value| seven(*value)).collect()
}

fn rows(matrix: &DMatrix<f64>) -> Vec<Vec<f64>> {
    matrix.row_iter().map(|row| rounded(row.iter())).collect()
}

impl ShapeCard {
    /// Of a learnt model.
    pub(crate) fn of(gathered: &Gathered, model: &Model) -> Self {
        let [marked, unmarked] = &model.limits;
        Self {
            format: FORMAT,
            axis: if gathered.by_angle { Axis::CrankDegrees } else { Axis::MsFromOnset },
            edges: rounded(&gathered.edges),
            repeat_limit: gathered.repeat_limit,
            allowed_limit: seven(model.allowed_limit),
            stock_range: seven(model.stock_range),
            stock_widening: model.stock_widening,
            limits_marked: rounded(marked),
            limits_unmarked: rounded(unmarked),
            medians: rounded(&model.medians),
            reference: rounded(model.reference.iter()),
            sigma: rounded(model.sigma.iter()),
            spread: model.lambda.iter().map(|lambda| seven(lambda.sqrt())).collect(),
            factors: rows(&model.factors),
            allowed: rows(&model.allowed),
            tangents: rows(&model.tangents),
            window_scatter: model.window_scatter.chunks(WINDOWS).map(rounded).collect(),
            gain_scatter: rounded(&model.gain_scatter),
            station_scatter: rounded(&model.station_scatter),
            whitener: model
                .whitener
                .row_iter()
                .enumerate()
                .map(|(n, row)| rounded(row.iter().take(n + 1)))
                .collect(),
        }
    }

    /// A card without numbers, for tests that fill in what they need.
    #[cfg(test)]
    pub(crate) fn blank() -> Self {
        Self {
            format: FORMAT,
            axis: Axis::CrankDegrees,
            edges: Vec::new(),
            repeat_limit: 6,
            allowed_limit: 1.0,
            stock_range: 1.0,
            stock_widening: 1.0,
            limits_marked: vec![1.0; STATISTICS],
            limits_unmarked: vec![1.0; STATISTICS],
            medians: vec![1.0; STATISTICS],
            reference: Vec::new(),
            sigma: Vec::new(),
            spread: Vec::new(),
            factors: Vec::new(),
            allowed: Vec::new(),
            tangents: Vec::new(),
            window_scatter: Vec::new(),
            gain_scatter: Vec::new(),
            station_scatter: Vec::new(),
            whitener: Vec::new(),
        }
    }

    /// Whether sizes and numbers go together for a press of `columns` columns; says what does not.
    pub(super) fn check(&self, columns: usize) -> Result<(), String> {
        if self.format != FORMAT {
            return Err(format!("has format {}, this program understands format {FORMAT}", self.format));
        }
        let bins = self.edges.len().saturating_sub(1);
        if bins == 0 || bins > BINS {
            return Err(format!("has {bins} bins; there may be 1 to {BINS}"));
        }
        let (size, factors) = (bins * columns, self.spread.len());
        let counts = [
            ("limits_marked", self.limits_marked.len(), STATISTICS),
            ("limits_unmarked", self.limits_unmarked.len(), STATISTICS),
            ("medians", self.medians.len(), STATISTICS),
            ("reference", self.reference.len(), size),
            ("sigma", self.sigma.len(), size),
            ("factors", self.factors.len(), factors),
            ("window_scatter", self.window_scatter.len(), columns),
            ("gain_scatter", self.gain_scatter.len(), columns),
            ("station_scatter", self.station_scatter.len(), WINDOWS),
            ("whitener", self.whitener.len(), columns * WINDOWS),
        ];
        for (name, found, wanted) in counts {
            if found != wanted {
                return Err(format!("{name} holds {found} entries where {wanted} belong"));
            }
        }
        for (name, found, most) in [
            ("factors", factors, FACTORS),
            ("allowed", self.allowed.len(), ALLOWED),
            ("tangents", self.tangents.len(), TANGENTS),
        ] {
            if found > most {
                return Err(format!("{name} holds {found} rows; there may be {most}"));
            }
        }
        let lengths = [
            ("factors", &self.factors, size),
            ("allowed", &self.allowed, factors + size),
            ("tangents", &self.tangents, size),
            ("window_scatter", &self.window_scatter, WINDOWS),
        ];
        for (name, rows, wanted) in lengths {
            if let Some(row) = rows.iter().find(|row| row.len() != wanted) {
                return Err(format!("a row of {name} holds {} numbers where {wanted} belong", row.len()));
            }
        }
        if let Some((n, _)) = self.whitener.iter().enumerate().find(|(n, row)| row.len() != n + 1) {
            return Err(format!("row {} of whitener is not of its length", n + 1));
        }
        let above_zero = [
            ("sigma", &self.sigma),
            ("spread", &self.spread),
            ("limits_marked", &self.limits_marked),
            ("limits_unmarked", &self.limits_unmarked),
            ("medians", &self.medians),
            ("gain_scatter", &self.gain_scatter),
            ("station_scatter", &self.station_scatter),
        ];
        for (name, values) in above_zero {
            if let Some(value) = values.iter().find(|value| !(**value > 0.0 && value.is_finite())) {
                return Err(format!("{name} holds {value} where a positive number belongs"));
            }
        }
        let scalars = [
            ("allowed_limit", self.allowed_limit),
            ("stock_range", self.stock_range),
            ("stock_widening", self.stock_widening),
        ];
        for (name, value) in scalars {
            if !(value > 0.0 && value.is_finite()) {
                return Err(format!("{name} is {value} where a positive number belongs"));
            }
        }
        let all = [&self.factors, &self.allowed, &self.tangents, &self.whitener, &self.window_scatter];
        let numbers = all.into_iter().flatten().flatten().chain(&self.reference);
        if let Some(value) = numbers.into_iter().find(|value| !value.is_finite()) {
            return Err(format!("holds {value} where a number belongs"));
        }
        self.layout(1000.0).map(|_| ()).map_err(|why| why.to_string())
    }

    /// The bins, with time in ticks of `sample_hz`.
    ///
    /// # Errors
    /// The core's, if the edges cannot be bins.
    pub fn layout(&self, sample_hz: f64) -> Result<Layout<BINS>, bolster_core::signature::LayoutError> {
        let (by_angle, per_unit) = match self.axis {
            Axis::CrankDegrees => (true, 1.0),
            Axis::MsFromOnset => (false, sample_hz / 1000.0),
        };
        let edges: Vec<f32> = self.edges.iter().map(|edge| (edge * per_unit) as f32).collect();
        Layout::new(by_angle, &edges)
    }

    /// The model as the core loads it; the card must have passed its check for `N` columns.
    ///
    /// # Errors
    /// The core's, if the edges cannot be bins at this sample rate.
    pub fn model<const N: usize>(
        &self,
        sample_hz: f64,
    ) -> Result<ShapeModel<N, BINS>, bolster_core::signature::LayoutError> {
        let layout = self.layout(sample_hz)?;
        let mut reference_size = 0.0;
        for (reference, sigma) in self.reference.iter().zip(&self.sigma) {
            reference_size += (reference / sigma).powi(2);
        }
        let mut whitener = [[[[0.0; WINDOWS]; N]; WINDOWS]; N];
        for (n, rows) in whitener.iter_mut().enumerate() {
            for (w, into) in rows.iter_mut().enumerate() {
                let row = self.whitener.get(n * WINDOWS + w);
                for (into, value) in into.iter_mut().flatten().zip(row.into_iter().flatten()) {
                    *into = *value as f32;
                }
            }
        }
        let mut per_window = [[0.0; WINDOWS]; N];
        for (into, row) in per_window.iter_mut().zip(&self.window_scatter) {
            fill(into, row, |value| 1.0 / value);
        }
        let factors = self.spread.len();
        let mut model = ShapeModel {
            layout,
            reference: field(&self.reference, |value| value),
            per_sigma: field(&self.sigma, |value| 1.0 / value),
            factors: [[[0.0; N]; BINS]; FACTORS],
            per_spread: [0.0; FACTORS],
            allowed: std::array::from_fn(|_| Direction { scores: [0.0; FACTORS], field: [[0.0; N]; BINS] }),
            tangents: [[[0.0; N]; BINS]; TANGENTS],
            per_window,
            per_gain: [0.0; N],
            per_station: [0.0; WINDOWS],
            whitener,
            limits: [[0.0; STATISTICS]; 2],
            medians: [0.0; STATISTICS],
            allowed_limit: self.allowed_limit as f32,
            stock_range: self.stock_range as f32,
            stock_widening: self.stock_widening as f32,
            reference_size: reference_size.sqrt() as f32,
            repeat_limit: self.repeat_limit,
        };
        for (into, row) in model.factors.iter_mut().zip(&self.factors) {
            *into = field(row, |value| value);
        }
        for (into, row) in model.tangents.iter_mut().zip(&self.tangents) {
            *into = field(row, |value| value);
        }
        for (into, row) in model.allowed.iter_mut().zip(&self.allowed) {
            fill(&mut into.scores, row.get(..factors).unwrap_or(&[]), |value| value);
            into.field = field(row.get(factors..).unwrap_or(&[]), |value| value);
        }
        fill(&mut model.per_spread, &self.spread, |value| 1.0 / value);
        fill(&mut model.per_gain, &self.gain_scatter, |value| 1.0 / value);
        fill(&mut model.per_station, &self.station_scatter, |value| 1.0 / value);
        let [marked, unmarked] = &mut model.limits;
        fill(marked, &self.limits_marked, |value| value);
        fill(unmarked, &self.limits_unmarked, |value| value);
        fill(&mut model.medians, &self.medians, |value| value);
        Ok(model)
    }
}

fn fill(into: &mut [f32], from: &[f64], form: impl Fn(f64) -> f64) {
    for (into, value) in into.iter_mut().zip(from) {
        *into = form(*value) as f32;
    }
}

fn field<const N: usize>(flat: &[f64], form: impl Fn(f64) -> f64) -> Field<N, BINS> {
    let mut field = [[0.0; N]; BINS];
    for (into, value) in field.iter_mut().flatten().zip(flat) {
        *into = form(*value) as f32;
    }
    field
}
