//! One stroke's signatures over what was learnt: the total above, a panel for each column below,
//! all on one axis, with the places the verdict points at hatched and named.

use super::canvas::{Canvas, Letter, Point, Stroke, render};
use super::header::Header;
use super::panel::{Counts, Panel, Range};
use super::{Cell, Figure, FigureError, LoadUnit, Size, Table, Verdict, check, table, text, theme, thin};

/// What the level axis of a signature counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum AxisKind {
    /// Crank angle in degrees, 180 at the bottom of the stroke.
    #[default]
    CrankAngle,
    /// Milliseconds since load onset, for a machine without a crank.
    Milliseconds,
}

impl AxisKind {
    fn title(self) -> &'static str {
        match self {
            AxisKind::CrankAngle => "Crank angle, degrees (180 = bottom of stroke)",
            AxisKind::Milliseconds => "Time from load onset, ms",
        }
    }

    fn counts(self) -> Counts {
        match self {
            AxisKind::CrankAngle => Counts::Degrees,
            AxisKind::Milliseconds => Counts::Numbers,
        }
    }

    fn print(self, value: f64) -> String {
        match self {
            AxisKind::CrankAngle => format!("{value:.1}°"),
            AxisKind::Milliseconds => format!("{value:.1} ms"),
        }
    }
}

/// What was learnt of one signature, kN, one value for each of the stroke's axis positions.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Envelope {
    /// Lower edge, kN.
    pub low_kn: Vec<f64>,
    /// Mean, kN.
    pub mean_kn: Vec<f64>,
    /// Upper edge, kN.
    pub high_kn: Vec<f64>,
}

/// One signature: the stroke's load and what was learnt.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Trace {
    /// LF, RF, LR, RR, L, R or total.
    pub name: String,
    /// Load of the stroke, kN, one value for each axis position.
    pub load_kn: Vec<f64>,
    /// What was learnt, if anything.
    pub envelope: Option<Envelope>,
}

/// A part of the stroke the verdict points at.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct OffendingSpan {
    /// Where it begins, in the axis' unit.
    pub from: f64,
    /// Where it ends, in the axis' unit.
    pub to: f64,
    /// Why, in a few words.
    pub reason: String,
    /// Name of the trace it is found in; None for all.
    pub column: Option<String>,
}

/// One stroke's signatures over the die's envelope.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Signature {
    /// For example `Stroke 18,204`.
    pub title: String,
    /// Press, die, day.
    pub subtitle: String,
    /// A line of its own under that; empty for none.
    pub caption: String,
    /// What was decided; none for what was learnt itself, where each load is the learnt mean.
    pub verdict: Option<Verdict>,
    /// Why, in words.
    pub reasons: Vec<String>,
    /// What the level axis counts.
    pub axis: AxisKind,
    /// Unit printed.
    pub unit: LoadUnit,
    /// Crank angle in degrees or time in ms, in the order of the stroke.
    pub position: Vec<f64>,
    /// The total.
    pub total: Trace,
    /// The columns, at most eight; none for a press with a total only.
    pub columns: Vec<Trace>,
    /// Places the verdict points at.
    pub spans: Vec<OffendingSpan>,
}

const RIGHT: f64 = 168.0;
const LEFT: f64 = 72.0;
const LANE: f64 = 20.0;

impl Signature {
    /// The part between two places of its axis, both included.
    #[must_use]
    pub fn part(mut self, from: f64, to: f64) -> Self {
        let inside: Vec<bool> = self.position.iter().map(|at| (from..=to).contains(at)).collect();
        let keep = |values: &mut Vec<f64>| {
            let mut inside = inside.iter();
            values.retain(|_| inside.next().copied().unwrap_or(false));
        };
        keep(&mut self.position);
        for trace in std::iter::once(&mut self.total).chain(&mut self.columns) {
            keep(&mut trace.load_kn);
            if let Some(envelope) = &mut trace.envelope {
                keep(&mut envelope.low_kn);
                keep(&mut envelope.mean_kn);
                keep(&mut envelope.high_kn);
            }
        }
        self.spans.retain(|span| span.to >= from && span.from <= to);
        self
    }

