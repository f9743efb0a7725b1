//! A value over strokes with its robust line, where it is going, and when it gets there.

use super::canvas::{Canvas, Letter, Point, Stroke, render};
use super::header::Header;
use super::labels::{EndLabel, paint_ends};
use super::panel::{Counts, Panel, Range};
use super::{Cell, Figure, FigureError, LoadUnit, Size, Table, bins, check, text, theme, ticks};

/// The fitted line at one stroke, with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TrendPoint {
    /// Stroke.
    pub stroke: f64,
    /// Value of the line.
    pub value: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
}

/// How many strokes are left before the limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrokesLeft {
    /// Most likely number.
    pub likely: f64,
    /// Lower end of the interval.
    pub least: f64,
    /// Upper end of the interval; None where the limit may never be reached.
    pub most: Option<f64>,
    /// Confidence of the interval, per cent.
    pub confidence_percent: f64,
}

/// A value over strokes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Trend {
    /// What is shown.
    pub title: String,
    /// Press, die, span of time.
    pub subtitle: String,
    /// The value's name, for the axis: `Peak load of LF`.
    pub quantity: String,
    /// The value's unit, for the axis: `kN`.
    pub unit: String,
    /// Stroke numbers, not falling.
    pub stroke: Vec<u64>,
    /// Values, one a stroke.
    pub value: Vec<f64>,
    /// The fitted lines, one between each two changes, strokes rising. Points beyond the last
    /// stroke are drawn as a forecast.
    pub lines: Vec<Vec<TrendPoint>>,
    /// Confidence of the lines' interval, per cent, for its label.
    pub confidence_percent: Option<f64>,
    /// The limit.
    pub limit: Option<f64>,
    /// Strokes at which something changed, and what.
    pub changes: Vec<(u64, String)>,
    /// Strokes left before the limit.
    pub left: Option<StrokesLeft>,
}

impl Trend {
    /// The same with loads in another unit; what is no load stays as it is.
    #[must_use]
    pub fn in_unit(mut self, unit: LoadUnit) -> Self {
        if self.unit != LoadUnit::Kn.symbol() {
            return self;
        }
        self.unit = unit.symbol().to_owned();
        let points = self.lines.iter_mut().flatten();
        let line = points.flat_map(|point| [&mut point.value, &mut point.low, &mut point.high]);
        for value in self.value.iter_mut().chain(line).chain(&mut self.limit) {
            *value = unit.of_kn(*value);
        }
        self
    }

    fn check(&self) -> Result<(), FigureError> {
        check::strokes(&self.stroke)?;
        check::row("value", &self.value, self.stroke.len(), "stroke")?;
        let numbers = self.lines.iter().flatten().flat_map(|p| [p.stroke, p.value, p.low, p.high]);
        check::sane("lines", numbers)?;
        check::sane("limit", self.limit)?;
        let left = self.left.iter().flat_map(|l| [Some(l.likely), Some(l.least), l.most]);
        check::sane("left", left.flatten())
    }

    fn paint(&self, canvas: &mut Canvas<'_>) {
        let words = self.left.map(|l| l.print()).unwrap_or_default();
        let subtitle = [self.subtitle.as_str(), words.as_str()]
            .into_iter()
            .filter(|s| !s.is_empty())
            .collect::<Vec<_>>()
            .join(" · ");
        let header = Header { title: &self.title, verdict: None, reasons: &[], subtitle: &subtitle };
        let below = header.draw(canvas);
        let xs: Vec<f64> = self.stroke.iter().map(|&s| s as f64).collect();
        let last = xs.last().copied().unwrap_or(0.0);
        let fitted = || self.lines.iter().flatten();
        let strokes = xs.iter().copied().chain(fitted().map(|p| p.stroke));
        let values = self.value.iter().copied().chain(fitted().map(|p| p.value));
        // Changes may stand where the axis title does: they get a line of their own, many get two.
        let more = match self.changes.len() {
            0 => 0,
            1..=3 => 1,
            _ => 2,
        };
        let panel = Panel {
            left: 72.0,
            top: below + 28.0 + 18.0 * more as f64,
            right: canvas.width - 170.0,
            bottom: canvas.height - 58.0,
            x: Range::of(strokes, 0.01),
            y: Range::of(values.chain(self.limit), 0.08),
        };
        panel.grid(canvas, Counts::Strokes);
        let title = Panel { top: below + 28.0, ..panel };
        title.y_title(canvas, &format!("{}, {}", text::clean(&self.quantity), self.unit));
        panel.x_axis(canvas, Counts::Strokes, "Stroke");
        self.paint_changes(canvas, &panel, more + 1);
        self.paint_values(canvas, &panel, &xs);
        let mut ends = Vec::new();
        for line in &self.lines {
            paint_line(canvas, &panel, line, last);
        }
        if let Some(p) = self.lines.last().and_then(|l| l.last()) {
            let interval = self
                .confidence_percent
                .map_or(String::new(), |c| format!(", {} % interval", ticks::short(c)));
            let colour = theme::column(1, 4);
            ends.push(EndLabel::new(format!("line{interval}"), panel.py(p.value), colour).bold());
        }
        if let Some(limit) = self.limit {
            panel.limit(canvas, limit);
            let words = format!("limit {} {}", ticks::short(limit), self.unit);
            ends.push(EndLabel::new(words, panel.py(limit), theme::LIMIT));
        }
        if panel.x.to > last * 1.02 && last > panel.x.from {
            let x = panel.px(last);
            let hair = Stroke::new(theme::AXIS, theme::HAIR);
            canvas.line((x, panel.top), (x, panel.bottom), hair);
            let small = Letter::new(theme::TICK_PX, theme::SOFT_INK);
            let y = panel.bottom - 8.0;
            canvas.text_if_free("last stroke", &[(x - 6.0, y)], small.right());
            canvas.text_if_free("forecast", &[(x + 6.0, y)], small);
        }
        paint_ends(canvas, &panel, &ends);
    }

