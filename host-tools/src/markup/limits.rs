//! A die's plain limits, in words.

use super::{load, load_unit};
use crate::card::die::{Band, DieCard, EnvelopeCard, Must, Then, Value};
use crate::figure::LoadUnit;

/// One of a die's plain limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// Its name in forms.
    pub key: &'static str,
    /// Its name for people.
    pub label: &'static str,
    /// Whether it is a load; work otherwise.
    pub is_load: bool,
    /// Lowest and highest, kN or kJ, and what leaving them means; none where there is no limit.
    pub band: Option<Band>,
}

impl Limit {
    /// The limit in words: `120 to 480 kN`.
    #[must_use]
    pub fn words(&self, unit: LoadUnit) -> String {
        let Some(Band { ends: [low, high], then }) = self.band else { return "no limit".to_owned() };
        let ends = if self.is_load {
            format!("{} to {}", load(unit, low), load_unit(unit, high))
        } else {
            format!("{low:.3} to {high:.3} kJ")
        };
        meaning(ends, then)
    }
}

/// A limit with what leaving it means, where that is anything but a hold at the first stroke.
fn meaning(limit: String, then: Then) -> String {
    then.words().map_or_else(|| limit.clone(), |words| format!("{limit} ({words})"))
}

/// Limits of a card that are no band of a feature, in words: no load and double load, envelope, windows.
#[must_use]
pub fn further(card: &DieCard, unit: LoadUnit) -> Vec<String> {
    let limits = &card.limits;
    let loads = [("no load below", limits.no_load_kn), ("double load above", limits.double_load_kn)];
    let mut all: Vec<String> = loads
        .into_iter()
        .filter_map(|(says, load)| {
            load.map(|load| meaning(format!("{says} {}", load_unit(unit, load.kn)), load.then))
        })
        .collect();
    all.extend(limits.envelope.map(|EnvelopeCard { verdict, strokes }| {
        meaning("learnt envelope".to_owned(), Then { verdict, strokes })
    }));
    let place = |degrees: [Option<f64>; 2], ms: [Option<f64>; 2]| match (degrees, ms) {
        ([Some(from), Some(to)], _) => format!("{from}° to {to}°"),
        (_, [Some(from), Some(to)]) => format!("{from} to {to} ms after load onset"),
        _ => "nowhere".to_owned(),
    };
    all.extend(limits.watches.iter().map(|watch| {
        let value = match watch.value {
            Value::Greatest => "greatest",
            Value::Least => "least",
            Value::Mean => "mean",
        };
        let at = place([watch.from_deg, watch.to_deg], [watch.from_ms, watch.to_ms]);
        let [low, high] = watch.between_kn;
        let ends = format!("{} to {}", load(unit, low), load_unit(unit, high));
        let then = Then { verdict: watch.verdict, strokes: watch.strokes };
        meaning(format!("{value} load of {} from {at}: {ends}", watch.load), then)
    }));
    all.extend(limits.sensors.iter().map(|sensor| {
        let must = match sensor.must {
            Must::OnOnce => "on at some moment",
            Must::OnThroughout => "on all through",
            Must::OffThroughout => "off all through",
        };
        let at = place([sensor.from_deg, sensor.to_deg], [sensor.from_ms, sensor.to_ms]);
        let then = Then { verdict: sensor.verdict, strokes: sensor.strokes };
        meaning(format!("sensor s{} from {at}: {must}", sensor.input), then)
    }));
    all
}

/// The plain limits of a card.
#[must_use]
pub fn limits(card: &DieCard) -> [Limit; 3] {
    let limit = |key, label, is_load, band| Limit { key, label, is_load, band };
    [
        limit("peak", "Peak load", true, card.limits.peak_kn),
        limit("reverse", "Reverse load", true, card.limits.reverse_kn),
        limit("work", "Work", false, card.limits.work_kj),
    ]
}
