//! A scenario: press, die, strip, front end, faults and seed, as plain data read from TOML.
//!
//! Everything a run depends on is in here; the same scenario gives the same bytes. Every table refuses
//! fields it does not know, and [`Scenario::from_toml`] checks every number, naming the field it objects to.

mod built_in;
mod check;
mod data;
mod die;
mod electrical;
#[cfg(test)]
mod tests;

pub use built_in::{built_in, find};
pub use data::{
    DriveData, FaultData, FrameData, LimitsData, Mode, PressData, Scenario, SensorData, StripData, Watches,
};
pub use die::{
    BendData, BendKind, CoinData, DrawData, LanceData, PadData, PierceData, RestrikeData, StationData,
};
pub use electrical::{BridgeKind, FrontEndData};

/// Why a scenario was refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ScenarioError {
    /// Not TOML, or not the fields a scenario has. The text gives line and column.
    #[error("the scenario cannot be read: {0}")]
    Toml(String),
    /// A field holds what cannot be.
    #[error("the scenario's {field} {problem}")]
    Field {
        /// Path of the field, such as `station[2].pierce.perimeter_mm`.
        field: String,
        /// What is wrong and what would be right.
        problem: String,
    },
}

impl Scenario {
    /// Reads and checks a scenario.
    ///
    /// # Errors
    /// [`ScenarioError`] with the line of the text, or the path of the field, that cannot be.
    pub fn from_toml(text: &str) -> Result<Self, ScenarioError> {
        let scenario: Self =
            toml::from_str(text).map_err(|e| ScenarioError::Toml(e.to_string().trim_end().to_owned()))?;
        scenario.check()?;
        Ok(scenario)
    }
}
