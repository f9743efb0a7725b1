//! An assessed history as text.

use super::analysis::{Analysis, ChartOutcome, State};
use super::change::short;

impl Analysis {
    /// For people: what changed, each quantity in a line, what the charts signalled, and what all that rests on.
    #[must_use]
    pub fn text(&self) -> String {
        let coils = self.coils.map_or_else(
            || "coils not marked: batches of strokes stand for them".to_owned(),
            |coils| format!("{coils} coils as marked"),
        );
        let mut text = format!("{} strokes, {coils}", self.strokes);
        if self.stopped > 0 {
            text += &format!("; {} that stopped the press left out", self.stopped);
        }
        text += "\n";
        if !self.changes.is_empty() {
            text += "\nchanges\n";
        }
        for change in &self.changes {
            text += &format!(
                "  from stroke {}: {} ({})\n",
                change.stroke,
                change.kind.word(),
                change.says.join("; ")
            );
        }
        text += "\n";
        let width = self.quantities.iter().map(|trend| trend.quantity.len()).max().unwrap_or(0);
        for trend in &self.quantities {
            text += &format!("  {:<width$}  {}\n", trend.quantity, trend.says);
            let charts = [("EWMA", &trend.ewma), ("CUSUM", &trend.cusum)];
            for (name, chart) in charts.into_iter().filter_map(|(name, chart)| Some((name, chart.as_ref()?)))
            {
                text += &signal(name, chart, width);
            }
        }
        let trends =
            self.quantities.iter().any(|trend| matches!(trend.state, State::Rising | State::Falling));
        text += &format!(
            "\nintervals {:.0} %; limits of charts and trends from one false alarm in {:.0} strokes, all together",
            100.0 * self.confidence,
            self.false_alarm_strokes
        );
        text += &format!(
            " (a trend counts below a chance of {:.1e}; charts run {} blocks to a false signal)\n",
            self.chance_that_counts,
            self.run_length()
        );
        if trends && self.quantities.iter().all(|trend| trend.limit.is_none()) {
            text += "strokes left need a limit: --limit NAME=VALUE\n";
        }
        text
    }

    fn run_length(&self) -> String {
        let lengths = self.quantities.iter().filter_map(|trend| trend.cusum);
        lengths
            .map(|chart| chart.run_length_blocks)
            .reduce(f64::min)
            .map_or_else(|| "no".to_owned(), |n| format!("{n:.0}"))
    }
}

fn signal(name: &str, chart: &ChartOutcome, width: usize) -> String {
    let Some(stroke) = chart.signal_stroke else { return String::new() };
    let way = if chart.up == Some(true) { "up" } else { "down" };
    let since = chart
        .since_stroke
        .filter(|_| name == "CUSUM")
        .map_or_else(String::new, |since| format!(", growing since stroke {since}"));
    format!(
        "  {:<width$}  {name} signals {way} at stroke {stroke}{since} (limit {} σ)\n",
        "",
        short(chart.limit)
    )
}
