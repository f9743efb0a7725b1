//! What reports are made of, from the console's database.

use std::collections::BTreeMap;

use super::stop::BESIDE;
use super::{Die, Happening, Judged, Provenance, Shift, Stop, Version};
use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::console::picture::{RECENT, Whole};
use crate::console::store::{
    CardRow, EventFilter, Store, StoreError, StrokeFilter, StrokeRow, outcome_from_json,
};
use crate::diagnose::Told;
use crate::figure::LoadUnit;
use crate::markup::time;
use crate::picture::StrokeReadings;
use crate::session::Outcome;

/// Most strokes of one report; of more the latest are told, and the report says so.
pub const MOST: usize = 100_000;
/// Most events of one report.
const MOST_EVENTS: usize = 500;

/// Which strokes of a press.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Span {
    /// Not before, ms since 1970, UTC.
    pub from_ms: Option<i64>,
    /// Before, ms since 1970, UTC.
    pub to_ms: Option<i64>,
}

impl Span {
    fn filter(&self, press: &str, die: Option<&str>) -> StrokeFilter {
        StrokeFilter {
            press: Some(press.to_owned()),
            die: die.map(str::to_owned),
            from_ms: self.from_ms,
            to_ms: self.to_ms,
            ..StrokeFilter::default()
        }
    }

    fn words(&self) -> String {
        match (self.from_ms, self.to_ms) {
            (Some(from), Some(to)) => format!("{} to {}", time(from), time(to)),
            (Some(from), None) => format!("from {}", time(from)),
            (None, Some(to)) => format!("before {}", time(to)),
            (None, None) => "all strokes stored".to_owned(),
        }
    }
}

fn judged(
    store: &Store,
    filter: &StrokeFilter,
    most: usize,
) -> Result<(Vec<StrokeRow>, Vec<Judged>), StoreError> {
    let mut rows = store.strokes(filter, most)?;
    if filter.after.is_none() {
        rows.reverse();
    }
    // Three reads: a stroke may have come in, or gone, between them.
    let outcomes: BTreeMap<i64, String> = store.outcomes(filter, most)?.into_iter().collect();
    let diagnoses: BTreeMap<i64, Option<String>> = store.diagnoses(filter, most)?.into_iter().collect();
    let one = |row: &StrokeRow| {
        let outcome = outcomes.get(&row.id).and_then(|json| outcome_from_json(json))?;
        let told = diagnoses.get(&row.id).and_then(Option::as_deref).and_then(Told::from_json);
        Some(Judged { outcome, at_ms: Some(row.at_ms), told })
    };
    let strokes = rows.iter().filter_map(one).collect();
    Ok((rows, strokes))
}

fn begin(store: &Store, card: &PressCard) -> Provenance {
    let mut provenance = Provenance::now();
    provenance.add("Database", store.path().display().to_string());
    provenance.add_text("Press card", &card.name, &card.to_toml());
    provenance
}

fn add_runs(store: &Store, rows: &[StrokeRow], provenance: &mut Provenance) -> Result<(), StoreError> {
    let mut runs: Vec<i64> = rows.iter().map(|row| row.run).collect();
    runs.dedup();
    for run in runs {
        let run = store.run(run)?;
        provenance.add(format!("Run {}", run.id), format!("{}, begun {}", run.source, time(run.at_ms)));
    }
    if let Some((first, last)) = rows.first().zip(rows.last()) {
        provenance.add("Strokes", format!("numbers {} to {} of the database", first.id, last.id));
    }
    if rows.len() == MOST {
        provenance.add("Left out", format!("all but the latest {MOST} strokes"));
    }
    Ok(())
}

/// A card's text, understood.
fn parse(row: &CardRow) -> Result<DieCard, StoreError> {
    toml::from_str(&row.toml).map_err(|_| StoreError::Damaged("die card"))
}

/// What a card is, in words.
fn says(row: &CardRow) -> String {
    let state = if row.accepted { "accepted" } else { "draft" };
    format!("card version {}, {state} by {} on {}", row.version, row.who, time(row.at_ms))
}

fn cards(store: &Store, rows: &[StrokeRow]) -> Result<Vec<CardRow>, StoreError> {
    let mut ids: Vec<i64> = rows.iter().filter_map(|row| row.card).collect();
    ids.sort_unstable();
    ids.dedup();
    ids.into_iter().map(|id| store.card(id)).collect()
}

