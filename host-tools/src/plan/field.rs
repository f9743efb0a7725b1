//! A table of a job file that knows its place, so that every message names station and field, and that
//! notes every default it hands out.

use std::cell::RefCell;

use toml::{Table, Value};

use super::job::DefaultUsed;
use super::quantity::{Kind, Units, clip};
use crate::material::number_of;
use crate::spelling;

/// What is wrong, with its place: `station 2 "slots", field pierce.perimeter: …`.
pub(super) type Found<T> = Result<T, String>;

/// What all tables of a file share.
pub(super) struct Notes {
    pub(super) units: Units,
    pub(super) defaults: RefCell<Vec<DefaultUsed>>,
    pub(super) remarks: RefCell<Vec<String>>,
}

/// One table.
pub(super) struct Fields<'a> {
    /// `station 2 "slots"`, `[job]`.
    pub(super) place: String,
    /// `pierce.` inside an operation, else empty.
    prefix: String,
    table: &'a Table,
    notes: &'a Notes,
}

impl<'a> Fields<'a> {
    /// A table at a place.
    pub(super) fn new(place: String, table: &'a Table, notes: &'a Notes) -> Self {
        Self { place, prefix: String::new(), table, notes }
    }

    /// The message for a field of this table.
    pub(super) fn wrong(&self, key: &str, problem: &str) -> String {
        format!("{}, field {}{}: {problem}", self.place, self.prefix, clip(key))
    }

    /// Refuses keys other than these.
    pub(super) fn only(&self, known: &[&str]) -> Found<()> {
        match self.table.keys().find(|key| !known.contains(&key.as_str())) {
            None => Ok(()),
            Some(key) => Err(self.wrong(
                key,
                &match spelling::nearest(key, known) {
                    Some(near) => format!("is unknown; did you mean `{near}`?"),
                    None => format!("is unknown; known here: {}", known.join(", ")),
                },
            )),
        }
    }

