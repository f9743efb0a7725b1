//! From readings to zero, gain and cross-talk.
//!
//! counts = zero + S · column loads, column loads by the reference's place in the linear form (or by references of
//! their own); S by least squares, gauge by gauge; gains and cross-talk are S⁻¹, kN a count.
//!
//! One load cell cannot twist the four corners against each other (left front and right rear up, the others down):
//! by the linear form that pattern never occurs. What a gauge would see of it is taken as whatever makes its
//! cross-talk least, and the certificate says so.

use bolster_core::press::Columns;
use nalgebra::DMatrix;

use super::least_squares::{Fit, FitError, fit};
use super::run::{Reading, Run};
use super::series::Order;
use crate::plan::formula::column_shares;

/// What was told about cross-talk.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CrossTalk {
    /// One gauge: there is none.
    None,
    /// All readings with the reference in one place: not told.
    NotTold,
    /// By places of one reference; the twist of four corners is not told.
    ByPlaces,
    /// By a reference under each column.
    ByColumns,
}

/// The fitted calibration.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitted {
    /// `[gauge]`: counts at no load.
    pub zero_counts: Vec<f64>,
    /// `[column][gauge]`: kN a count.
    pub kn_per_count: Vec<Vec<f64>>,
    /// How cross-talk was found.
    pub cross_talk: CrossTalk,
    /// `[gauge]`: relative standard deviation of the gauge's own sensitivity.
    pub gain_deviation: Vec<f64>,
    /// Total load by the calibration less the reference's, kN, reading by reading of the order.
    pub residuals_kn: Vec<f64>,
    /// √(Σ residual²/(n − parameters)), kN, with the parameters of one gauge's fit.
    pub residual_kn: f64,
}

/// Why no calibration comes of a run.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CalibrateError {
    /// A gauge does not tell the loads apart.
    #[error("gauge {gauge}: {why}")]
    Gauge {
        /// Name of the gauge.
        gauge: &'static str,
        /// Why.
        why: FitError,
    },
    /// A gauge hardly answers to load, or the wrong way round.
    #[error("gauge {0}: its counts do not rise with load; check wiring and polarity")]
    Polarity(&'static str),
    /// Places were given but not the plate.
    #[error("x_mm and y_mm are given; name the press card too (--press), for the distance between gauges")]
    NoPlate,
    /// The gauges cannot be told apart.
    #[error("the gauges answer so alike that the columns cannot be told apart; load more places")]
    Alike,
}

/// Fits a run. `plate_mm`: distance between gauge centres, where places are given.
///
/// # Errors
/// [`CalibrateError`] says which gauge and why.
pub fn calibrate(run: &Run, order: &Order, plate_mm: Option<[f64; 2]>) -> Result<Fitted, CalibrateError> {
    let columns = run.columns;
    let names = columns.names();
    let count = columns.count();
    let readings: Vec<&Reading> = order.placed.iter().filter_map(|p| run.readings.get(p.index)).collect();
    let (loads, cross_talk) = column_loads(columns, &readings, plate_mm)?;
    // Each gauge against the loads it can see.
    let basis = basis(columns, cross_talk);
    let mut zero_counts = Vec::with_capacity(count);
    let mut gain_deviation = Vec::with_capacity(count);
    let mut sensitivity = DMatrix::zeros(count, count);
    let mut parameters = 2;
    for (gauge, name) in names.iter().enumerate() {
        let y: Vec<f64> = readings.iter().map(|r| r.counts.get(gauge).copied().unwrap_or(0.0)).collect();
        let design: Vec<Vec<f64>> = loads.iter().map(|load| row(load, &basis, gauge)).collect();
        let line = fit(&design, &y).map_err(|why| CalibrateError::Gauge { gauge: name, why })?;
        parameters = line.coefficients.len();
        zero_counts.push(line.coefficients.first().copied().unwrap_or(0.0));
        let own = spread(&line, &basis, gauge, count);
        let seen = own.get(gauge).copied().unwrap_or(0.0);
        if seen <= 0.0 {
            return Err(CalibrateError::Polarity(name));
        }
        let widest = line.deviations.iter().skip(1).copied().fold(0.0, f64::max);
        gain_deviation.push(widest / seen);
        for (column, value) in own.into_iter().enumerate() {
            sensitivity[(gauge, column)] = value;
        }
    }
    let inverse = sensitivity.try_inverse().ok_or(CalibrateError::Alike)?;
    let kn_per_count: Vec<Vec<f64>> = inverse.row_iter().map(|r| r.iter().copied().collect()).collect();
    if kn_per_count.iter().enumerate().any(|(i, r)| r.get(i).is_none_or(|g| !(*g > 0.0 && g.is_finite()))) {
        return Err(CalibrateError::Alike);
    }
    let residuals_kn: Vec<f64> =
        readings.iter().map(|r| total_kn(&zero_counts, &kn_per_count, &r.counts) - r.reference_kn).collect();
    let freedom = residuals_kn.len().saturating_sub(parameters).max(1) as f64;
    let residual_kn = (residuals_kn.iter().map(|d| d * d).sum::<f64>() / freedom).sqrt();
    Ok(Fitted { zero_counts, kn_per_count, cross_talk, gain_deviation, residuals_kn, residual_kn })
}

