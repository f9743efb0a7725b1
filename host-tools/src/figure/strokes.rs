//! What every stroke of a run did: peaks, reverse loads, verdicts, coil changes.

use plotters::style::RGBColor;

use super::canvas::{Canvas, Letter, Stroke, render};
use super::header::Header;
use super::labels::{EndLabel, paint_ends};
use super::panel::{Counts, Panel, Range};
use super::{
    Cell, Column, Figure, FigureError, LoadUnit, Size, Table, Verdict, check, series, table, text, theme,
    ticks,
};

/// Peaks, reverse loads and verdicts over strokes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Strokes {
    /// What is shown.
    pub title: String,
    /// Press, die, day.
    pub subtitle: String,
    /// Unit printed.
    pub unit: LoadUnit,
    /// Stroke numbers, not falling.
    pub stroke: Vec<u64>,
    /// Peak of the total, kN, one a stroke.
    pub total_kn: Vec<f64>,
    /// Peaks of the columns, kN; none for a press with a total only.
    pub columns: Vec<Column>,
    /// Reverse load, kN, a positive magnitude, one a stroke; empty to leave its panel out.
    pub reverse_kn: Vec<f64>,
    /// Verdicts, one a stroke.
    pub verdicts: Vec<Verdict>,
    /// Limit of the total, kN.
    pub total_limit_kn: Option<f64>,
    /// Limit of each column, kN.
    pub column_limit_kn: Option<f64>,
    /// Limit of the reverse load, kN.
    pub reverse_limit_kn: Option<f64>,
    /// First strokes of new coils.
    pub coil_changes: Vec<u64>,
    /// Strokes with a diagnosed cause, each with its number in `causes`.
    pub cause_of: Vec<(u64, usize)>,
    /// The causes, named under the picture by letters in this order; nine at most.
    pub causes: Vec<String>,
}

/// A panel of curves that share a limit.
struct Group<'a> {
    title: String,
    weight: f64,
    curves: Vec<(&'a str, Vec<f64>, RGBColor)>,
    limit: Option<f64>,
    from_zero: bool,
}

const LEFT: f64 = 72.0;
const RIGHT: f64 = 150.0;
const ROW: f64 = 21.0;
const KEY_ROW: f64 = 17.0;
const KEY_COLUMNS: usize = 3;
/// The verdicts that get a row of marks.
const ROWS: [Verdict; 3] = [Verdict::Trip, Verdict::Hold, Verdict::Note];

impl Strokes {
    fn check(&self) -> Result<(), FigureError> {
        check::strokes(&self.stroke)?;
        let (count, of) = (self.stroke.len(), "stroke");
        check::row("total_kn", &self.total_kn, count, of)?;
        check::length("verdicts", self.verdicts.len(), count, of)?;
        for c in &self.columns {
            check::row(&format!("peaks of {}", c.name), &c.values, count, of)?;
        }
        if !self.reverse_kn.is_empty() {
            check::row("reverse_kn", &self.reverse_kn, count, of)?;
        }
        let limits = [self.total_limit_kn, self.column_limit_kn, self.reverse_limit_kn];
        check::sane("limits", limits.into_iter().flatten())
    }

    fn groups(&self) -> Vec<Group<'_>> {
        let print = |kn: &[f64]| self.unit.all_of_kn(kn);
        let limit = |kn: Option<f64>| kn.map(|v| self.unit.of_kn(v));
        let symbol = self.unit.symbol();
        let mut out = vec![Group {
            title: format!("Peak of the total, {symbol}"),
            weight: 3.0,
            curves: vec![("total", print(&self.total_kn), theme::INK)],
            limit: limit(self.total_limit_kn),
            from_zero: false,
        }];
        if !self.columns.is_empty() {
            let count = self.columns.len().max(2);
            let curve = |(i, c): (usize, &'_ Column)| (i, print(&c.values));
            let curves = self.columns.iter().enumerate().map(|(i, c)| {
                let (i, values) = curve((i, c));
                (c.name.as_str(), values, theme::column(i, count))
            });
            out.push(Group {
                title: format!("Peaks of the columns, {symbol}"),
                weight: 3.0,
                curves: curves.collect(),
                limit: limit(self.column_limit_kn),
                from_zero: false,
            });
        }
        if !self.reverse_kn.is_empty() {
            out.push(Group {
                title: format!("Reverse load, {symbol}"),
                weight: 2.0,
                curves: vec![("reverse", print(&self.reverse_kn), theme::INK)],
                limit: limit(self.reverse_limit_kn),
                from_zero: true,
            });
        }
        out
    }

