//! A whole history assessed: each quantity's trend, its charts, the strokes left, and what changed.

use serde::Serialize;

use super::arl::{Cusum, Ewma};
use super::cells::History;
use super::change::{Change, Kind, changes, short};
use super::chart::{Signal, scores};
use super::line::{Left, Line};
use super::quantity::{Quantity, watched};
use super::series::{LEAST, Series};

/// Weight of the EWMA's newest block.
const WEIGHT: f64 = 0.1;
/// Slack of the CUSUM: half the shift it is quickest for.
const SLACK: f64 = 0.5;
/// Longest run length that charts are designed for: beyond it the equations lose their digits.
const LONGEST_RUN: f64 = 1e8;
/// Largest chance of a false alarm that a look at a long history is allowed, all quantities together.
const MOST_ERROR: f64 = 0.05;

/// Strokes in which one false alarm is tolerated where nothing else is asked for.
pub const FALSE_ALARM_STROKES: f64 = 1e8;
/// Confidence of intervals where nothing else is asked for.
pub const CONFIDENCE: f64 = 0.95;

/// What a person asks for.
#[derive(Debug, Clone, PartialEq)]
pub struct Wish {
    /// Strokes in which one false alarm is tolerated, all quantities and methods together.
    pub false_alarm_strokes: f64,
    /// Confidence of intervals, 0.5 to 0.999.
    pub confidence: f64,
    /// Limits by the quantity's name.
    pub limits: Vec<(String, f64)>,
}

/// How a quantity does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// It rises, surely.
    Rising,
    /// It falls, surely.
    Falling,
    /// Nothing surely.
    NoTrend,
    /// Too few blocks to say.
    NotEnough,
}

/// A value with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Interval {
    /// The value.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Strokes left before a limit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct StrokesLeft {
    /// By the line.
    pub likely: f64,
    /// Lower end of the interval.
    pub least: f64,
    /// Upper end; null where the limit may never be met.
    pub most: Option<f64>,
}

/// One chart.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ChartOutcome {
    /// Limit, in standard deviations of a block (CUSUM) or of the average (EWMA).
    pub limit: f64,
    /// Blocks to a false signal on average, computed.
    pub run_length_blocks: f64,
    /// Last stroke of the block that brought the first signal.
    pub signal_stroke: Option<u64>,
    /// First stroke of the block from which on it grew (CUSUM).
    pub since_stroke: Option<u64>,
    /// Upwards.
    pub up: Option<bool>,
}

/// One quantity.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trend {
    /// Its name.
    pub quantity: String,
    /// In words.
    pub title: String,
    /// Its unit.
    pub unit: &'static str,
    /// What was found.
    pub state: State,
    /// In a sentence.
    pub says: String,
    /// First stroke that counts: the run's, or the first after the last change.
    pub from_stroke: u64,
    /// Independent blocks that count.
    pub blocks: usize,
    /// Chance of as clear a trend where there is none.
    pub chance: Option<f64>,
    /// Change in a thousand strokes.
    pub per_1000_strokes: Option<Interval>,
    /// Height at the last stroke.
    pub now: Option<Interval>,
    /// The limit.
    pub limit: Option<f64>,
    /// Strokes left before the limit, where there is a trend towards it, or where another wear quantity shows that edges dull.
    pub strokes_left: Option<StrokesLeft>,
    /// Whether strokes left can be told of this quantity.
    #[serde(skip)]
    pub foretells: bool,
    /// EWMA of weight 0.1.
    pub ewma: Option<ChartOutcome>,
    /// CUSUM of slack 0.5.
    pub cusum: Option<ChartOutcome>,
    /// The blocks that count.
    #[serde(skip)]
    pub series: Series,
    /// All blocks, for pictures.
    #[serde(skip)]
    pub whole: Series,
    /// The line, for pictures.
    #[serde(skip)]
    pub line: Option<Line>,
}

/// A whole history.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Analysis {
    /// Strokes.
    pub strokes: u64,
    /// Of these stopped the press.
    pub stopped: u64,
    /// Last stroke.
    pub last_stroke: u64,
    /// Coils, where they are marked.
    pub coils: Option<u64>,
    /// Strokes in which one false alarm is tolerated, all together.
    pub false_alarm_strokes: f64,
    /// Chance below which one quantity's trend counts, from that.
    pub chance_that_counts: f64,
    /// Confidence of intervals.
    pub confidence: f64,
    /// What changed.
    pub changes: Vec<Change>,
    /// Each quantity; wear first.
    pub quantities: Vec<Trend>,
}

