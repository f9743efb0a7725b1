//! Verdicts against the truth, by kind and severity.

use std::collections::BTreeMap;
use std::path::Path;

use bolster::session::Outcome;

use super::Failure;

/// What each stroke of a recording is.
pub(crate) struct Truth(BTreeMap<u64, (String, f64)>);

impl Truth {
    /// Reads `stroke`, `kind` and `severity` from a CSV file.
    pub(crate) fn read(path: &Path) -> Result<Self, Failure> {
        let mut reader = csv::Reader::from_path(path)?;
        let headers = reader.headers()?.clone();
        let place =
            |name: &str| headers.iter().position(|h| h == name).ok_or_else(|| format!("truth has no {name}"));
        let (stroke, kind, severity) = (place("stroke")?, place("kind")?, place("severity")?);
        let mut strokes = BTreeMap::new();
        for record in reader.records() {
            let record = record?;
            let text = |n: usize| record.get(n).unwrap_or_default();
            strokes.insert(text(stroke).parse()?, (text(kind).to_owned(), text(severity).parse()?));
        }
        Ok(Self(strokes))
    }
}

/// Strokes and stops by kind and severity (per mille).
#[derive(Debug, Default)]
pub(crate) struct Score(BTreeMap<(String, u32), (u64, u64)>);

impl Score {
    /// Counts one stroke.
    pub(crate) fn take(&mut self, truth: &Truth, outcome: &Outcome) {
        let Some((kind, severity)) = truth.0.get(&outcome.stroke) else { return };
        let cell = self.0.entry((kind.clone(), (severity * 1000.0).round() as u32)).or_default();
        cell.0 += 1;
        cell.1 += u64::from(matches!(outcome.verdict, "hold" | "trip"));
    }

    /// Share of good strokes stopped, and of faulty ones found.
    fn shares(&self) -> (f64, f64) {
        let share = |good: bool| {
            let cells = self.0.iter().filter(|((kind, _), _)| (kind == "good") == good).map(|(_, cell)| cell);
            let (strokes, stops) = cells.fold((0, 0), |sum, cell| (sum.0 + cell.0, sum.1 + cell.1));
            stops as f64 / strokes.max(1) as f64
        };
        (share(true), share(false))
    }
}

/// One table over presses.
pub(crate) fn print(scores: &[(String, Score)], each: bool) {
    if each {
        for (name, score) in scores {
            let (stops, found) = score.shares();
            println!("  {name:<28} false stops {:6.2} %  found {:5.1} %", 100.0 * stops, 100.0 * found);
        }
    }
    let mut groups: BTreeMap<String, Vec<(f64, f64)>> = BTreeMap::new();
    for (name, score) in scores {
        let group: String = name.chars().take_while(char::is_ascii_alphabetic).collect();
        groups.entry(group).or_default().push(score.shares());
    }
    for (group, shares) in groups {
        let mut stops: Vec<f64> = shares.iter().map(|share| 100.0 * share.0).collect();
        stops.sort_by(f64::total_cmp);
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len().max(1) as f64;
        let found: Vec<f64> = shares.iter().map(|share| 100.0 * share.1).collect();
        let middle = stops.get(stops.len() / 2).copied().unwrap_or(0.0);
        let worst: Vec<String> = stops.iter().rev().take(4).map(|stop| format!("{stop:.1}")).collect();
        let clean = stops.iter().filter(|stop| **stop <= 0.3).count();
        println!(
            "{group:<6} {:>3} presses  false stops mean {:5.2} % median {middle:4.2} % worst {} ; {clean} at most 0.3 %  found mean {:5.1} %",
            shares.len(),
            mean(&stops),
            worst.join(" "),
            mean(&found)
        );
    }
    let mut kinds: BTreeMap<&str, BTreeMap<u32, Vec<f64>>> = BTreeMap::new();
    for (_, score) in scores {
        for ((kind, severity), (strokes, stops)) in score.0.iter().filter(|((kind, _), _)| kind != "good") {
            kinds
                .entry(kind)
                .or_default()
                .entry(*severity)
                .or_default()
                .push(*stops as f64 / *strokes as f64);
        }
    }
    for (kind, severities) in kinds {
        let cells = severities
            .values()
            .map(|s| format!("{:5.0}", 100.0 * s.iter().sum::<f64>() / s.len().max(1) as f64));
        println!("  {kind:<16}{}", cells.collect::<Vec<_>>().join(" "));
    }
}
