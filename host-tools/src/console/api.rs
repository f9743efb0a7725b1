//! The JSON interface and the metrics: the same facts as the pages, for programs. Loads are in kN.

use std::fmt::Write as _;
use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};

use super::app::App;
use super::feed::FeedState;
use super::live::LiveStroke;
use super::pages::{die, journal, strokes, wear};
use super::picture::Whole;
use super::respond::{Refusal, off_thread};

/// The OpenAPI document.
pub const OPENAPI: &str = include_str!("assets/openapi.json");
/// Rows of one answer.
const MOST: usize = 1000;

type Answer = Result<Json<Value>, Refusal>;

fn value(of: impl serde::Serialize) -> Result<Value, Refusal> {
    serde_json::to_value(of).map_err(|_| Refusal::bad("This cannot be written as JSON."))
}

/// The OpenAPI document.
pub async fn openapi() -> Response {
    ([(header::CONTENT_TYPE, "application/json")], OPENAPI).into_response()
}

/// Presses and where their strokes come from.
///
/// # Errors
/// [`Refusal`] if the database fails.
pub async fn presses(State(app): State<Arc<App>>) -> Answer {
    let (store, statuses) = (Arc::clone(&app.store), app.statuses());
    let list = off_thread(move || {
        let one = |name: String| -> Result<Value, Refusal> {
            let card = store.press(&name)?;
            let status = statuses.iter().find(|status| status.press == name);
            Ok(json!({
                "name": name,
                "columns": card.spec.columns.names(),
                "rated_kn": card.spec.rated_kn,
                "feed": status.map(value).transpose()?,
            }))
        };
        store.presses()?.into_iter().map(one).collect::<Result<Vec<_>, _>>()
    });
    Ok(Json(Value::Array(list.await?)))
}

/// Strokes, newest first, or in order after one.
///
/// # Errors
/// [`Refusal`] for a question that cannot be understood.
pub async fn strokes(State(app): State<Arc<App>>, Query(asked): Query<strokes::Asked>) -> Answer {
    let filter = asked.filter()?;
    let store = Arc::clone(&app.store);
    let rows = off_thread(move || {
        let rows = store.strokes(&filter, MOST)?;
        value(rows.into_iter().map(LiveStroke::from).collect::<Vec<_>>())
    });
    Ok(Json(rows.await?))
}

/// One stroke with everything that was found.
///
/// # Errors
/// [`Refusal`] for a stroke that is not there.
pub async fn stroke(State(app): State<Arc<App>>, Path(id): Path<i64>) -> Answer {
    let store = Arc::clone(&app.store);
    let found = off_thread(move || {
        let (row, outcome) = store.stroke(id)?;
        let outcome: Value =
            serde_json::from_str(&outcome).map_err(|_| Refusal::bad("This stroke's outcome is damaged."))?;
        let diagnosis = store.diagnosis(id)?;
        let diagnosis: Value =
            diagnosis.and_then(|text| serde_json::from_str(&text).ok()).unwrap_or(Value::Null);
        Ok(json!({
            "stroke": value(&row)?,
            "outcome": outcome,
            "diagnosis": diagnosis,
            "run": value(store.run(row.run)?)?,
        }))
    });
    Ok(Json(found.await?))
}

/// A stroke's readings: position, total and columns, and the learnt mean, kN.
///
/// # Errors
/// [`Refusal`] for a stroke whose readings were not kept.
pub async fn readings(State(app): State<Arc<App>>, Path(id): Path<i64>) -> Answer {
    let store = Arc::clone(&app.store);
    let found = off_thread(move || {
        let whole = Whole::read(&store, id)?;
        let kept = whole.readings.as_ref().ok_or_else(|| Refusal::missing("reading: they were not kept"))?;
        let columns = usize::from(kept.columns).max(1);
        let by_angle = kept.angle_deg.first().is_some_and(|angle| !angle.is_nan());
        let position = if by_angle { &kept.angle_deg } else { &kept.time_s };
        let column = |n: usize| kept.loads_kn.iter().skip(n).step_by(columns).copied().collect::<Vec<f64>>();
        let total: Vec<f64> = kept.loads_kn.chunks(columns).map(|loads| loads.iter().sum()).collect();
        let names = whole.card.spec.columns.names();
        let by_column: Vec<Value> = names
            .iter()
            .enumerate()
            .map(|(n, name)| json!({ "name": name.to_uppercase(), "kn": column(n) }))
            .collect();
        Ok(json!({
            "axis": if by_angle { "angle_deg" } else { "time_s" },
            "position": position,
            "total_kn": total,
            "columns": by_column,
            "height_mm": heights(&whole, position, by_angle),
            "edges": kept.edges,
            "baseline_kn": kept.baseline_kn,
        }))
    });
    Ok(Json(found.await?))
}

fn heights(whole: &Whole, position: &[f64], by_angle: bool) -> Option<Vec<f64>> {
    let crank = whole.card.spec.check().ok().filter(|_| by_angle)?;
    Some(position.iter().map(|angle| crank.height_mm(angle.to_radians())).collect())
}