    fn check(&self) -> Result<(), FigureError> {
        check::some("position", self.position.len(), 2)?;
        check::sane("position", self.position.iter().copied())?;
        if self.columns.len() > 8 {
            return Err(FigureError::Value {
                what: "columns".to_owned(),
                why: "more than eight panels cannot be read",
            });
        }
        let count = self.position.len();
        for trace in self.traces() {
            let of = "position";
            check::length(&format!("load of {}", trace.name), trace.load_kn.len(), count, of)?;
            check::sane(&format!("load of {}", trace.name), trace.load_kn.iter().copied())?;
            if let Some(e) = &trace.envelope {
                for (part, row) in [("low", &e.low_kn), ("mean", &e.mean_kn), ("high", &e.high_kn)] {
                    let what = format!("envelope {part} of {}", trace.name);
                    check::length(&what, row.len(), count, of)?;
                    check::sane(&what, row.iter().copied())?;
                }
            }
        }
        check::sane("spans", self.spans.iter().flat_map(|s| [s.from, s.to]))
    }

    fn traces(&self) -> impl Iterator<Item = &Trace> {
        std::iter::once(&self.total).chain(&self.columns)
    }

    fn values<'s>(&self, traces: impl Iterator<Item = &'s Trace>) -> Vec<f64> {
        let kn = traces.flat_map(|t| {
            let edges = t.envelope.iter().flat_map(|e| e.low_kn.iter().chain(&e.high_kn));
            t.load_kn.iter().chain(edges).copied()
        });
        kn.map(|v| self.unit.of_kn(v)).collect()
    }

    fn points(&self, panel: &Panel, row: &[f64]) -> Vec<Point> {
        thin(&self.position, &self.unit.all_of_kn(row), panel.columns())
    }

    /// The panels from top to bottom: the total takes twice the height of a column.
    fn panels(&self, top: f64, bottom: f64, width: f64) -> Vec<Panel> {
        let gap = 12.0;
        let n = self.columns.len() as f64;
        let unit_height = (bottom - top - n * gap) / (2.0 + n);
        let x = Range::of(self.position.iter().copied(), 0.0);
        let total_y = Range::with_zero(self.values(std::iter::once(&self.total)), 0.06);
        let column_y = Range::with_zero(self.values(self.columns.iter()), 0.06);
        let panel = |top: f64, height: f64, y: Range| Panel {
            left: LEFT,
            top,
            right: width - RIGHT,
            bottom: top + height,
            x,
            y,
        };
        let first = panel(top, 2.0 * unit_height, total_y);
        let mut y = first.bottom + gap;
        let mut out = vec![first];
        for _ in &self.columns {
            out.push(panel(y, unit_height, column_y));
            y += unit_height + gap;
        }
        out
    }

    fn paint(&self, canvas: &mut Canvas<'_>) {
        let header = Header {
            title: &self.title,
            verdict: self.verdict,
            reasons: &self.reasons,
            subtitle: &self.subtitle,
        };
        let mut below = header.draw(canvas);
        if !self.caption.is_empty() {
            let letter = Letter::new(theme::SUBTITLE_PX, theme::INK);
            let line = text::fit(&self.caption, letter.px, false, canvas.width - 2.0 * theme::MARGIN);
            canvas.text(&line, (theme::MARGIN, below + 6.0), letter);
            below += 20.0;
        }
        let labels = self.span_labels(canvas.width);
        let used = labels.iter().map(|l| l.lane + 1).max().unwrap_or(0);
        let top = below + 26.0 + LANE * used as f64;
        let panels = self.panels(top, canvas.height - 58.0, canvas.width);
        let count = self.columns.len();
        for (i, (trace, panel)) in self.traces().zip(&panels).enumerate() {
            let colour = if i == 0 { theme::INK } else { theme::column(i - 1, count.max(2)) };
            self.paint_panel(canvas, trace, panel, colour);
        }
        let Some((first, last)) = panels.first().zip(panels.last()) else { return };
        for label in &labels {
            label.paint_lines(canvas, first.top, last.bottom);
        }
        for label in &labels {
            label.paint_words(canvas, first.top);
        }
        let title_panel = Panel { top: top - LANE * used as f64, ..*first };
        title_panel.y_title(canvas, &format!("Load, {}", self.unit.symbol()));
        last.x_axis(canvas, self.axis.counts(), self.axis.title());
        self.paint_key(canvas, title_panel.top - 10.0);
    }

    fn paint_panel(
        &self,
        canvas: &mut Canvas<'_>,
        trace: &Trace,
        panel: &Panel,
        colour: plotters::style::RGBColor,
    ) {
        panel.grid(canvas, self.axis.counts());
        for span in self.spans.iter().filter(|s| s.column.as_ref().is_none_or(|c| *c == trace.name)) {
            panel.hatch(canvas, span.from, span.to);
        }
        if let Some(e) = &trace.envelope {
            let (low, high) = (self.points(panel, &e.low_kn), self.points(panel, &e.high_kn));
            panel.band(canvas, &low, &high, colour, 0.2);
            let mean = &self.points(panel, &e.mean_kn);
            panel.curve(canvas, mean, Stroke::new(theme::MEAN, theme::THIN));
        }
        let curve = &self.points(panel, &trace.load_kn);
        panel.curve(canvas, curve, Stroke::new(colour, theme::STRONG));
        self.paint_label(canvas, trace, panel, colour);
    }

    fn paint_label(
        &self,
        canvas: &mut Canvas<'_>,
        trace: &Trace,
        panel: &Panel,
        colour: plotters::style::RGBColor,
    ) {
        let x = panel.right + 14.0;
        let room = RIGHT - 14.0 - theme::MARGIN;
        let name = Letter::new(theme::LABEL_PX, theme::readable(colour)).bold();
        let small = Letter::new(theme::TICK_PX, theme::SOFT_INK);
        let mut lines = vec![(text::fit(&trace.name, name.px, true, room), name)];
        if let Some((at, peak)) = self.peak(trace) {
            let print = format!("{} at {}", self.unit.print(peak), self.axis.print(at));
            lines.push((text::fit(&print, small.px, false, room), small));
        }
        let reverse = -trace.load_kn.iter().copied().fold(0.0, f64::min);
        if reverse > 0.0 {
            let print = format!("reverse {}", self.unit.print(reverse));
            lines.push((text::fit(&print, small.px, false, room), small));
        }
        let pitch = 17.0;
        let fitting = ((panel.height() + 8.0) / pitch).floor().max(1.0) as usize;
        lines.truncate(fitting);
        let middle = panel.top + panel.height() / 2.0;
        let start = middle - (lines.len() as f64 - 1.0) / 2.0 * pitch;
        for (i, (line, letter)) in lines.iter().enumerate() {
            canvas.text(line, (x, start + i as f64 * pitch + letter.drop()), *letter);
        }
    }

    /// Position and load of the greatest load, kN.
    fn peak(&self, trace: &Trace) -> Option<(f64, f64)> {
        let pairs = self.position.iter().copied().zip(trace.load_kn.iter().copied());
        // Reversed, so that the first of equal peaks is named.
        pairs.rev().max_by(|a, b| a.1.total_cmp(&b.1))
    }

    fn span_text(&self, span: &OffendingSpan) -> String {
        let reason = text::clean(&span.reason);
        let range = match self.axis {
            AxisKind::CrankAngle => format!("{:.1}–{:.1}°", span.from, span.to),
            AxisKind::Milliseconds => format!("{:.1}–{:.1} ms", span.from, span.to),
        };
        match &span.column {
            Some(column) => format!("{} {range}: {reason}", text::clean(column)),
            None => format!("{range}: {reason}"),
        }
    }

    /// Where the label of each span goes: in lanes above the panels, clear of each other.
    fn span_labels(&self, width: f64) -> Vec<SpanLabel> {
        let panel = Panel {
            left: LEFT,
            top: 0.0,
            right: width - RIGHT,
            bottom: 1.0,
            x: Range::of(self.position.iter().copied(), 0.0),
            y: Range { from: 0.0, to: 1.0 },
        };
        let letter = span_letter();
        let mut lanes: Vec<Vec<(f64, f64)>> = Vec::new();
        self.spans
            .iter()
            .map(|span| {
                let label = text::fit(&self.span_text(span), letter.px, true, panel.width());
                let half = letter.width(&label) / 2.0;
                // The title of the load axis stands at the left of the lanes.
                let low = (panel.left + 30.0 + half).min(width / 2.0);
                let high = (width - theme::MARGIN - half).max(width / 2.0);
                let inside = |v: f64| panel.px(v).clamp(panel.left, panel.right);
                let (from, to) = (inside(span.from), inside(span.to));
                let middle = (from + to) / 2.0;
                let x = middle.clamp(low, high);
                let (a, b) = (x - half - 8.0, x + half + 8.0);
                let free = |lane: &Vec<(f64, f64)>| lane.iter().all(|&(c, d)| b <= c || a >= d);
                let lane = lanes.iter().position(free).unwrap_or_else(|| {
                    lanes.push(Vec::new());
                    lanes.len() - 1
                });
                if let Some(places) = lanes.get_mut(lane) {
                    places.push((a, b));
                }
                SpanLabel { lane, label, x, from, to, middle }
            })
            .collect()
    }

    /// What the lines are, once, at the right of the line with the axis title.
    fn paint_key(&self, canvas: &mut Canvas<'_>, baseline: f64) {
        let small = Letter::new(theme::TICK_PX, theme::SOFT_INK).right();
        let middle = baseline - small.drop();
        let mut x = canvas.width - theme::MARGIN;
        let learnt = self.traces().any(|t| t.envelope.is_some());
        let rows: &[&str] = match (learnt, self.verdict) {
            (true, Some(_)) => &["learnt band", "learnt mean", "this stroke"],
            (true, None) => &["learnt band", "", "learnt mean"],
            (false, _) => &["this stroke"],
        };
        for (i, row) in rows.iter().rev().enumerate().rev() {
            if row.is_empty() {
                continue;
            }
            canvas.text(row, (x, baseline), small);
            x -= small.width(row) + 8.0;
            let (from, to) = ((x - 26.0, middle), (x, middle));
            match i {
                0 => canvas.line(from, to, Stroke::new(theme::INK, theme::STRONG)),
                1 => canvas.line(from, to, Stroke::new(theme::MEAN, theme::THIN)),
                _ => canvas.rect((from.0, middle - 5.0), (to.0, middle + 5.0), theme::INK, 0.2),
            }
            x -= 26.0 + 22.0;
        }
    }
}