    /// Each value a pale dot; many are gathered into spreads of two pixels.
    fn paint_values(&self, canvas: &mut Canvas<'_>, panel: &Panel, xs: &[f64]) {
        let colour = theme::column(0, 4);
        if xs.len() <= panel.columns() {
            let radius = if xs.len() <= 200 { 3.0 } else { 2.0 };
            for (&x, &y) in xs.iter().zip(&self.value) {
                canvas.dot(panel.at((x, y)), radius, colour, 0.55);
            }
            return;
        }
        for bin in bins(xs, &self.value, panel.x.from, panel.x.to, panel.columns() / 2) {
            let (low, high) = (panel.at((bin.x, bin.min)), panel.at((bin.x, bin.max)));
            canvas.line(low, (high.0, high.1 - 0.8), Stroke::new(colour, 2.0).faint(0.3));
            canvas.dot(panel.at((bin.x, bin.median)), 1.2, colour, 0.9);
        }
    }

    /// An upright line at each change, its words in the first of `lanes` with room.
    fn paint_changes(&self, canvas: &mut Canvas<'_>, panel: &Panel, lanes: usize) {
        let letter = Letter::new(theme::TICK_PX, theme::INK);
        for (stroke, what) in &self.changes {
            let x = panel.px(*stroke as f64);
            if !(panel.left..=panel.right).contains(&x) {
                continue;
            }
            let words = format!("{} at {}", text::clean(what), ticks::grouped(*stroke as f64, 0));
            let words = text::fit(&words, letter.px, false, 180.0);
            let lane = |i: usize| panel.top - 10.0 - 18.0 * i as f64;
            let right: Vec<Point> = (0..lanes).map(|i| (x + 5.0, lane(i))).collect();
            let left: Vec<Point> = (0..lanes).map(|i| (x - 5.0, lane(i))).collect();
            let stroke = Stroke::new(theme::INK, theme::HAIR).faint(0.7);
            canvas.broken((x, panel.top - 5.0), (x, panel.bottom), stroke, 2.0, 3.0);
            if !canvas.text_if_free(&words, &right, letter) {
                canvas.text_if_free(&words, &left, letter.right());
            }
        }
    }
}

/// The line and its interval; beyond stroke `last` both are a forecast, the line in dashes.
fn paint_line(canvas: &mut Canvas<'_>, panel: &Panel, line: &[TrendPoint], last: f64) {
    let colour = theme::column(1, 4);
    let low: Vec<Point> = line.iter().map(|p| (p.stroke, p.low)).collect();
    let high: Vec<Point> = line.iter().map(|p| (p.stroke, p.high)).collect();
    panel.band(canvas, &low, &high, colour, 0.18);
    let strong = Stroke::new(colour, theme::STRONG);
    let split = line.partition_point(|p| p.stroke <= last);
    let points: Vec<Point> = line.iter().map(|p| panel.at((p.stroke, p.value))).collect();
    let (seen, ahead) = points.split_at(split);
    canvas.path(seen, strong);
    let forecast: Vec<Point> = seen.last().into_iter().chain(ahead).copied().collect();
    canvas.dashed_path(&forecast, strong);
}

impl StrokesLeft {
    /// In words: `4,200 strokes left before the limit (90 % interval 2,900 to 6,800)`.
    #[must_use]
    pub fn print(&self) -> String {
        let count = |v: f64| ticks::grouped(v.round(), 0);
        let most = self.most.map_or("no end".to_owned(), count);
        format!(
            "{} strokes left before the limit ({} % interval {} to {most})",
            count(self.likely),
            ticks::short(self.confidence_percent),
            count(self.least),
        )
    }
}

impl Figure for Trend {
    fn draw(&self, size: Size) -> Result<String, FigureError> {
        self.check()?;
        render(size, &self.title, |canvas| self.paint(canvas))
    }

    /// The values, and the line's points under them with the values empty.
    fn table(&self) -> Table {
        let names = ["stroke", "value", "line", "line_low", "line_high"];
        let mut out = Table::new(names.map(str::to_owned));
        for (&stroke, &value) in self.stroke.iter().zip(&self.value) {
            let mut row = vec![Cell::Number(stroke as f64), Cell::Number(value)];
            row.extend([Cell::Empty, Cell::Empty, Cell::Empty]);
            out.rows.push(row);
        }
        for p in self.lines.iter().flatten() {
            let line = [p.value, p.low, p.high].map(Cell::Number);
            out.rows.push([Cell::Number(p.stroke), Cell::Empty].into_iter().chain(line).collect());
        }
        out
    }
}
