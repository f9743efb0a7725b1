//! A TOML table that knows where its keys stand and speaks of them by name.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::error::{Fault, Spot};
use crate::spelling;

type Found<T> = Result<T, (Spot, Fault)>;

/// One table of a card.
pub(super) struct Table<'a> {
    name: &'static str,
    table: DeTable<'a>,
}

impl<'a> Table<'a> {
    /// The whole text as a table.
    pub(super) fn root(text: &'a str) -> Found<Self> {
        let table = DeTable::parse(text)
            .map_err(|why| (why.span().map(|span| span.start), Fault::Syntax(one_line(why.message()))))?;
        Ok(Self { name: "", table: table.into_inner() })
    }

    fn get(&self, key: &str) -> Option<&Spanned<DeValue<'a>>> {
        self.table.get(key)
    }

    /// Where the key's value stands.
    pub(super) fn spot(&self, key: &str) -> Spot {
        self.get(key).map(|value| value.span().start)
    }

    /// The fault of a key that is needed and not there.
    pub(super) fn missing(&self, key: &'static str) -> (Spot, Fault) {
        (None, Fault::MissingKey { key, table: self.name })
    }

    /// Refuses keys other than these.
    pub(super) fn only(&self, known: &[&'static str]) -> Found<()> {
        let stranger = self.table.keys().find(|key| !known.contains(&key.get_ref().as_ref()));
        stranger.map_or(Ok(()), |key| {
            let name = key.get_ref().chars().take(60).flat_map(char::escape_debug).collect::<String>();
            let nearest = spelling::nearest(&name, known);
            Err((Some(key.span().start), Fault::UnknownKey { key: name, nearest, known: known.join(", ") }))
        })
    }

    fn wrong<T>(&self, key: &'static str, wanted: &'static str, value: &DeValue<'a>) -> Found<T> {
        let found = match value {
            DeValue::String(text) => {
                format!("the text \"{}\"", text.chars().take(40).collect::<String>().escape_debug())
            }
            DeValue::Integer(_) | DeValue::Float(_) => "a number".into(),
            DeValue::Boolean(_) => "true or false".into(),
            DeValue::Datetime(_) => "a date".into(),
            DeValue::Array(items) => format!("a list of {}", items.len()),
            DeValue::Table(_) => "a table".into(),
        };
        Err((self.spot(key), Fault::WrongType { key, wanted, found }))
    }

    /// The table under a key.
    pub(super) fn table(&self, key: &'static str) -> Found<Option<Self>> {
        match self.get(key).map(Spanned::get_ref) {
            None => Ok(None),
            Some(DeValue::Table(table)) => Ok(Some(Self { name: key, table: table.clone() })),
            Some(other) => self.wrong(key, "a table", other),
        }
    }

    /// The text under a key that must be there.
    pub(super) fn text(&self, key: &'static str) -> Found<String> {
        match self.get(key).map(Spanned::get_ref) {
            None => Err(self.missing(key)),
            Some(DeValue::String(text)) => Ok(text.to_string()),
            Some(other) => self.wrong(key, "text in quotes", other),
        }
    }

    /// The whole number under a key that must be there.
    pub(super) fn whole(&self, key: &'static str) -> Found<i64> {
        match self.get(key).map(Spanned::get_ref) {
            None => Err(self.missing(key)),
            Some(DeValue::Integer(digits)) => i64::from_str_radix(digits.as_str(), digits.radix())
                .map_err(|_| (self.spot(key), Fault::Impossible(format!("`{key}` is out of range")))),
            Some(other) => self.wrong(key, "a whole number", other),
        }
    }

    fn finite(&self, key: &'static str, value: &DeValue<'a>) -> Found<f64> {
        let number = match value {
            DeValue::Integer(digits) => {
                i64::from_str_radix(digits.as_str(), digits.radix()).ok().map(|whole| whole as f64)
            }
            DeValue::Float(digits) => digits.as_str().parse::<f64>().ok(),
            other => return self.wrong(key, "a number", other),
        };
        number
            .filter(|number| number.is_finite())
            .ok_or_else(|| (self.spot(key), Fault::Impossible(format!("`{key}` must be a finite number"))))
    }

    /// The number under a key, if it is there.
    pub(super) fn number(&self, key: &'static str) -> Found<Option<f64>> {
        self.get(key).map(|value| self.finite(key, value.get_ref())).transpose()
    }

    /// The number under a key that must be there.
    pub(super) fn needed(&self, key: &'static str) -> Found<f64> {
        self.number(key)?.ok_or_else(|| self.missing(key))
    }

    /// The list of two numbers under a key, if it is there.
    pub(super) fn pair(&self, key: &'static str) -> Found<Option<[f64; 2]>> {
        match self.get(key).map(Spanned::get_ref) {
            None => Ok(None),
            Some(DeValue::Array(items)) if items.len() == 2 => {
                let mut pair = [0.0; 2];
                for (place, item) in pair.iter_mut().zip(items.iter()) {
                    *place = self.finite(key, item.get_ref())?;
                }
                Ok(Some(pair))
            }
            Some(other) => self.wrong(key, "a list of two numbers", other),
        }
    }
}

/// A parser's message without line breaks: errors are shown as one line.
fn one_line(message: &str) -> String {
    message.split_whitespace().collect::<Vec<_>>().join(" ")
}