/// The label of an offending span and where it goes, px.
struct SpanLabel {
    lane: usize,
    label: String,
    x: f64,
    from: f64,
    to: f64,
    middle: f64,
}

impl SpanLabel {
    fn baseline(&self, top: f64) -> f64 {
        top - 12.0 - LANE * self.lane as f64
    }

    fn paint_lines(&self, canvas: &mut Canvas<'_>, top: f64, bottom: f64) {
        let edge = Stroke::new(theme::OFFENCE, 0.9).faint(0.8);
        for x in [self.from, self.to] {
            canvas.line((x, top - 2.0), (x, bottom), edge);
        }
        let foot = self.baseline(top) + 4.0;
        canvas.line((self.middle, foot), (self.middle, top - 2.0), edge);
    }

    /// The words, on white, over the lines that come down from labels above.
    fn paint_words(&self, canvas: &mut Canvas<'_>, top: f64) {
        let letter = span_letter().middle();
        let at = (self.x, self.baseline(top));
        let place = Canvas::place_of(&self.label, at, letter);
        canvas.rect((place.left - 3.0, place.top), (place.right + 3.0, place.bottom), theme::PAPER, 1.0);
        canvas.text(&self.label, at, letter);
        let (m, f) = (self.middle, at.1 + 4.0);
        canvas.polygon(&[(m - 5.0, f), (m + 5.0, f), (m, f + 6.0)], theme::OFFENCE, 1.0);
    }
}

