//! Lengths, strengths and loads with their units, as people write them: `"3/4 in"`, `"40 ksi"`, `2.5`.
//!
//! A bare number takes the unit the file names once in its `[units]` table; without one it is refused, never
//! guessed. Inside, everything is mm, mm², MPa, kN and kN/mm. Factors are exact by definition of the inch and
//! the pound-force; the psi is 6 894.757 293 Pa (computed from them).

use bolster_core::units::{KN_PER_TONNE_F, KN_PER_US_TONF};

/// What a quantity measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// To mm.
    Length,
    /// To mm².
    Area,
    /// To MPa.
    Strength,
    /// To kN.
    Load,
    /// To kN/mm.
    Rate,
}

const MPA_PER_PSI: f64 = 0.006_894_757_293_168_361;
const KN_PER_LBF: f64 = KN_PER_US_TONF / 2000.0;

const LENGTHS: [(&str, f64); 5] = [("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", 25.4), ("ft", 304.8)];
const AREAS: [(&str, f64); 3] = [("mm2", 1.0), ("cm2", 100.0), ("in2", 645.16)];
const STRENGTHS: [(&str, f64); 4] =
    [("MPa", 1.0), ("N/mm2", 1.0), ("psi", MPA_PER_PSI), ("ksi", 1000.0 * MPA_PER_PSI)];
const LOADS: [(&str, f64); 5] =
    [("kN", 1.0), ("N", 0.001), ("tonf", KN_PER_US_TONF), ("tonnef", KN_PER_TONNE_F), ("lbf", KN_PER_LBF)];
const RATES: [(&str, f64); 3] = [("kN/mm", 1.0), ("N/mm", 0.001), ("lbf/in", KN_PER_LBF / 25.4)];

impl Kind {
    fn known(self) -> &'static [(&'static str, f64)] {
        match self {
            Self::Length => &LENGTHS,
            Self::Area => &AREAS,
            Self::Strength => &STRENGTHS,
            Self::Load => &LOADS,
            Self::Rate => &RATES,
        }
    }

    fn factor(self, unit: &str) -> Option<f64> {
        self.known().iter().find(|(name, _)| *name == unit).map(|(_, factor)| *factor)
    }

    fn names(self) -> String {
        self.known().iter().map(|(name, _)| *name).collect::<Vec<_>>().join(", ")
    }

    fn noun(self) -> &'static str {
        match self {
            Self::Length => "length",
            Self::Area => "area",
            Self::Strength => "strength",
            Self::Load => "load",
            Self::Rate => "spring rate",
        }
    }
}

/// The units that bare numbers of a file have.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Units {
    /// mm to the unit of length.
    length: Option<f64>,
    /// MPa to the unit of strength.
    strength: Option<f64>,
    /// kN to the unit of load.
    load: Option<f64>,
}

impl Units {
    /// Units by their names; `None` where the file names none.
    ///
    /// # Errors
    /// What is wrong, with the units known.
    pub fn new(length: Option<&str>, strength: Option<&str>, load: Option<&str>) -> Result<Self, String> {
        let find = |kind: Kind, name: Option<&str>| match name {
            None => Ok(None),
            Some(name) => kind.factor(name).map(Some).ok_or_else(|| {
                format!("\"{}\" is no unit of {}; known are {}", clip(name), kind.noun(), kind.names())
            }),
        };
        Ok(Self {
            length: find(Kind::Length, length)?,
            strength: find(Kind::Strength, strength)?,
            load: find(Kind::Load, load)?,
        })
    }

    /// Factor of a bare number of this kind.
    fn bare(&self, kind: Kind) -> Option<f64> {
        match kind {
            Kind::Length => self.length,
            Kind::Area => self.length.map(|l| l * l),
            Kind::Strength => self.strength,
            Kind::Load => self.load,
            Kind::Rate => Some(self.load? / self.length?),
        }
    }

    /// A bare number in the unit of the file.
    ///
    /// # Errors
    /// Where the file does not say which unit that is.
    pub fn number(&self, kind: Kind, number: f64) -> Result<f64, String> {
        let factor = self.bare(kind).ok_or_else(|| {
            format!(
                "has no unit; write it beside the number (\"{number} {}\") or name it once in [units]",
                kind.known().first().map_or("", |(name, _)| name)
            )
        })?;
        Ok(number * factor)
    }

