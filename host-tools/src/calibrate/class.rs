//! Classes that a static force calibration reaches, in the wording of the standards.
//!
//! The limits are from memory unless said otherwise and are printed as such; the standards decide. ASTM E74: lower
//! limit factor LLF = 2.4 · s (memory), lower force limit 2000 · LLF for class AA and 400 · LLF for class A (read).
//! ISO 7500-1: lower end of the range = resolution × 400, 200, 100, 67 for classes 0.5, 1, 2, 3; at least five steps
//! from 20 to 100 %, three increasing series, three preloads, ±2 °C (read).

use serde::Serialize;

/// Limits of one class of ISO 7500-1, percent.
struct Testing {
    name: &'static str,
    accuracy: f64,
    repeatability: f64,
    reversibility: f64,
    zero: f64,
    resolution: f64,
    resolution_factor: f64,
}

/// From memory; resolution factors read.
const TESTING: [Testing; 4] = [
    testing("0.5", 0.5, 0.5, 0.75, 0.05, 0.25, 400.0),
    testing("1", 1.0, 1.0, 1.5, 0.1, 0.5, 200.0),
    testing("2", 2.0, 2.0, 3.0, 0.2, 1.0, 100.0),
    testing("3", 3.0, 3.0, 4.5, 0.3, 1.5, 67.0),
];

const fn testing(
    name: &'static str,
    accuracy: f64,
    repeatability: f64,
    reversibility: f64,
    zero: f64,
    resolution: f64,
    resolution_factor: f64,
) -> Testing {
    Testing { name, accuracy, repeatability, reversibility, zero, resolution, resolution_factor }
}

/// Limits of one class of ISO 376, percent: reproducibility, repeatability, interpolation, zero, reversibility.
/// From memory. Creep is not measured by a run.
const PROVING: [(&str, [f64; 5]); 4] = [
    ("00", [0.05, 0.025, 0.025, 0.012, 0.07]),
    ("0.5", [0.10, 0.05, 0.05, 0.025, 0.15]),
    ("1", [0.20, 0.10, 0.10, 0.050, 0.30]),
    ("2", [0.40, 0.20, 0.20, 0.10, 0.50]),
];

/// What one load step showed, percent of its load.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct StepErrors {
    /// Load of the step by the reference, kN.
    pub load_kn: f64,
    /// Mean error of indication over increasing series.
    pub accuracy_percent: f64,
    /// Greatest less least error over increasing series; none with one series.
    pub repeatability_percent: Option<f64>,
    /// Greatest less least error of the first two increasing series.
    pub repeatability_same_percent: Option<f64>,
    /// Decreasing less increasing; none without decreasing series.
    pub reversibility_percent: Option<f64>,
    /// Expanded uncertainty (k = 2) of an indication, percent.
    pub expanded_percent: f64,
}

/// The classes reached.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Classes {
    /// Lower limit factor, kN.
    pub llf_kn: f64,
    /// Lower force limit of class AA, kN.
    pub class_aa_from_kn: f64,
    /// Lower force limit of class A, kN.
    pub class_a_from_kn: f64,
    /// Best class of E74 that leaves at least half of the range.
    pub e74: Option<&'static str>,
    /// Best class of ISO 7500-1 over the steps from a fifth of the greatest load up.
    pub iso_7500: Option<&'static str>,
    /// Best class of ISO 376, creep not judged.
    pub iso_376: Option<&'static str>,
    /// Least load at which the calibration may be used, kN.
    pub lowest_use_kn: Option<f64>,
}

impl Classes {
    /// Takes back every class: the run cannot support one, whatever its numbers are.
    pub fn withdraw(&mut self) {
        (self.e74, self.iso_7500, self.iso_376, self.lowest_use_kn) = (None, None, None, None);
    }
}

/// LLF = 2.4 · s, in the unit of s.
#[must_use]
pub fn lower_limit_factor(residual_deviation: f64) -> f64 {
    2.4 * residual_deviation
}

/// What the classes need to know.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Evidence {
    /// Residual standard deviation, kN.
    pub residual_kn: f64,
    /// Steps, rising, no load left out.
    pub steps: Vec<StepErrors>,
    /// Largest change of zero over a series, percent of the greatest load.
    pub zero_percent: f64,
    /// Resolution, kN.
    pub resolution_kn: f64,
    /// Greatest residual of the step means from the line, percent of the load, from a fifth of the greatest up.
    pub interpolation_percent: f64,
}

