//! The load unit a figure prints; the data stay in kN.

/// Unit of load on axes and in labels.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LoadUnit {
    /// Kilonewton.
    #[default]
    Kn,
    /// US ton-force, 2000 lbf = 8.896443230521 kN.
    UsTonf,
    /// Tonne-force, 1000 kgf = 9.80665 kN.
    TonneForce,
}

impl LoadUnit {
    /// `kn` kN in this unit.
    #[must_use]
    pub fn of_kn(self, kn: f64) -> f64 {
        kn / match self {
            LoadUnit::Kn => 1.0,
            LoadUnit::UsTonf => 8.896_443_230_521,
            LoadUnit::TonneForce => 9.806_65,
        }
    }

    /// Every value of `kn` in this unit.
    #[must_use]
    pub fn all_of_kn(self, kn: &[f64]) -> Vec<f64> {
        kn.iter().map(|&v| self.of_kn(v)).collect()
    }

    /// The symbol printed after a number.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            LoadUnit::Kn => "kN",
            LoadUnit::UsTonf => "US tonf",
            LoadUnit::TonneForce => "tonnef",
        }
    }

    /// The ending of a CSV column's name.
    #[must_use]
    pub fn suffix(self) -> &'static str {
        match self {
            LoadUnit::Kn => "kn",
            LoadUnit::UsTonf => "tonf",
            LoadUnit::TonneForce => "tonnef",
        }
    }

    /// A load with its symbol, rounded for reading: `412 kN`, `3.18 US tonf`.
    #[must_use]
    pub fn print(self, kn: f64) -> String {
        format!("{} {}", super::ticks::readable(self.of_kn(kn)), self.symbol())
    }
}
