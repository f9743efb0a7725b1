//! A stored stroke's pictures, by the program's own figures.

use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::diagnose::Told;
use crate::figure::{Figure, LoadUnit, Size, for_page};
use crate::picture::{Caption, LearntBand, StrokeReadings, capacity, load_centres, signature};
use crate::session::Outcome;

use super::respond::Refusal;
use super::store::{KeptReadings, Store, StoreError, StrokeRow, outcome_from_json};

/// What a stroke's pictures show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Load over crank angle or time, over the envelope.
    Signature,
    /// Load against slide height under the capacity curve.
    Height,
    /// Where the load acted, on the bolster plate.
    Centre,
}

impl Kind {
    /// The picture with this file name.
    #[must_use]
    pub fn of(name: &str) -> Option<Self> {
        match name {
            "signature.svg" => Some(Self::Signature),
            "height.svg" => Some(Self::Height),
            "centre.svg" => Some(Self::Centre),
            _ => None,
        }
    }
}

/// A stored stroke with everything its pictures need.
#[derive(Debug, Clone)]
pub struct Whole {
    /// Its figures.
    pub row: StrokeRow,
    /// Everything that was found.
    pub outcome: Outcome,
    /// What it was diagnosed as.
    pub told: Option<Told>,
    /// Its readings, where they were kept.
    pub readings: Option<KeptReadings>,
    /// Its press.
    pub card: PressCard,
    /// The die that judged it.
    pub die: Option<DieCard>,
    /// That die's card version.
    pub version: Option<i64>,
}

impl Whole {
    /// Reads a stroke.
    ///
    /// # Errors
    /// [`StoreError`] from the database, for a stroke that is not there or a damaged one.
    pub fn read(store: &Store, id: i64) -> Result<Self, StoreError> {
        let (row, json) = store.stroke(id)?;
        let outcome = outcome_from_json(&json).ok_or(StoreError::Damaged("outcome"))?;
        let card = store.press(&row.press)?;
        let version = row.card.map(|id| store.card(id)).transpose()?;
        let die = version.as_ref().and_then(|version| toml::from_str(&version.toml).ok());
        let readings = store.readings(id)?;
        let told = store.diagnosis(id)?.as_deref().and_then(Told::from_json);
        Ok(Self { row, outcome, told, readings, card, die, version: version.map(|version| version.version) })
    }

    /// Under a picture's title: press, die, card.
    #[must_use]
    pub fn caption(&self) -> Caption {
        let mut subtitle = format!("Press {}", self.row.press);
        if let (Some(die), Some(version)) = (&self.row.die, self.version) {
            subtitle += &format!(", die {die}, card version {version}");
        }
        Caption { subtitle }
    }

    /// What the die's good strokes did when it was judged.
    #[must_use]
    pub fn band(&self) -> Option<LearntBand> {
        let kept = self.readings.as_ref().filter(|kept| !kept.edges.is_empty())?;
        let shape = self.die.as_ref()?.shape.as_ref()?;
        Some(LearntBand::new(&kept.baseline_kn, &kept.edges, shape))
    }

    /// Draws a picture; none where the stroke has not what it takes. `span` is the part of the axis to be shown.
    ///
    /// # Errors
    /// [`Refusal`] for a span in which nothing lies.
    pub fn draw(
        &self,
        store: &Store,
        kind: Kind,
        unit: LoadUnit,
        span: Option<(f64, f64)>,
    ) -> Result<Option<String>, Refusal> {
        let caption = self.caption();
        let figure: Box<dyn Figure> = match kind {
            Kind::Centre => {
                let recent = super::store::StrokeFilter {
                    press: Some(self.row.press.clone()),
                    before: Some(self.row.id + 1),
                    ..Default::default()
                };
                let recent = store.outcomes(&recent, RECENT)?;
                let outcomes: Vec<Outcome> =
                    recent.iter().filter_map(|(_, json)| outcome_from_json(json)).collect();
                let figure = load_centres(&outcomes, &self.card, &caption);
                if figure.points.is_empty() || self.outcome.load_centre_mm.is_none() {
                    return Ok(None);
                }
                Box::new(figure)
            }
            Kind::Signature | Kind::Height => {
                let Some(kept) = &self.readings else { return Ok(None) };
                let rows = kept.rows(self.outcome.stroke, self.outcome.coil);
                let readings = StrokeReadings { rows };
                if kind == Kind::Height {
                    match capacity(&readings, &self.outcome, &self.card, unit, &caption) {
                        Some(figure) => Box::new(figure),
                        None => return Ok(None),
                    }
                } else {
                    let mut figure =
                        signature(&readings, &self.outcome, self.band().as_ref(), &self.card, unit, &caption);
                    if let Some(span) = span {
                        figure = figure.part(span.0, span.1);
                        if figure.position.len() < 2 {
                            return Err(Refusal::bad("There are no readings in that part of the stroke."));
                        }
                    }
                    Box::new(figure)
                }
            }
        };
        let svg =
            figure.draw(Size::NORMAL).map_err(|why| Refusal::bad(format!("Cannot be drawn: {why}.")))?;
        Ok(Some(for_page(&svg)))
    }
}

/// Strokes whose load centres are shown around one.
pub const RECENT: usize = 200;