    fn paint(&self, canvas: &mut Canvas<'_>) {
        let header = Header { title: &self.title, verdict: None, reasons: &[], subtitle: &self.subtitle };
        let below = header.draw(canvas);
        let xs: Vec<f64> = self.stroke.iter().map(|&s| s as f64).collect();
        let x = Range::of(xs.iter().copied(), 0.01);
        let groups = self.groups();
        let causes = if self.causes.is_empty() { 0.0 } else { ROW };
        let key = KEY_ROW * self.causes.len().div_ceil(KEY_COLUMNS) as f64;
        let foot = 58.0 + key;
        let strip = ROW * ROWS.len() as f64 + causes + 14.0;
        let gap = 34.0;
        let bottom = canvas.height - foot - strip;
        let weights: f64 = groups.iter().map(|g| g.weight).sum();
        let room = bottom - below - gap * groups.len() as f64;
        let mut top = below + 28.0;
        for group in &groups {
            let panel = Panel {
                left: LEFT,
                top,
                right: canvas.width - RIGHT,
                bottom: top + room * group.weight / weights,
                x,
                y: group.range(),
            };
            self.paint_coils(canvas, &panel);
            group.paint(canvas, &panel, &xs, self.unit);
            top = panel.bottom + gap;
        }
        let strip = Panel {
            left: LEFT,
            top: bottom + 4.0,
            right: canvas.width - RIGHT,
            bottom: canvas.height - foot,
            x,
            y: Range { from: 0.0, to: 1.0 },
        };
        self.paint_verdicts(canvas, &strip, &xs);
        self.paint_causes(canvas, &strip);
        strip.x_axis(canvas, Counts::Strokes, "Stroke");
        if !self.coil_changes.is_empty() {
            let small = Letter::new(theme::TICK_PX, theme::SOFT_INK);
            canvas.text("ticks: new coil", (strip.right + 18.0, strip.bottom + 41.0), small);
        }
    }

    /// A tick at the foot of the panel for each coil change, one a 3 px at most.
    fn paint_coils(&self, canvas: &mut Canvas<'_>, panel: &Panel) {
        let mut last = f64::NEG_INFINITY;
        for &stroke in &self.coil_changes {
            let at = panel.px(stroke as f64);
            if at < panel.left || at > panel.right || at - last < 3.0 {
                continue;
            }
            let tick = Stroke::new(theme::AXIS, theme::THIN);
            canvas.line((at, panel.bottom), (at, panel.bottom + 7.0), tick);
            last = at;
        }
    }

    /// A letter for each stroke with a cause, where there is room, and what the letters mean.
    fn paint_causes(&self, canvas: &mut Canvas<'_>, strip: &Panel) {
        if self.causes.is_empty() {
            return;
        }
        let small = Letter::new(theme::TICK_PX, theme::SOFT_INK);
        let letter = Letter::new(theme::TICK_PX, theme::INK).bold().middle();
        let y = strip.top + ROW * (ROWS.len() as f64 + 0.5);
        canvas.text("cause", (strip.left - 10.0, y + small.drop()), small.right());
        let mut last = f64::NEG_INFINITY;
        for (stroke, n) in &self.cause_of {
            let at = strip.px(*stroke as f64);
            if at >= strip.left && at <= strip.right && at - last >= 12.0 {
                canvas.text(&letter_of(*n).to_string(), (at, y + letter.drop()), letter);
                last = at;
            }
        }
        let wide = (canvas.width - 2.0 * theme::MARGIN) / KEY_COLUMNS as f64;
        let top = strip.bottom + 58.0 + 4.0;
        for (n, cause) in self.causes.iter().enumerate() {
            let (row, column) = (n / KEY_COLUMNS, n % KEY_COLUMNS);
            let line = text::fit(&format!("{} {cause}", letter_of(n)), small.px, false, wide - 14.0);
            let at = (theme::MARGIN + wide * column as f64, top + KEY_ROW * row as f64);
            canvas.text(&line, at, small);
        }
    }

    /// A row for each verdict but pass: one mark a 9 px, and the number of strokes.
    fn paint_verdicts(&self, canvas: &mut Canvas<'_>, strip: &Panel, xs: &[f64]) {
        let small = Letter::new(theme::TICK_PX, theme::SOFT_INK);
        for (i, verdict) in ROWS.into_iter().enumerate() {
            let y = strip.top + ROW * (i as f64 + 0.5);
            let hair = Stroke::new(theme::GRID, theme::HAIR);
            canvas.line((strip.left, y), (strip.right, y), hair);
            let at = (strip.left - 10.0, y + small.drop());
            canvas.text(verdict.word(), at, small.right());
            let mut last = f64::NEG_INFINITY;
            let mut count = 0_u64;
            for (&x, _) in xs.iter().zip(&self.verdicts).filter(|(_, v)| **v == verdict) {
                count += 1;
                let at = strip.px(x);
                if at - last >= 9.0 {
                    canvas.mark((at, y), 5.5, verdict);
                    last = at;
                }
            }
            let all = self.verdicts.len();
            let print = format!("{} of {}", count_of(count), count_of(all as u64));
            canvas.text(&print, (strip.right + 18.0, y + small.drop()), small);
        }
    }
}

