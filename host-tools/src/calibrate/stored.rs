//! The calibration as a file (TOML): what the monitor loads, and what it rests on.
//!
//! ```toml
//! [calibration]
//! columns = ["left", "right"]
//! zero_counts = [120, -340]
//! kn_per_count = [[0.0021, 0.00001], [0.00002, 0.0020]]  # row: column, place in the row: gauge
//! range_counts = [-8388608, 8388607]                     # of the converter
//! [evidence]                                             # see the certificate
//! ```

use std::path::{Path, PathBuf};

use bolster_core::calibrate::CalibrationConfig;
use bolster_core::press::Columns;
use serde::{Deserialize, Serialize};

use super::assess::Assessment;
use super::fit::{CrossTalk, Fitted};

/// Why a stored calibration was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{}: {problem}", path.display())]
pub struct StoredError {
    path: PathBuf,
    problem: String,
}

/// A stored calibration.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stored {
    /// What the monitor loads.
    pub calibration: Loaded,
    /// What it rests on.
    pub evidence: StoredEvidence,
    /// Counts that a shunt raised each gauge by, for the shunt check.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shunt: Option<Shunt>,
}

/// Zero, gain and cross-talk.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Loaded {
    /// Names of the columns, in the order of the press.
    pub columns: Vec<String>,
    /// `[gauge]`: counts at no load.
    pub zero_counts: Vec<i32>,
    /// `[column][gauge]`: kN a count.
    pub kn_per_count: Vec<Vec<f64>>,
    /// Least and greatest count the converter can give.
    pub range_counts: [i32; 2],
}

/// What a calibration rests on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoredEvidence {
    /// Whether the run supports a claim.
    pub claim: bool,
    /// Whether it is an estimate from geometry.
    pub estimate: bool,
    /// How cross-talk was found.
    pub cross_talk: String,
    /// Greatest load calibrated, kN.
    pub greatest_kn: f64,
    /// Least load it may be used at, kN.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lowest_use_kn: Option<f64>,
    /// Residual standard deviation, kN.
    pub residual_kn: f64,
    /// Greatest expanded uncertainty (k = 2) from a fifth of the greatest load up, percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expanded_percent: Option<f64>,
    /// Class in the wording of ASTM E74.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub e74_class: Option<String>,
    /// Class in the wording of ISO 7500-1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub iso_7500_class: Option<String>,
}

/// A shunt check's reference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shunt {
    /// Resistance of one gauge, ohm.
    pub gauge_ohm: f64,
    /// Resistance of the shunt, ohm.
    pub shunt_ohm: f64,
    /// `[gauge]`: counts that it raises the reading by.
    pub step_counts: Vec<f64>,
}

/// Range of a 24-bit converter.
pub const RANGE_24_BIT: [i32; 2] = [-(1 << 23), (1 << 23) - 1];

impl Stored {
    /// From a fit and its assessment.
    #[must_use]
    pub fn new(columns: Columns, fitted: &Fitted, assessment: &Assessment, claim: bool) -> Self {
        let most = assessment.steps.last().map_or(0.0, |s| s.load_kn);
        let upper = assessment.steps.iter().filter(|s| s.load_kn >= 0.199 * most);
        let classes = &assessment.classes;
        let told = |class: Option<&'static str>| class.filter(|_| claim).map(str::to_owned);
        Self {
            calibration: Loaded {
                columns: columns.names().iter().map(|n| (*n).to_owned()).collect(),
                // The core's zero is a whole count; the fraction is far below the noise.
                zero_counts: fitted.zero_counts.iter().map(|z| z.round() as i32).collect(),
                kn_per_count: fitted.kn_per_count.clone(),
                range_counts: RANGE_24_BIT,
            },
            evidence: StoredEvidence {
                claim,
                estimate: false,
                cross_talk: cross_talk_word(fitted.cross_talk).to_owned(),
                greatest_kn: most,
                lowest_use_kn: classes.lowest_use_kn.filter(|_| claim),
                residual_kn: assessment.residual_kn,
                expanded_percent: Some(upper.map(|s| s.expanded_percent).fold(0.0, f64::max)),
                e74_class: told(classes.e74),
                iso_7500_class: told(classes.iso_7500),
            },
            shunt: None,
        }
    }

