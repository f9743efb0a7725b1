//! What a look at wear is about: which press and die, which quantity, and a limit of it.

use std::sync::Arc;

use serde::Deserialize;

use super::told::is_load;
use crate::console::app::App;
use crate::console::pages::words::part;
use crate::console::respond::{Refusal, off_thread, unit_of};
use crate::console::store::{Store, StoreError, StrokeFilter};
use crate::console::wear::Worn;
use crate::figure::LoadUnit;
use crate::trend::{Analysis, Trend};

/// Whose wear, which quantity is drawn, and a limit of it.
#[derive(Debug, Default, Clone, Deserialize)]
pub struct Asked {
    press: Option<String>,
    die: Option<String>,
    quantity: Option<String>,
    limit: Option<String>,
    unit: Option<String>,
}

pub(super) fn some(text: Option<&String>) -> Option<&str> {
    text.map(|text| text.trim()).filter(|text| !text.is_empty())
}

impl Asked {
    /// The limit asked for, kN where the quantity is a load; none where none is asked for. An address says in which unit it
    /// was written, so that it means the same to whoever prefers another one.
    ///
    /// # Errors
    /// [`Refusal`] for what is no number.
    pub(super) fn limit(&self, of: &Trend) -> Result<Option<f64>, Refusal> {
        let unit = unit_of(self.unit.as_deref().unwrap_or(""));
        let Some(text) = some(self.limit.as_ref()) else { return Ok(None) };
        let value: Option<f64> = text.replace(',', ".").parse().ok().filter(|value: &f64| value.is_finite());
        let value = value.ok_or_else(|| Refusal::bad("A limit is a number, such as 12 or 12.5."))?;
        Ok(Some(if is_load(of) { value / unit.of_kn(1.0) } else { value }))
    }

    /// The limit asked for as a field shows it in this unit, rounded to what can be meant; none where none is asked for.
    pub(super) fn limit_in(&self, of: &Trend, unit: LoadUnit) -> Option<f64> {
        let limit = self.limit(of).ok().flatten()?;
        let shown = if is_load(of) { unit.of_kn(limit) } else { limit };
        Some((shown * 1e4).round() / 1e4)
    }

    /// Without a quantity that these strokes have not got, as a form sends it when another press or die was chosen in it.
    pub(super) fn fitted(&self, worn: &Worn) -> Self {
        let known = |name: &str| worn.analysis.quantities.iter().any(|one| one.quantity == name);
        let mut fitted = self.clone();
        if some(self.quantity.as_ref()).is_some_and(|name| !known(name)) {
            (fitted.quantity, fitted.limit) = (None, None);
        }
        fitted
    }

    /// What is shown: the quantity asked for, else the foremost, with the limit asked for.
    ///
    /// # Errors
    /// [`Refusal`] for a quantity that is not there or a limit that is no number.
    pub fn looked(&self, worn: &Worn) -> Result<(Analysis, Option<String>), Refusal> {
        let found = &worn.analysis;
        let chosen = match some(self.quantity.as_ref()) {
            Some(name) => found.quantities.iter().find(|one| one.quantity == name),
            None => found.foremost(),
        };
        // Without strokes there is no quantity, whichever is asked for.
        let Some(chosen) = chosen else {
            let is_empty = found.quantities.is_empty();
            return if is_empty { Ok((found.clone(), None)) } else { Err(Refusal::missing("quantity")) };
        };
        let analysis = match self.limit(chosen)? {
            Some(limit) => worn.limited(&chosen.quantity, limit),
            None => found.clone(),
        };
        Ok((analysis, Some(chosen.quantity.clone())))
    }

    /// The die asked for; an empty one for strokes without a die.
    pub fn die(&self) -> Option<Option<&str>> {
        self.die.as_ref().map(|die| Some(die.trim()).filter(|die| !die.is_empty()))
    }

    /// As an address has it, for the picture of `press` under `die`.
    pub(super) fn query(&self, die: Option<&str>) -> String {
        let mut query = format!("die={}", part(die.unwrap_or("")));
        for (key, value) in [("quantity", &self.quantity), ("limit", &self.limit), ("unit", &self.unit)] {
            if let Some(value) = some(value.as_ref()) {
                query += &format!("&{key}={}", part(value));
            }
        }
        query
    }
}

/// The presses and dies there are, and which of them a look is at.
#[derive(Debug)]
pub(super) struct Among {
    pub(super) presses: Vec<String>,
    pub(super) press: Option<String>,
    /// Of this press; none for strokes without a die.
    pub(super) dies: Vec<Option<String>>,
    pub(super) die: Option<String>,
}

/// Which press and die a look is at: what was asked for where it is there, else the die of the newest stroke.
pub(super) async fn among(app: &App, asked: &Asked) -> Result<Among, Refusal> {
    let (store, asked) = (Arc::clone(&app.store), asked.clone());
    off_thread(move || {
        let presses = store.presses()?;
        let press = some(asked.press.as_ref()).map(str::to_owned).or_else(|| presses.first().cloned());
        let Some(name) = press.as_deref() else {
            return Ok(Among { presses, press: None, dies: Vec::new(), die: None });
        };
        let dies = store.worn_dies(name)?;
        let given = asked.die().map(|die| die.map(str::to_owned)).filter(|die| dies.contains(die));
        let die = match given {
            Some(die) => die,
            None => newest_die(&store, name)?,
        };
        Ok(Among { presses, press, dies, die })
    })
    .await
}

/// The die of the newest stroke; none where there is no stroke, or it had none.
fn newest_die(store: &Store, press: &str) -> Result<Option<String>, StoreError> {
    let filter = StrokeFilter { press: Some(press.to_owned()), ..StrokeFilter::default() };
    Ok(store.strokes(&filter, 1)?.into_iter().next().and_then(|row| row.die))
}

/// The strokes that a question of a program or a picture is about: a die that is not there is refused.
///
/// # Errors
/// [`Refusal`] for a press or die that is not there.
pub async fn worn(app: &App, press: &str, asked: &Asked) -> Result<Arc<Worn>, Refusal> {
    let (store, of) = (Arc::clone(&app.store), press.to_owned());
    let (dies, newest) = off_thread(move || Ok((store.worn_dies(&of)?, newest_die(&store, &of)?))).await?;
    let die = match asked.die() {
        Some(die) if die.is_some() && !dies.iter().any(|known| known.as_deref() == die) => {
            return Err(Refusal::missing("die"));
        }
        Some(die) => die.map(str::to_owned),
        None => newest,
    };
    app.wears.of(&app.store, press, die.as_deref()).await
}