/// The classes that the evidence reaches.
#[must_use]
pub fn classes(evidence: &Evidence) -> Classes {
    let llf_kn = lower_limit_factor(evidence.residual_kn);
    let (aa, a) = (2000.0 * llf_kn, 400.0 * llf_kn);
    let first = evidence.steps.first().map_or(0.0, |s| s.load_kn);
    let most = evidence.steps.last().map_or(0.0, |s| s.load_kn);
    // Not valid below the first non-zero calibration load (read). A class that leaves less than half of the range
    // is not called reached: our own rule, for such a calibration serves nobody.
    let e74 = if aa <= 0.5 * most {
        Some("AA")
    } else if a <= 0.5 * most {
        Some("A")
    } else {
        None
    };
    let upper: Vec<&StepErrors> = evidence.steps.iter().filter(|s| s.load_kn >= 0.199 * most).collect();
    let least = upper.first().map_or(most, |s| s.load_kn);
    let iso_7500 = TESTING.iter().find(|class| {
        !upper.is_empty()
            && evidence.zero_percent <= class.zero
            && 100.0 * evidence.resolution_kn <= class.resolution * least
            && upper.iter().all(|s| {
                s.accuracy_percent.abs() <= class.accuracy
                    && s.repeatability_percent.is_some_and(|b| b <= class.repeatability)
                    && s.reversibility_percent.is_none_or(|v| v.abs() <= class.reversibility)
            })
    });
    let worst = |pick: fn(&StepErrors) -> Option<f64>| {
        upper.iter().map(|s| pick(s).map(f64::abs)).try_fold(0.0_f64, |m, v| v.map(|v| m.max(v)))
    };
    let reproducibility = worst(|s| s.repeatability_percent);
    let repeatability = worst(|s| s.repeatability_same_percent);
    let reversibility = worst(|s| s.reversibility_percent);
    let iso_376 = PROVING.iter().find(|(_, limits)| {
        let found = [
            reproducibility,
            repeatability,
            Some(evidence.interpolation_percent),
            Some(evidence.zero_percent),
            reversibility,
        ];
        !upper.is_empty() && found.iter().zip(limits).all(|(value, limit)| value.is_some_and(|v| v <= *limit))
    });
    let from_resolution = iso_7500.map(|class| class.resolution_factor * evidence.resolution_kn);
    let from_e74 = match e74 {
        Some("AA") => Some(aa.max(first)),
        Some(_) => Some(a.max(first)),
        None => None,
    };
    // Either statement gives a floor; the one that has a class speaks, the lower of two.
    let from_7500 = from_resolution.map(|r| r.max(least));
    let lowest_use_kn = match (from_e74, from_7500) {
        (Some(x), Some(y)) => Some(x.min(y)),
        (x, y) => x.or(y),
    };
    Classes {
        llf_kn,
        class_aa_from_kn: aa,
        class_a_from_kn: a,
        e74,
        iso_7500: iso_7500.map(|class| class.name),
        iso_376: iso_376.map(|(name, _)| *name),
        lowest_use_kn,
    }
}

#[cfg(test)]
mod tests {
    use super::{Evidence, StepErrors, classes};

    fn step(load_kn: f64, error: f64) -> StepErrors {
        StepErrors {
            load_kn,
            accuracy_percent: error,
            repeatability_percent: Some(error),
            repeatability_same_percent: Some(error),
            reversibility_percent: Some(error),
            expanded_percent: 1.0,
        }
    }

    fn evidence(error: f64) -> Evidence {
        Evidence {
            residual_kn: 0.05,
            steps: [100.0, 200.0, 400.0, 600.0, 800.0, 1000.0].map(|kn| step(kn, error)).to_vec(),
            zero_percent: 0.04,
            resolution_kn: 0.1,
            interpolation_percent: 0.04,
        }
    }

    #[test]
    fn the_class_follows_the_worst_step_and_the_limits() {
        // source: limits of ISO 7500-1 and ISO 376 from memory.
        for (error, iso) in
            [(0.4, Some("0.5")), (0.9, Some("1")), (1.9, Some("2")), (2.9, Some("3")), (3.1, None)]
        {
            assert_eq!(classes(&evidence(error)).iso_7500, iso, "{error}");
        }
        assert_eq!(classes(&evidence(0.04)).iso_376, Some("1"), "a zero of 0.04 % is class 1");
        let mut single = evidence(0.04);
        single.steps[3].repeatability_percent = None;
        assert_eq!(classes(&single).iso_7500, None, "one series proves no class");
    }

    #[test]
    fn the_lower_limit_factor_sets_the_floor() {
        let found = classes(&evidence(0.4));
        // 2.4 · 0.05 = 0.12; × 2000 = 240 under 1000: class AA from 240 kN; × 400 = 48 lies under the first step.
        assert!((found.llf_kn - 0.12).abs() < 1e-12);
        assert_eq!(found.e74, Some("AA"));
        assert_eq!(found.lowest_use_kn, Some(200.0), "class 0.5 reaches down to a fifth");
        let mut noisy = evidence(3.5);
        noisy.residual_kn = 0.5;
        let found = classes(&noisy);
        assert_eq!((found.e74, found.iso_7500), (Some("A"), None));
        assert!((found.lowest_use_kn.unwrap() - 480.0).abs() < 1e-9);
        noisy.residual_kn = 2.0;
        assert_eq!((classes(&noisy).e74, classes(&noisy).lowest_use_kn), (None, None));
    }
}
