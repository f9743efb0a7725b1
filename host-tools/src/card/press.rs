//! The press card: a press as its builder rated it and its owner limited it.
//!
//! ```toml
//! [press]
//! name = "P3"
//! columns = 4                   # 1, 2 or 4
//! rated_kn = 2000.0
//! rated_height_mm = 6.0         # height above bottom down to which the rating holds
//! stroke_mm = 200.0
//! rod_mm = 900.0
//! speed_spm = [30.0, 60.0]      # slowest and fastest
//! bolster_mm = [1800.0, 900.0]  # between gauge centres: left-right, front-rear
//! usable_energy_kj = 18.0       # optional
//! [limits]
//! reverse_percent = 10.0        # of rating; press builder's figure wins
//! column_percent = 110.0        # of rating / columns
//! imbalance_percent = 30.0      # left-right and front-rear difference, of rating
//! off_centre_percent = 50.0     # optional: load as far out as the gauges, of rating; the builder's diagram wins
//! [monitor]                     # optional
//! low_pass_hz = 500.0
//! ```
//!
//! Every key is needed but `usable_energy_kj`, `off_centre_percent` and `[monitor]`; a one-column press needs no
//! `bolster_mm`, `column_percent` and `imbalance_percent`, for they mean nothing there.

mod error;
mod table;

#[cfg(test)]
mod tests;

use std::path::Path;

use bolster_core::press::{Columns, PressError, PressSpec};

use crate::calibrate::stored::{Stored, StoredError};

pub use error::PressCardError;
use error::{Fault, Spot};
use table::Table;

/// What a one-column press holds where a figure means nothing for it: percent no load can reach, and
/// a plate of 1 mm. The core's check wants positive numbers there.
const NO_LIMIT_PERCENT: f64 = 1e6;
const NO_PLATE_MM: [f64; 2] = [1.0, 1.0];

/// A press as its card tells it, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct PressCard {
    /// Free text.
    pub name: String,
    /// Ratings, geometry and limits; they have passed [`PressSpec::check`].
    pub spec: PressSpec,
    /// Corner frequency of the load filter, Hz; none leaves it to the monitor.
    pub low_pass_hz: Option<f64>,
    /// What turns raw counts into loads; it has a file of its own, see [`PressCard::calibrate_by`].
    pub calibration: Option<Stored>,
}

impl PressCard {
    /// Reads a press card.
    ///
    /// # Errors
    /// [`PressCardError`] names file, line and key of the first thing that cannot be.
    pub fn load(path: &Path) -> Result<Self, PressCardError> {
        let whole = |fault| PressCardError::new(path, None, fault);
        let bytes = std::fs::read(path).map_err(|why| {
            whole(if path.is_dir() { Fault::Directory } else { Fault::Unreadable(why.to_string()) })
        })?;
        let text = String::from_utf8(bytes).map_err(|_| whole(Fault::NotText))?;
        Self::parse(&text, path)
    }

    /// Understands the text of a press card; `path` is only for messages.
    ///
    /// # Errors
    /// As [`PressCard::load`].
    pub fn parse(text: &str, path: &Path) -> Result<Self, PressCardError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        understand(text).map_err(|(spot, fault)| {
            let line = spot.map(|at| text.bytes().take(at).filter(|byte| *byte == b'\n').count() + 1);
            PressCardError::new(path, line, fault)
        })
    }

    /// Takes in the press's calibration, for recordings of raw counts.
    ///
    /// # Errors
    /// [`StoredError`] if the file cannot be read or is for another number of columns.
    pub fn calibrate_by(&mut self, path: &Path) -> Result<(), StoredError> {
        let stored = Stored::load(path)?;
        stored.expect_columns(path, self.spec.columns)?;
        self.calibration = Some(stored);
        Ok(())
    }

    /// The card as text that [`PressCard::parse`] gives back alike.
    #[must_use]
    pub fn to_toml(&self) -> String {
        let spec = &self.spec;
        let name = toml::Value::String(self.name.clone());
        // Debug formatting keeps a decimal point, and every digit that matters.
        let pair = |values: [f64; 2]| format!("[{:?}, {:?}]", values[0], values[1]);
        let mut lines = vec![
            "[press]".to_owned(),
            format!("name = {name}"),
            format!("columns = {}", spec.columns.count()),
            format!("rated_kn = {:?}", spec.rated_kn),
            format!("rated_height_mm = {:?}", spec.rated_height_mm),
            format!("stroke_mm = {:?}", spec.stroke_mm),
            format!("rod_mm = {:?}", spec.rod_mm),
            format!("speed_spm = {}", pair(spec.speed_spm)),
        ];
        if spec.bolster_mm != NO_PLATE_MM || spec.columns != Columns::Total {
            lines.push(format!("bolster_mm = {}", pair(spec.bolster_mm)));
        }
        lines.extend(spec.usable_energy_kj.map(|energy| format!("usable_energy_kj = {energy:?}")));
        lines.push("[limits]".into());
        lines.push(format!("reverse_percent = {:?}", spec.reverse_percent));
        for (key, percent) in
            [("column_percent", spec.column_percent), ("imbalance_percent", spec.imbalance_percent)]
        {
            if percent != NO_LIMIT_PERCENT || spec.columns != Columns::Total {
                lines.push(format!("{key} = {percent:?}"));
            }
        }
        lines.extend(spec.off_centre_percent.map(|percent| format!("off_centre_percent = {percent:?}")));
        if let Some(hertz) = self.low_pass_hz {
            lines.push("[monitor]".into());
            lines.push(format!("low_pass_hz = {hertz:?}"));
        }
        lines.join("\n") + "\n"
    }
}