    /// A number with its unit in one text: `"3/4 in"`, `"1 1/2 in"`, `"40 ksi"`.
    ///
    /// # Errors
    /// What cannot be understood.
    pub fn text(&self, kind: Kind, text: &str) -> Result<f64, String> {
        let text = text.trim();
        let (digits, unit) = text.split_at(unit_at(text));
        let number =
            mixed_number(digits).ok_or_else(|| format!("\"{}\" does not begin with a number", clip(text)))?;
        if unit.is_empty() {
            return self.number(kind, number);
        }
        if matches!(unit, "ga" | "gauge") {
            return Err("is a gauge number, which differs from metal to metal; give the thickness".to_owned());
        }
        let plain = unit.replace('²', "2");
        let factor = kind.factor(&plain).ok_or_else(|| {
            format!("\"{}\" is no unit of {}; known are {}", clip(unit), kind.noun(), kind.names())
        })?;
        Ok(number * factor)
    }
}

/// Where the unit begins: at the first letter that is not the exponent of a number (`"29e6 psi"`).
fn unit_at(text: &str) -> usize {
    let mut before = ' ';
    let mut rest = text.char_indices().peekable();
    while let Some((place, c)) = rest.next() {
        let digits_follow =
            rest.peek().is_some_and(|(_, next)| next.is_ascii_digit() || matches!(next, '+' | '-'));
        if c.is_alphabetic() && !(matches!(c, 'e' | 'E') && before.is_ascii_digit() && digits_follow) {
            return place;
        }
        before = c;
    }
    text.len()
}

/// `"2.5"`, `"3/4"`, `"1 1/2"`.
fn mixed_number(text: &str) -> Option<f64> {
    let part = |text: &str| match text.split_once('/') {
        Some((over, under)) => {
            let (over, under) = (over.trim().parse::<f64>().ok()?, under.trim().parse::<f64>().ok()?);
            (under != 0.0).then(|| over / under)
        }
        None => text.parse::<f64>().ok(),
    };
    let mut parts = text.split_whitespace();
    let first = part(parts.next()?)?;
    let second = parts.next().map_or(Some(0.0), |text| text.contains('/').then(|| part(text)).flatten())?;
    let whole = first + second;
    (parts.next().is_none() && whole.is_finite()).then_some(whole)
}

/// The beginning of a text, fit for a message.
pub(crate) fn clip(text: &str) -> String {
    text.chars().take(40).flat_map(char::escape_debug).collect()
}

#[cfg(test)]
mod tests {
    use super::{Kind, Units};

    #[test]
    fn quantities_are_read_in_the_units_they_name() {
        let none = Units::default();
        let close = |found: Result<f64, String>, want: f64| {
            let found = found.unwrap();
            assert!((found / want - 1.0).abs() < 1e-9, "{found} against {want}");
        };
        close(none.text(Kind::Length, "3/4 in"), 19.05);
        close(none.text(Kind::Length, "1 1/2in"), 38.1);
        close(none.text(Kind::Length, "8 ft"), 2438.4);
        // source: computed, 29·10⁶ psi = 199.948 GPa is the same factor.
        close(none.text(Kind::Strength, "29e6 psi"), 199_947.961_5);
        close(none.text(Kind::Strength, "40 ksi"), 275.790_291_73);
        close(none.text(Kind::Load, "1 tonf"), 8.896_443_230_521);
        close(none.text(Kind::Area, "1 in²"), 645.16);
        let inch = Units::new(Some("in"), Some("psi"), Some("tonf")).unwrap();
        close(inch.number(Kind::Length, 2.0), 50.8);
        close(inch.number(Kind::Area, 2.0), 1290.32);
        close(inch.number(Kind::Rate, 1.0), 8.896_443_230_521 / 25.4);
    }

    #[test]
    fn a_number_without_a_unit_is_refused_unless_the_file_names_one() {
        let none = Units::default();
        assert!(none.number(Kind::Length, 2.0).unwrap_err().contains("has no unit"));
        assert!(none.text(Kind::Length, "2").unwrap_err().contains("has no unit"));
        assert!(none.text(Kind::Length, "16 ga").unwrap_err().contains("differs from metal to metal"));
        assert!(none.text(Kind::Length, "2 kN").unwrap_err().contains("known are mm, cm, m, in, ft"));
        assert!(none.text(Kind::Length, "two in").unwrap_err().contains("does not begin with a number"));
        assert!(none.text(Kind::Length, "1/0 in").is_err() && none.text(Kind::Length, "").is_err());
        assert!(Units::new(Some("cubit"), None, None).unwrap_err().contains("no unit of length"));
    }
}