/// A shift's report.
///
/// # Errors
/// [`StoreError`] from the database, or for a press that is not there.
pub fn shift(store: &Store, press: &str, span: &Span, unit: LoadUnit) -> Result<Shift, StoreError> {
    let card = store.press(press)?;
    let (rows, strokes) = judged(store, &span.filter(press, None), MOST)?;
    let mut provenance = begin(store, &card);
    add_runs(store, &rows, &mut provenance)?;
    let mut dies = Vec::new();
    for row in cards(store, &rows)? {
        provenance.add_die(&parse(&row)?, &format!("version {}", row.version));
        dies.push(format!("die {}, {}", row.die, says(&row)));
    }
    let events = EventFilter {
        press: Some(press.to_owned()),
        from_ms: span.from_ms.or(rows.first().map(|row| row.at_ms)),
        to_ms: span.to_ms,
        ..EventFilter::default()
    };
    let mut happenings: Vec<Happening> = store
        .events(&events, MOST_EVENTS)?
        .into_iter()
        .filter(|event| event.stroke_id.is_none())
        .map(|event| Happening { at_ms: event.at_ms, says: event.says, who: event.who, reason: event.reason })
        .collect();
    happenings.reverse();
    Ok(Shift { press: card, dies, span: span.words(), strokes, happenings, unit, provenance })
}

/// A stroke's report.
///
/// # Errors
/// [`StoreError`] from the database, or for a stroke that is not there.
pub fn stop(store: &Store, id: i64, unit: LoadUnit) -> Result<Stop, StoreError> {
    let whole = Whole::read(store, id)?;
    let of_press = StrokeFilter { press: Some(whole.row.press.clone()), ..StrokeFilter::default() };
    let (_, mut beside) =
        judged(store, &StrokeFilter { before: Some(id + 1), ..of_press.clone() }, BESIDE + 1)?;
    let (_, after) = judged(store, &StrokeFilter { after: Some(id), ..of_press.clone() }, BESIDE)?;
    beside.extend(after);
    let recent = store.outcomes(&StrokeFilter { before: Some(id + 1), ..of_press }, RECENT)?;
    let before: Vec<Outcome> = recent.iter().filter_map(|(_, json)| outcome_from_json(json)).collect();
    let run = store.run(whole.row.run)?;
    let mut provenance = begin(store, &whole.card);
    provenance.add(format!("Run {}", run.id), format!("{}, begun {}", run.source, time(run.at_ms)));
    provenance.add("Stroke", format!("{} of the run, number {id} of the database", whole.row.stroke));
    let row = whole.row.card.map(|id| store.card(id)).transpose()?;
    if let Some(row) = &row {
        provenance.add_die(&parse(row)?, &format!("version {}", row.version));
    }
    let readings = whole.readings.as_ref();
    let rows = readings.map(|kept| kept.rows(whole.outcome.stroke, whole.outcome.coil));
    if let Some(rows) = &rows {
        provenance.add("Readings", format!("{} as they were judged", rows.len()));
    }
    Ok(Stop {
        band: whole.band(),
        die: row.as_ref().map(|row| (row.die.clone(), says(row))),
        source: run.source,
        stroke: Judged { outcome: whole.outcome, at_ms: Some(whole.row.at_ms), told: whole.told },
        readings: rows.map(|rows| StrokeReadings { rows }),
        press: whole.card,
        beside,
        before,
        unit,
        provenance,
    })
}

/// A die's report, of the newest version of its card.
///
/// # Errors
/// [`StoreError`] from the database, or for a die that is not there.
pub fn die(store: &Store, press: &str, die: &str, span: &Span, unit: LoadUnit) -> Result<Die, StoreError> {
    let card = store.press(press)?;
    let history = store.card_history(press, die)?;
    let newest = history.first().ok_or(StoreError::Missing("die"))?;
    let newest = parse(newest)?;
    let (rows, strokes) = judged(store, &span.filter(press, Some(die)), MOST)?;
    let mut provenance = begin(store, &card);
    provenance.add_die(&newest, &format!("version {}", history.first().map_or(0, |row| row.version)));
    add_runs(store, &rows, &mut provenance)?;
    let version = |row: &CardRow| {
        Ok(Version {
            version: row.version,
            accepted: row.accepted,
            card: parse(row)?,
            who: row.who.clone(),
            at_ms: row.at_ms,
            reason: row.reason.clone(),
        })
    };
    Ok(Die {
        press: card,
        card: newest,
        versions: history.iter().map(version).collect::<Result<_, StoreError>>()?,
        strokes,
        span: span.words(),
        unit,
        provenance,
    })
}