type Found<T> = Result<T, (Spot, Fault)>;

fn understand(text: &str) -> Found<PressCard> {
    let root = Table::root(text)?;
    root.only(&["press", "limits", "monitor"])?;
    let press = root.table("press")?.ok_or((None, Fault::MissingTable("press")))?;
    let limits = root.table("limits")?.ok_or((None, Fault::MissingTable("limits")))?;
    press.only(&[
        "name",
        "columns",
        "rated_kn",
        "rated_height_mm",
        "stroke_mm",
        "rod_mm",
        "speed_spm",
        "bolster_mm",
        "usable_energy_kj",
    ])?;
    limits.only(&["reverse_percent", "column_percent", "imbalance_percent", "off_centre_percent"])?;
    let name = press.text("name")?;
    let count = press.whole("columns")?;
    let columns = usize::try_from(count)
        .ok()
        .and_then(Columns::from_count)
        .ok_or_else(|| (press.spot("columns"), Fault::Columns(count)))?;
    let one = columns == Columns::Total;
    let percent = |key| match limits.number(key)? {
        Some(value) => Ok(value),
        None if one => Ok(NO_LIMIT_PERCENT),
        None => Err(limits.missing(key)),
    };
    let spec = PressSpec {
        columns,
        rated_kn: press.needed("rated_kn")?,
        rated_height_mm: press.needed("rated_height_mm")?,
        stroke_mm: press.needed("stroke_mm")?,
        rod_mm: press.needed("rod_mm")?,
        speed_spm: press.pair("speed_spm")?.ok_or_else(|| press.missing("speed_spm"))?,
        bolster_mm: match press.pair("bolster_mm")? {
            Some(plate) => plate,
            None if one => NO_PLATE_MM,
            None => return Err(press.missing("bolster_mm")),
        },
        usable_energy_kj: press.number("usable_energy_kj")?,
        reverse_percent: limits.needed("reverse_percent")?,
        column_percent: percent("column_percent")?,
        imbalance_percent: percent("imbalance_percent")?,
        off_centre_percent: limits.number("off_centre_percent")?,
    };
    spec.check().map_err(|why| {
        let key = match why {
            PressError::NotPositive(key, _) => key,
            PressError::RatedHeightAboveStroke => "rated_height_mm",
            PressError::SpeedRange => "speed_spm",
            PressError::OffCentre(_) => "off_centre_percent",
            _ => "rod_mm",
        };
        (press.spot(key).or_else(|| limits.spot(key)), Fault::Impossible(why.to_string()))
    })?;
    let low_pass_hz = match root.table("monitor")? {
        None => None,
        Some(monitor) => {
            monitor.only(&["low_pass_hz"])?;
            let hertz = monitor.number("low_pass_hz")?;
            if let Some(value) = hertz.filter(|value| *value <= 0.0 || *value > 1e9) {
                return Err((
                    monitor.spot("low_pass_hz"),
                    Fault::Impossible(format!("low_pass_hz must be a positive number, not {value}")),
                ));
            }
            hertz
        }
    };
    Ok(PressCard { name, spec, low_pass_hz, calibration: None })
}