/// Column loads by zero and matrix, kN.
#[must_use]
pub fn loads_kn(zero_counts: &[f64], kn_per_count: &[Vec<f64>], counts: &[f64]) -> Vec<f64> {
    let net: Vec<f64> = counts.iter().zip(zero_counts).map(|(c, z)| c - z).collect();
    kn_per_count.iter().map(|row| row.iter().zip(&net).map(|(m, n)| m * n).sum()).collect()
}

/// Their sum, kN.
#[must_use]
pub fn total_kn(zero_counts: &[f64], kn_per_count: &[Vec<f64>], counts: &[f64]) -> f64 {
    loads_kn(zero_counts, kn_per_count, counts).iter().sum()
}

fn column_loads(
    columns: Columns,
    readings: &[&Reading],
    plate_mm: Option<[f64; 2]>,
) -> Result<(Vec<Vec<f64>>, CrossTalk), CalibrateError> {
    if columns == Columns::Total {
        return Ok((readings.iter().map(|r| vec![r.reference_kn]).collect(), CrossTalk::None));
    }
    if let Some(own) = readings.iter().map(|r| r.columns_kn.clone()).collect::<Option<Vec<_>>>() {
        return Ok((own, CrossTalk::ByColumns));
    }
    let places: Vec<[f64; 2]> = readings.iter().map(|r| r.place_mm.unwrap_or_default()).collect();
    let moved = places.iter().any(|p| p[0].abs() + p[1].abs() > 0.0);
    let plate = match (plate_mm, moved) {
        (Some(plate), _) => plate,
        (None, false) => [1.0, 1.0],
        (None, true) => return Err(CalibrateError::NoPlate),
    };
    let loads = readings
        .iter()
        .zip(&places)
        .map(|(r, place)| column_shares(columns, *place, plate).iter().map(|s| s * r.reference_kn).collect())
        .collect();
    let differ = |axis: usize| {
        let along = || places.iter().map(|p| p.get(axis).copied().unwrap_or(0.0));
        let span = along().fold(f64::NEG_INFINITY, f64::max) - along().fold(f64::INFINITY, f64::min);
        span > 0.05 * plate.get(axis).copied().unwrap_or(1.0)
    };
    let enough = match columns {
        Columns::Corners => differ(0) && differ(1),
        _ => differ(0),
    };
    Ok((loads, if enough { CrossTalk::ByPlaces } else { CrossTalk::NotTold }))
}

/// The patterns of column loads that the run can tell apart; each is fitted by one coefficient.
fn basis(columns: Columns, cross_talk: CrossTalk) -> Vec<Vec<f64>> {
    let count = columns.count();
    match cross_talk {
        CrossTalk::None | CrossTalk::NotTold => Vec::new(),
        CrossTalk::ByColumns => {
            (0..count).map(|i| (0..count).map(|j| f64::from(u8::from(i == j))).collect()).collect()
        }
        CrossTalk::ByPlaces => {
            let even = vec![1.0 / (count as f64).sqrt(); count];
            let side = |sides: &[f32]| sides.iter().map(|s| f64::from(*s) / (count as f64).sqrt()).collect();
            let mut all = vec![even, side(columns.side_x())];
            if columns == Columns::Corners {
                all.push(side(columns.side_y()));
            }
            all
        }
    }
}

/// A row of the design: 1 and the load in each pattern, or the gauge's own column where no cross-talk is told.
fn row(load: &[f64], basis: &[Vec<f64>], gauge: usize) -> Vec<f64> {
    let mut row = vec![1.0];
    if basis.is_empty() {
        row.push(load.get(gauge).copied().unwrap_or(0.0));
    }
    row.extend(basis.iter().map(|pattern| pattern.iter().zip(load).map(|(p, l)| p * l).sum::<f64>()));
    row
}

/// Sensitivity of a gauge to each column, counts a kN.
fn spread(line: &Fit, basis: &[Vec<f64>], gauge: usize, count: usize) -> Vec<f64> {
    let told = line.coefficients.get(1..).unwrap_or_default();
    let mut own = vec![0.0; count];
    if basis.is_empty() {
        if let (Some(place), Some(value)) = (own.get_mut(gauge), told.first()) {
            *place = *value;
        }
        return own;
    }
    for (coefficient, pattern) in told.iter().zip(basis) {
        for (place, p) in own.iter_mut().zip(pattern) {
            *place += coefficient * p;
        }
    }
    if basis.len() == 3 {
        // Four corners by places: add the twist that leaves the least cross-talk.
        let twist = [0.5, -0.5, -0.5, 0.5];
        let others = || own.iter().zip(twist).enumerate().filter(|(i, _)| *i != gauge).map(|(_, pair)| pair);
        let along: f64 = others().map(|(o, w)| o * w).sum();
        let size: f64 = others().map(|(_, w)| w * w).sum();
        let alpha = -along / size;
        for (place, w) in own.iter_mut().zip(twist) {
            *place += alpha * w;
        }
    }
    own
}