    /// A first gain from geometry: the same for each column, zero 0, no claim.
    #[must_use]
    pub fn estimate(columns: Columns, kn_per_count: f64) -> Self {
        let count = columns.count();
        let row = |i: usize| (0..count).map(|j| if i == j { kn_per_count } else { 0.0 }).collect();
        Self {
            calibration: Loaded {
                columns: columns.names().iter().map(|n| (*n).to_owned()).collect(),
                zero_counts: vec![0; count],
                kn_per_count: (0..count).map(row).collect(),
                range_counts: RANGE_24_BIT,
            },
            evidence: StoredEvidence {
                claim: false,
                estimate: true,
                cross_talk: cross_talk_word(CrossTalk::NotTold).to_owned(),
                greatest_kn: 0.0,
                lowest_use_kn: None,
                residual_kn: 0.0,
                expanded_percent: None,
                e74_class: None,
                iso_7500_class: None,
            },
            shunt: None,
        }
    }

    /// Reads a stored calibration.
    ///
    /// # Errors
    /// [`StoredError`] names the file and what cannot be.
    pub fn load(path: &Path) -> Result<Self, StoredError> {
        let fail = |problem: String| StoredError { path: path.to_owned(), problem };
        let text = std::fs::read_to_string(path)
            .map_err(|why| fail(format!("cannot be read ({why}); check that it exists and is plain text")))?;
        let stored: Self = toml::from_str(&text).map_err(|why| {
            let line =
                why.span().map_or(0, |s| text.bytes().take(s.start).filter(|b| *b == b'\n').count() + 1);
            let message = why.message().split_whitespace().collect::<Vec<_>>().join(" ");
            fail(format!("line {line}: {message}"))
        })?;
        let loaded = &stored.calibration;
        let count = loaded.columns.len();
        let square =
            loaded.kn_per_count.len() == count && loaded.kn_per_count.iter().all(|r| r.len() == count);
        if stored.columns().is_none() || loaded.zero_counts.len() != count || !square {
            return Err(fail(
                "needs 1, 2 or 4 columns with the press's names, a zero for each and a square kn_per_count"
                    .to_owned(),
            ));
        }
        if stored.shunt.as_ref().is_some_and(|s| s.step_counts.len() != count) {
            return Err(fail("[shunt] needs step_counts for each gauge".to_owned()));
        }
        Ok(stored)
    }

    /// The file's text.
    ///
    /// # Errors
    /// A text if a number cannot be written, which a finished fit rules out.
    pub fn to_toml(&self) -> Result<String, String> {
        toml::to_string(self).map_err(|why| why.to_string())
    }

    /// Whether it is for a press of these columns.
    ///
    /// # Errors
    /// [`StoredError`] naming both numbers.
    pub fn expect_columns(&self, path: &Path, columns: Columns) -> Result<(), StoredError> {
        if self.columns() == Some(columns) {
            return Ok(());
        }
        let problem = format!(
            "is a calibration of {} column(s) and the press card says {}; use this press's calibration",
            self.calibration.columns.len(),
            columns.count()
        );
        Err(StoredError { path: path.to_owned(), problem })
    }

    /// Loads, kN, in the order of the columns, of raw counts.
    #[must_use]
    pub fn loads(&self, counts: &[f64; 4]) -> [f64; 4] {
        let mut loads = [0.0; 4];
        for (load, row) in loads.iter_mut().zip(&self.calibration.kn_per_count) {
            for ((gain, count), zero) in row.iter().zip(counts).zip(&self.calibration.zero_counts) {
                *load += gain * (count - f64::from(*zero));
            }
        }
        loads
    }

    /// Where the gauges sit.
    #[must_use]
    pub fn columns(&self) -> Option<Columns> {
        let columns = Columns::from_count(self.calibration.columns.len())?;
        columns.names().iter().eq(self.calibration.columns.iter()).then_some(columns)
    }

    /// As the core takes it; none if it has another number of columns.
    #[must_use]
    pub fn config<const N: usize>(&self) -> Option<CalibrationConfig<N>> {
        let loaded = &self.calibration;
        let zero_counts: [i32; N] = loaded.zero_counts.as_slice().try_into().ok()?;
        let mut kn_per_count = [[0.0_f32; N]; N];
        for (row, given) in kn_per_count.iter_mut().zip(&loaded.kn_per_count) {
            for (cell, value) in row.iter_mut().zip(given) {
                *cell = *value as f32;
            }
        }
        (loaded.kn_per_count.len() == N).then_some(CalibrationConfig {
            zero_counts,
            kn_per_count,
            range_counts: loaded.range_counts,
            zero_tracking: None,
        })
    }
}

/// How cross-talk was found, as files and certificates say it.
#[must_use]
pub fn cross_talk_word(cross_talk: CrossTalk) -> &'static str {
    match cross_talk {
        CrossTalk::None => "none",
        CrossTalk::NotTold => "not-told",
        CrossTalk::ByPlaces => "by-places",
        CrossTalk::ByColumns => "by-columns",
    }
}
