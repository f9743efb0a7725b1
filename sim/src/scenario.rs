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
    CoilEnd, DriveData, FaultData, FrameData, LimitsData, Mode, PressData, Scenario, SensorData, StripData,
    Watches,
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
    /// A text may say `base = "NAME"`: it then starts from that built-in scenario and only gives what differs.
    /// Tables are joined field by field; lists (`[[station]]`, `[[fault]]`) replace the base's whole list.
    ///
    /// # Errors
    /// [`ScenarioError`] with the line of the text, or the path of the field, that cannot be.
    pub fn from_toml(text: &str) -> Result<Self, ScenarioError> {
        let unreadable = |why: toml::de::Error| {
            let line =
                why.span().map(|at| 1 + text.bytes().take(at.start).filter(|byte| *byte == b'\n').count());
            let what = why.message().split_whitespace().collect::<Vec<_>>().join(" ");
            ScenarioError::Toml(line.map_or_else(|| what.clone(), |line| format!("line {line}: {what}")))
        };
        let mut table: toml::Table = toml::from_str(text).map_err(unreadable)?;
        let scenario: Self = match table.remove("base") {
            None => toml::from_str(text).map_err(unreadable)?,
            Some(base) => {
                let problem = || ScenarioError::Field {
                    field: "base".to_owned(),
                    problem: "is not the name of a built-in scenario".to_owned(),
                };
                let base = base.as_str().and_then(find).ok_or_else(problem)?;
                let mut whole: toml::Table = toml::from_str(base).map_err(unreadable)?;
                if whole.contains_key("base") {
                    return Err(problem());
                }
                join(&mut whole, table);
                whole.try_into().map_err(unreadable)?
            }
        };
        scenario.check()?;
        Ok(scenario)
    }

    /// How many sensor columns a recording of this scenario needs: its highest input.
    #[must_use]
    pub fn sensor_inputs(&self) -> u8 {
        self.sensors.iter().map(|s| s.input).max().unwrap_or(0).min(8) as u8
    }
}

/// Puts what `over` says over `base`.
fn join(base: &mut toml::Table, over: toml::Table) {
    for (key, value) in over {
        match (base.get_mut(&key), value) {
            (Some(toml::Value::Table(below)), toml::Value::Table(above)) => join(below, above),
            (_, value) => {
                base.insert(key, value);
            }
        }
    }
}