impl Analysis {
    /// Of a history with these columns.
    #[must_use]
    pub fn of(history: &History, columns: &[String], wish: &Wish) -> Self {
        let watched: Vec<(Quantity, Series)> = watched(history, columns)
            .into_iter()
            .map(|quantity| {
                let series = Series::of(history, quantity.place, &quantity.stock);
                (quantity, series)
            })
            .collect();
        // The tolerance is for all: trends, steps and two charts of each quantity take an equal part.
        let parts = 4.0 * watched.len().max(1) as f64;
        let strokes = history.strokes as f64;
        let error = (strokes / wish.false_alarm_strokes).min(MOST_ERROR) / parts;
        let changes = changes(history, &watched, error);
        let last_stroke = history.cells.last().map_or(0, |cell| cell.strokes[1]);
        // One design for all: charts differ in their blocks by a few strokes at most.
        let blocks = watched.iter().map(|(_, series)| series.y.len()).max().unwrap_or(1).max(1) as f64;
        let run_length =
            (wish.false_alarm_strokes * parts * blocks / strokes.max(1.0)).clamp(100.0, LONGEST_RUN);
        let charts = (Ewma::designed(WEIGHT, run_length), Cusum::designed(SLACK, run_length));
        let look = Look { history, wish, error, last_stroke, changes: &changes, charts, run_length };
        let mut quantities: Vec<Trend> =
            watched.iter().map(|(quantity, series)| look.trend(quantity, series)).collect();
        foretell_by_others(&mut quantities, &watched, last_stroke as f64);
        Self {
            strokes: history.strokes,
            stopped: history.stopped,
            last_stroke,
            coils: history.marked.then_some(history.coils),
            false_alarm_strokes: wish.false_alarm_strokes,
            chance_that_counts: error,
            confidence: wish.confidence,
            quantities,
            changes,
        }
    }

    /// The quantity to show first: the first that surely moves, else the first; none without any.
    #[must_use]
    pub fn foremost(&self) -> Option<&Trend> {
        let moves = |trend: &&Trend| matches!(trend.state, State::Rising | State::Falling);
        self.quantities.iter().find(moves).or_else(|| self.quantities.first())
    }
}

struct Look<'a> {
    history: &'a History,
    wish: &'a Wish,
    error: f64,
    last_stroke: u64,
    changes: &'a [Change],
    charts: (Ewma, Cusum),
    run_length: f64,
}

impl Look<'_> {
    fn trend(&self, quantity: &Quantity, whole: &Series) -> Trend {
        // Where what stock does is taken out, it does not begin the quantity anew.
        let counts = |change: &&Change| quantity.stock.is_empty() || change.kind != Kind::Stock;
        let change = self.changes.iter().rfind(counts);
        let from = change.map_or(0, |change| change.stroke);
        let first = whole.strokes.partition_point(|strokes| strokes[0] < from);
        let series = whole.part(first..whole.y.len());
        let limit = self.wish.limits.iter().find(|(name, _)| *name == quantity.name).map(|(_, limit)| *limit);
        let blocks = series.y.len();
        let line = Line::of(&series, self.wish.confidence);
        let since = change.map_or_else(String::new, |change| {
            format!(" since the {} at stroke {}", change.kind.word(), change.stroke)
        });
        let mut trend = Trend {
            quantity: quantity.name.clone(),
            title: quantity.title.clone(),
            unit: quantity.unit,
            state: State::NotEnough,
            says: String::new(),
            from_stroke: series.strokes.first().map_or(from, |strokes| strokes[0]),
            blocks,
            chance: None,
            per_1000_strokes: None,
            now: None,
            limit,
            strokes_left: None,
            foretells: quantity.foretells,
            ewma: None,
            cusum: None,
            series,
            whole: whole.clone(),
            line: None,
        };
        let block = if self.history.marked { "coil" } else { "batch" };
        let Some(line) = line else {
            trend.says = format!("not enough: {blocks} {block}(s){since}, a trend takes {LEAST} or more");
            return trend;
        };
        let now = self.last_stroke as f64;
        let (slope, half) = (line.slope, line.half_width(now, now));
        trend.chance = Some(line.chance);
        trend.per_1000_strokes = Some(Interval {
            value: 1000.0 * slope.slope,
            low: 1000.0 * slope.low,
            high: 1000.0 * slope.high,
        });
        trend.now =
            Some(Interval { value: line.at(now), low: line.at(now) - half, high: line.at(now) + half });
        self.charts(&mut trend);
        let sure = line.chance < self.error && slope.slope != 0.0;
        trend.state = match (sure, slope.slope > 0.0) {
            (true, true) => State::Rising,
            (true, false) => State::Falling,
            (false, _) => State::NoTrend,
        };
        if sure
            && quantity.foretells
            && let Some(limit) = limit
        {
            trend.strokes_left = left(&line, limit, now);
        }
        trend.says = says(&trend, block, &since);
        trend.line = Some(line);
        trend
    }

    fn charts(&self, trend: &mut Trend) {
        let scores = scores(&trend.series.y);
        let skipped = scores.iter().take_while(|score| score.is_none()).count();
        let values: Vec<f64> = scores.into_iter().flatten().collect();
        let strokes = |n: usize| trend.series.strokes.get(n + skipped).copied();
        let outcome = |limit, signal: Option<Signal>| ChartOutcome {
            limit,
            run_length_blocks: self.run_length,
            signal_stroke: signal.and_then(|signal| strokes(signal.at)).map(|strokes| strokes[1]),
            since_stroke: signal.and_then(|signal| strokes(signal.since)).map(|strokes| strokes[0]),
            up: signal.map(|signal| signal.up),
        };
        let (ewma, cusum) = &self.charts;
        trend.ewma = Some(outcome(ewma.limit, ewma.chart(values.iter().copied()).signal));
        trend.cusum = Some(outcome(cusum.limit, cusum.chart(values.iter().copied()).signal));
    }
}