    pub(super) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// A table inside this one; its fields are named `key.field`.
    pub(super) fn inner(&self, key: &str) -> Found<Option<Fields<'a>>> {
        match self.table.get(key) {
            None => Ok(None),
            Some(Value::Table(table)) => Ok(Some(Fields {
                place: self.place.clone(),
                prefix: format!("{}{key}.", self.prefix),
                table,
                notes: self.notes,
            })),
            Some(_) => Err(self.wrong(key, "must be a table, such as { … }")),
        }
    }

    /// The tables of a list inside this one.
    pub(super) fn list(&self, key: &str) -> Found<Option<Vec<Fields<'a>>>> {
        let Some(value) = self.table.get(key) else { return Ok(None) };
        let wrong = || self.wrong(key, "must be a list of tables, such as [{ … }]");
        let Value::Array(items) = value else { return Err(wrong()) };
        let mut all = Vec::with_capacity(items.len());
        for (number, item) in items.iter().enumerate() {
            let Value::Table(table) = item else { return Err(wrong()) };
            let prefix = format!("{}{key}[{}].", self.prefix, number + 1);
            all.push(Fields { place: self.place.clone(), prefix, table, notes: self.notes });
        }
        Ok(Some(all))
    }

    /// Notes that a value was not given.
    pub(super) fn defaulted(&self, key: &str, value: String, why: &str) {
        self.notes.defaults.borrow_mut().push(DefaultUsed {
            place: self.place.clone(),
            field: format!("{}{key}", self.prefix),
            value,
            why: why.to_owned(),
        });
    }

    /// Notes something worth knowing about this table.
    pub(super) fn remark(&self, text: &str) {
        self.notes.remarks.borrow_mut().push(format!("{}: {text}", self.place));
    }

    /// A text.
    pub(super) fn text(&self, key: &str) -> Found<Option<&'a str>> {
        match self.table.get(key) {
            None => Ok(None),
            Some(Value::String(text)) if !text.trim().is_empty() => Ok(Some(text)),
            Some(_) => Err(self.wrong(key, "must be a text in quotes, not empty")),
        }
    }

    /// The message for a field that is needed and not there.
    pub(super) fn missing(&self, key: &str, hint: &str) -> String {
        self.wrong(key, &format!("is missing; {hint}"))
    }

    /// A plain number from `least` to `most`.
    pub(super) fn number(&self, key: &str, least: f64, most: f64) -> Found<Option<f64>> {
        let Some(value) = self.table.get(key) else { return Ok(None) };
        let number = number_of(value).ok_or_else(|| self.wrong(key, "must be a number"))?;
        self.within(key, number, least, most, "").map(Some)
    }

    /// A plain number with a default that is noted.
    pub(super) fn number_or(
        &self,
        key: &str,
        least: f64,
        most: f64,
        otherwise: f64,
        why: &str,
    ) -> Found<f64> {
        match self.number(key, least, most)? {
            Some(number) => Ok(number),
            None => {
                self.defaulted(key, format!("{otherwise}"), why);
                Ok(otherwise)
            }
        }
    }

    /// A whole number with a default that is noted unless it says nothing (`why` empty).
    pub(super) fn whole_or(&self, key: &str, most: u32, otherwise: u32, why: &str) -> Found<u32> {
        match self.table.get(key) {
            None => {
                if !why.is_empty() {
                    self.defaulted(key, otherwise.to_string(), why);
                }
                Ok(otherwise)
            }
            Some(Value::Integer(whole)) if *whole >= 1 && *whole <= i64::from(most) => Ok(*whole as u32),
            Some(_) => Err(self.wrong(key, &format!("must be a whole number from 1 to {most}"))),
        }
    }

    fn within(&self, key: &str, number: f64, least: f64, most: f64, unit: &str) -> Found<f64> {
        if number >= least && number <= most {
            return Ok(number);
        }
        let space = if unit.is_empty() { "" } else { " " };
        Err(self.wrong(key, &format!("must be from {least} to {most}{space}{unit}, not {}", short(number))))
    }

    /// A quantity in its inner unit, from `least` to `most` of it.
    pub(super) fn quantity(&self, key: &str, kind: Kind, least: f64, most: f64) -> Found<Option<f64>> {
        let Some(value) = self.table.get(key) else { return Ok(None) };
        let read = match value {
            Value::String(text) => self.notes.units.text(kind, text),
            other => match number_of(other) {
                Some(number) => self.notes.units.number(kind, number),
                None => Err("must be a number or a text with a unit, such as \"3/4 in\"".to_owned()),
            },
        };
        let number = read.map_err(|problem| self.wrong(key, &problem))?;
        let unit = match kind {
            Kind::Length => "mm",
            Kind::Area => "mm²",
            Kind::Strength => "MPa",
            Kind::Load => "kN",
            Kind::Rate => "kN/mm",
        };
        self.within(key, number, least, most, unit).map(Some)
    }

    /// A length that is above zero, mm.
    pub(super) fn length(&self, key: &str) -> Found<Option<f64>> {
        self.quantity(key, Kind::Length, 1e-3, 50_000.0)
    }

    /// A place along an axis, mm.
    pub(super) fn place_mm(&self, key: &str) -> Found<Option<f64>> {
        self.quantity(key, Kind::Length, -20_000.0, 20_000.0)
    }

    /// A length that must be there, mm.
    pub(super) fn needed_length(&self, key: &str, hint: &str) -> Found<f64> {
        self.length(key)?.ok_or_else(|| self.missing(key, hint))
    }

    /// A length with a default that is noted, mm.
    pub(super) fn length_or(&self, key: &str, otherwise: f64, why: &str) -> Found<f64> {
        match self.quantity(key, Kind::Length, 0.0, 50_000.0)? {
            Some(length) => Ok(length),
            None => {
                self.defaulted(key, format!("{} mm", short(otherwise)), why);
                Ok(otherwise)
            }
        }
    }

    /// A list of two lengths.
    pub(super) fn pair(&self, key: &str) -> Found<Option<[f64; 2]>> {
        let Some(value) = self.table.get(key) else { return Ok(None) };
        let wrong = || self.wrong(key, "must be a list of two lengths, left-right and front-rear");
        let Value::Array(items) = value else { return Err(wrong()) };
        let [first, second] = items.as_slice() else { return Err(wrong()) };
        let read = |value: &Value| match value {
            Value::String(text) => self.notes.units.text(Kind::Length, text),
            other => number_of(other)
                .ok_or_else(|| "must be two numbers".to_owned())
                .and_then(|number| self.notes.units.number(Kind::Length, number)),
        };
        let read = |value| read(value).map_err(|problem| self.wrong(key, &problem));
        Ok(Some([read(first)?, read(second)?]))
    }
}

/// A number without needless digits.
pub(super) fn short(number: f64) -> String {
    let rounded = (number * 1000.0).round() / 1000.0;
    if rounded == 0.0 && number != 0.0 { format!("{number:.2e}") } else { format!("{rounded}") }
}
