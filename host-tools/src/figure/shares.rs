//! Each column's share of the peak load over strokes.

use super::canvas::{Canvas, Point, Stroke, render};
use super::header::Header;
use super::labels::{EndLabel, paint_ends};
use super::panel::{Counts, Panel, Range};
use super::{Cell, Column, Figure, FigureError, Size, Table, check, series, table, theme, ticks};

/// Shares of the total, per cent, over strokes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Shares {
    /// What is shown.
    pub title: String,
    /// Press, die, day.
    pub subtitle: String,
    /// Stroke numbers, not falling.
    pub stroke: Vec<u64>,
    /// Share of each column, per cent of the total, one a stroke.
    pub columns: Vec<Column>,
    /// Learnt or expected share of each column, per cent; empty for none.
    pub expected_percent: Vec<f64>,
    /// First strokes of new coils.
    pub coil_changes: Vec<u64>,
}

impl Shares {
    fn check(&self) -> Result<(), FigureError> {
        check::strokes(&self.stroke)?;
        check::some("columns", self.columns.len(), 1)?;
        for c in &self.columns {
            let what = format!("share of {}", c.name);
            check::row(&what, &c.values, self.stroke.len(), "stroke")?;
        }
        if self.expected_percent.is_empty() {
            return Ok(());
        }
        check::row("expected_percent", &self.expected_percent, self.columns.len(), "column")
    }

    fn paint(&self, canvas: &mut Canvas<'_>) {
        let header = Header { title: &self.title, verdict: None, reasons: &[], subtitle: &self.subtitle };
        let below = header.draw(canvas);
        let xs: Vec<f64> = self.stroke.iter().map(|&s| s as f64).collect();
        let values = self.columns.iter().flat_map(|c| &c.values).chain(&self.expected_percent);
        let panel = Panel {
            left: 72.0,
            top: below + 28.0,
            right: canvas.width - 150.0,
            bottom: canvas.height - 58.0,
            x: Range::of(xs.iter().copied(), 0.01),
            y: Range::of(values.copied(), 0.08),
        };
        panel.grid(canvas, Counts::Strokes);
        panel.y_title(canvas, "Share of the total, %");
        panel.x_axis(canvas, Counts::Strokes, "Stroke");
        for &stroke in &self.coil_changes {
            let x = panel.px(stroke as f64);
            if (panel.left..=panel.right).contains(&x) {
                let at: [Point; 2] = [(x, panel.bottom - 7.0), (x, panel.bottom)];
                canvas.path(&at, Stroke::new(theme::AXIS, theme::THIN));
            }
        }
        let mut ends = Vec::new();
        for (i, column) in self.columns.iter().enumerate() {
            let colour = theme::column(i, self.columns.len());
            series::paint(canvas, &panel, &xs, &column.values, colour);
            if let Some(&level) = self.expected_percent.get(i) {
                let y = panel.py(level);
                let stroke = Stroke::new(theme::INK, theme::HAIR);
                canvas.dashed((panel.left, y), (panel.right, y), stroke);
            }
            let level = series::end_level(&column.values);
            let words = format!("{} {} %", column.name, ticks::readable(level));
            ends.push(EndLabel::new(words, panel.py(level), colour).bold());
        }
        if !self.expected_percent.is_empty() {
            ends.push(EndLabel::new("dashed: learnt", panel.top, theme::SOFT_INK).remark());
        }
        if !self.coil_changes.is_empty() {
            ends.push(EndLabel::new("ticks: new coil", panel.bottom, theme::SOFT_INK).remark());
        }
        paint_ends(canvas, &panel, &ends);
    }
}

impl Figure for Shares {
    fn draw(&self, size: Size) -> Result<String, FigureError> {
        self.check()?;
        render(size, &self.title, |canvas| self.paint(canvas))
    }

    fn table(&self) -> Table {
        let mut out = Table::new(["stroke".to_owned()]);
        let names = self.columns.iter().map(|c| format!("{}_percent", table::key(&c.name)));
        out.header.extend(names);
        for (i, &stroke) in self.stroke.iter().enumerate() {
            let mut row = vec![Cell::Number(stroke as f64)];
            row.extend(self.columns.iter().map(|c| Cell::from(c.values.get(i).copied())));
            out.rows.push(row);
        }
        out
    }
}