fn left(line: &Line, limit: f64, now: f64) -> Option<StrokesLeft> {
    line.left(limit, now).map(|Left { likely, least, most }| StrokesLeft {
        likely: likely.max(0.0),
        least: least.max(0.0),
        most,
    })
}

/// Where one wear quantity shows that edges dull, another's line is no chance any more: its strokes left are told by it, with
/// the wide interval that it has.
fn foretell_by_others(quantities: &mut [Trend], watched: &[(Quantity, Series)], now: f64) {
    let shows = |(trend, (quantity, _)): &(&Trend, &(Quantity, Series))| {
        (quantity.wear || !quantity.foretells) && matches!(trend.state, State::Rising | State::Falling)
    };
    let Some(by) = quantities.iter().zip(watched).find(shows).map(|(trend, _)| trend.quantity.clone()) else {
        return;
    };
    for (trend, _) in quantities.iter_mut().zip(watched).filter(|(_, (quantity, _))| quantity.wear) {
        let (State::NoTrend, Some(limit), Some(line)) = (trend.state, trend.limit, &trend.line) else {
            continue;
        };
        trend.strokes_left = left(line, limit, now);
        if let Some(left) = trend.strokes_left {
            trend.says += &format!("; as {by} shows wear, {}", left.says(limit));
        }
    }
}

impl StrokesLeft {
    fn says(&self, limit: f64) -> String {
        let most = self.most.map_or_else(|| "no end".to_owned(), |most| format!("{most:.0}"));
        format!(
            "{:.0} strokes left before {} (interval {:.0} to {most})",
            self.likely,
            short(limit),
            self.least
        )
    }
}

fn says(trend: &Trend, block: &str, since: &str) -> String {
    let Some(slope) = trend.per_1000_strokes else { return String::new() };
    let of = format!("{} {block}s{since}", trend.blocks);
    let range = format!("{} to {}", short(slope.low), short(slope.high));
    match trend.state {
        State::NotEnough => String::new(),
        State::NoTrend => format!("no trend in {of}: {range} {} in 1000 strokes", trend.unit),
        State::Rising | State::Falling => {
            let way = if trend.state == State::Rising { "rises" } else { "falls" };
            let mut text = format!(
                "{way} by {} ({range}) {} in 1000 strokes, {of}",
                short(slope.value.abs()),
                trend.unit
            );
            match (trend.limit, trend.strokes_left) {
                _ if !trend.foretells => {
                    text += "; an edge, or something else, changes in that part of the stroke; strokes left are told of wear-work and wear-return";
                }
                (Some(limit), Some(left)) => text += &format!("; {}", left.says(limit)),
                (Some(limit), None) => text += &format!("; away from its limit {}", short(limit)),
                _ => {}
            }
            text
        }
    }
}