/// Dies with the newest version of their cards.
///
/// # Errors
/// [`Refusal`] if the database fails.
pub async fn dies(State(app): State<Arc<App>>) -> Answer {
    let store = Arc::clone(&app.store);
    Ok(Json(off_thread(move || value(store.dies(None)?)).await?))
}

/// Every version of a die's card.
///
/// # Errors
/// [`Refusal`] for a die that is not there.
pub async fn die(State(app): State<Arc<App>>, Path((press, die)): Path<(String, String)>) -> Answer {
    let store = Arc::clone(&app.store);
    let versions = off_thread(move || {
        let history = store.card_history(&press, &die)?;
        if history.is_empty() {
            return Err(Refusal::missing("die"));
        }
        let one = |row: &super::store::CardRow| -> Result<Value, Refusal> {
            let mut version = value(row)?;
            if let Some(fields) = version.as_object_mut() {
                fields.insert("limits".into(), value(&die::parse(row)?.limits)?);
                fields.insert("card".into(), Value::String(row.toml.clone()));
            }
            Ok(version)
        };
        history.iter().map(one).collect::<Result<Vec<_>, _>>()
    });
    Ok(Json(Value::Array(versions.await?)))
}

/// Wear and drift of a press under a die, with the strokes left.
///
/// # Errors
/// [`Refusal`] for a press, die or quantity that is not there, or a limit that is no number.
pub async fn wear(
    State(app): State<Arc<App>>,
    Path(press): Path<String>,
    Query(asked): Query<wear::Asked>,
) -> Answer {
    let worn = wear::worn(&app, &press, &asked).await?;
    let found = off_thread(move || {
        let (trend, _) = asked.looked(&worn)?;
        let ids: Vec<Option<i64>> = trend.changes.iter().map(|change| worn.id(change.stroke)).collect();
        Ok(json!({
            "press": worn.card.name,
            "die": worn.die,
            "first_id": worn.ends.map(|ends| ends[0]),
            "last_id": worn.ends.map(|ends| ends[1]),
            "older_left_out": worn.is_older,
            "change_ids": ids,
            "trend": value(&trend)?,
        }))
    });
    Ok(Json(found.await?))
}

/// Events, newest first.
///
/// # Errors
/// [`Refusal`] for a question that cannot be understood.
pub async fn events(State(app): State<Arc<App>>, Query(asked): Query<journal::Asked>) -> Answer {
    let filter = asked.filter()?;
    let store = Arc::clone(&app.store);
    Ok(Json(off_thread(move || value(store.events(&filter, MOST)?)).await?))
}

/// A label's value in the metrics' text form.
fn label(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}

/// A number in the metrics' text form.
fn number(value: f64) -> String {
    match value {
        f64::INFINITY => "+Inf".to_owned(),
        f64::NEG_INFINITY => "-Inf".to_owned(),
        _ => value.to_string(),
    }
}

/// Metrics in the text form of Prometheus.
///
/// # Errors
/// [`Refusal`] if the database fails.
pub async fn metrics(State(app): State<Arc<App>>) -> Result<Response, Refusal> {
    let shared = Arc::clone(&app);
    let text = off_thread(move || metrics_text(&shared)).await?;
    Ok(([(header::CONTENT_TYPE, "text/plain; version=0.0.4; charset=utf-8")], text).into_response())
}

fn metrics_text(app: &App) -> Result<String, Refusal> {
    let mut text = String::from(
        "# HELP bolster_strokes_total Judged strokes stored, by verdict, since the console was started.\n\
         # TYPE bolster_strokes_total counter\n",
    );
    let statuses = app.statuses();
    for status in &statuses {
        // Writing to a String does not fail.
        for (verdict, count) in ["pass", "note", "hold", "trip"].iter().zip(status.verdicts) {
            let press = label(&status.press);
            let _ =
                writeln!(text, "bolster_strokes_total{{press=\"{press}\",verdict=\"{verdict}\"}} {count}");
        }
    }
    text += "# HELP bolster_peak_kn Peak load of the latest stroke, kN.\n# TYPE bolster_peak_kn gauge\n";
    for status in &statuses {
        let (press, peak) = (label(&status.press), number(status.peak_kn));
        let _ = writeln!(text, "bolster_peak_kn{{press=\"{press}\"}} {peak}");
    }
    text += "# HELP bolster_feed_up Whether a press's strokes come in.\n# TYPE bolster_feed_up gauge\n";
    for status in &statuses {
        let up = u8::from(status.state == FeedState::Running);
        let _ = writeln!(text, "bolster_feed_up{{press=\"{}\"}} {up}", label(&status.press));
    }
    let used = app.store.used_bytes()?;
    let followers = app.followers.count();
    let _ = write!(
        text,
        "# HELP bolster_database_bytes Bytes of the database that hold something.\n\
         # TYPE bolster_database_bytes gauge\nbolster_database_bytes {used}\n\
         # HELP bolster_followers Pages that follow the strokes.\n\
         # TYPE bolster_followers gauge\nbolster_followers {followers}\n"
    );
    Ok(text)
}