/// What cause `n` is called on the picture.
fn letter_of(n: usize) -> char {
    char::from(b'a' + u8::try_from(n.min(25)).unwrap_or(25))
}

fn count_of(count: u64) -> String {
    ticks::grouped(count as f64, 0)
}

impl Group<'_> {
    fn values(&self) -> impl Iterator<Item = f64> {
        self.curves.iter().flat_map(|c| c.1.iter().copied())
    }

    /// Whether the limit can be shown without pressing the curves into less than a quarter of
    /// the panel.
    fn shows_limit(&self) -> bool {
        let all = Range::of(self.values(), 0.0);
        let low = if self.from_zero { 0.0_f64.min(all.from) } else { all.from };
        self.limit.is_some_and(|l| all.to - low >= 0.25 * (l - low) && all.to - low >= 0.25 * (all.to - l))
    }

    fn range(&self) -> Range {
        let limit = self.limit.filter(|_| self.shows_limit());
        let values = self.values().chain(limit);
        if self.from_zero { Range::with_zero(values, 0.1) } else { Range::of(values, 0.08) }
    }

    fn paint(&self, canvas: &mut Canvas<'_>, panel: &Panel, xs: &[f64], unit: LoadUnit) {
        panel.grid(canvas, Counts::Strokes);
        panel.y_title(canvas, &self.title);
        let mut ends = Vec::new();
        for (name, ys, colour) in &self.curves {
            series::paint(canvas, panel, xs, ys, *colour);
            let y = panel.py(series::end_level(ys));
            ends.push(EndLabel::new(*name, y, *colour).bold());
        }
        if let Some(limit) = self.limit {
            let print = format!("{} {}", ticks::readable(limit), unit.symbol());
            if self.shows_limit() {
                panel.limit(canvas, limit);
                let y = panel.py(limit);
                ends.push(EndLabel::new(format!("limit {print}"), y, theme::LIMIT));
            } else {
                // Out of sight: an arrow says on which side.
                let above = limit > panel.y.to;
                let side = if above { panel.top } else { panel.bottom };
                let (x, tip) = (panel.right + 9.0, if above { -6.0 } else { 6.0 });
                let arrow = [(x - 4.5, side), (x + 4.5, side), (x, side + tip)];
                canvas.polygon(&arrow, theme::LIMIT, 1.0);
                let words = format!("limit {print}");
                ends.push(EndLabel::new(words, side, theme::LIMIT).remark());
            }
        }
        paint_ends(canvas, panel, &ends);
    }
}

impl Figure for Strokes {
    fn draw(&self, size: Size) -> Result<String, FigureError> {
        self.check()?;
        render(size, &self.title, |canvas| self.paint(canvas))
    }

    fn table(&self) -> Table {
        let unit = self.unit.suffix();
        let mut out = Table::new(["stroke".to_owned(), format!("total_peak_{unit}")]);
        let names = self.columns.iter().map(|c| format!("{}_peak_{unit}", table::key(&c.name)));
        out.header.extend(names);
        out.header.extend([format!("reverse_{unit}"), "verdict".to_owned()]);
        if !self.causes.is_empty() {
            out.header.push("cause".to_owned());
        }
        let value = |row: &[f64], i: usize| Cell::from(row.get(i).map(|&v| self.unit.of_kn(v)));
        for (i, &stroke) in self.stroke.iter().enumerate() {
            let mut row = vec![Cell::Number(stroke as f64), value(&self.total_kn, i)];
            row.extend(self.columns.iter().map(|c| value(&c.values, i)));
            row.push(value(&self.reverse_kn, i));
            row.push(self.verdicts.get(i).map_or(Cell::Empty, |v| v.word().into()));
            if !self.causes.is_empty() {
                let cause = self.cause_of.binary_search_by_key(&stroke, |cause| cause.0).ok();
                let cause = cause.and_then(|n| self.cause_of.get(n)).and_then(|(_, n)| self.causes.get(*n));
                row.push(cause.map_or(Cell::Empty, |cause| cause.as_str().into()));
            }
            out.rows.push(row);
        }
        out
    }
}