fn span_letter() -> Letter {
    Letter::new(theme::AXIS_PX, theme::readable(theme::OFFENCE)).bold()
}

impl Figure for Signature {
    fn draw(&self, size: Size) -> Result<String, FigureError> {
        self.check()?;
        let word = self.verdict.map(|verdict| format!(", {}", verdict.word())).unwrap_or_default();
        let name = format!("{}{word}", self.title);
        render(size, &name, |canvas| self.paint(canvas))
    }

    fn table(&self) -> Table {
        let unit = self.unit.suffix();
        let position = match self.axis {
            AxisKind::CrankAngle => "angle_deg",
            AxisKind::Milliseconds => "time_ms",
        };
        let mut out = Table::new([position.to_owned()]);
        for trace in self.traces() {
            let name = table::key(&trace.name);
            out.header.push(format!("{name}_{unit}"));
            if trace.envelope.is_some() {
                out.header.extend(["low", "mean", "high"].map(|p| format!("{name}_{p}_{unit}")));
            }
        }
        let value = |row: &[f64], i: usize| Cell::from(row.get(i).map(|&v| self.unit.of_kn(v)));
        for (i, &x) in self.position.iter().enumerate() {
            let mut row = vec![Cell::Number(x)];
            for trace in self.traces() {
                row.push(value(&trace.load_kn, i));
                if let Some(e) = &trace.envelope {
                    row.extend([&e.low_kn, &e.mean_kn, &e.high_kn].map(|r| value(r, i)));
                }
            }
            out.rows.push(row);
        }
        out
    }
}
