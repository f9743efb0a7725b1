//! Two die cards over the same strokes: how much of their limits the strokes used, verdicts, reasons.

use super::canvas::{Canvas, Letter, Stroke, render};
use super::header::Header;
use super::labels::{EndLabel, paint_ends};
use super::panel::{Counts, Panel, Range};
use super::{Cell, Figure, FigureError, Size, Table, Verdict, check, series, table, text, theme, ticks};

/// Two die cards over the same strokes. Pairs are the card in use, then the other.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct WhatIf {
    /// What is shown.
    pub title: String,
    /// Press, recording.
    pub subtitle: String,
    /// The two cards.
    pub names: [String; 2],
    /// Stroke numbers, not falling.
    pub stroke: Vec<u64>,
    /// Greatest share of any limit used, one a stroke.
    pub used: [Vec<f64>; 2],
    /// Verdicts, one a stroke.
    pub verdicts: [Vec<Verdict>; 2],
    /// Reasons with the strokes that have them.
    pub reasons: Vec<(String, [u64; 2])>,
}

const LEFT: f64 = 150.0;
const RIGHT: f64 = 150.0;
const ROW: f64 = 19.0;
const REASON: f64 = 34.0;
const ROWS: [Verdict; 3] = [Verdict::Trip, Verdict::Hold, Verdict::Note];
/// Shares beyond this are cut off: what matters lies near the limit.
const MOST: f64 = 2.5;

impl WhatIf {
    /// The size this many reasons need.
    #[must_use]
    pub fn size(&self) -> Size {
        let high = 576.0 + REASON * self.reasons.len() as f64;
        Size::new(Size::NORMAL.width, (high as u32).clamp(Size::LEAST.height, Size::MOST))
    }

    fn check(&self) -> Result<(), FigureError> {
        check::strokes(&self.stroke)?;
        for (used, verdicts) in self.used.iter().zip(&self.verdicts) {
            check::row("used", used, self.stroke.len(), "stroke")?;
            check::length("verdicts", verdicts.len(), self.stroke.len(), "stroke")?;
        }
        Ok(())
    }

    fn paint(&self, canvas: &mut Canvas<'_>) {
        let header = Header { title: &self.title, verdict: None, reasons: &[], subtitle: &self.subtitle };
        let below = header.draw(canvas);
        let small = Letter::new(theme::AXIS_PX, theme::SOFT_INK);
        for (n, name) in self.names.iter().enumerate() {
            let name = text::fit(name, small.px, false, canvas.width - 2.0 * theme::MARGIN - 40.0);
            let y = below + 10.0 + 19.0 * n as f64;
            canvas.line(
                (theme::MARGIN, y - 4.0),
                (theme::MARGIN + 26.0, y - 4.0),
                Stroke::new(colour(n), theme::STRONG),
            );
            canvas.text(&name, (theme::MARGIN + 36.0, y), small);
        }
        let xs: Vec<f64> = self.stroke.iter().map(|&s| s as f64).collect();
        let x = Range::of(xs.iter().copied(), 0.01);
        let reasons = REASON * self.reasons.len() as f64;
        let strips = ROW * ROWS.len() as f64 + 16.0;
        let foot = if self.reasons.is_empty() { 20.0 } else { 44.0 + reasons };
        let strip_bottom = canvas.height - foot - 58.0;
        let top = below + 66.0;
        let panel = Panel {
            left: LEFT,
            top,
            right: canvas.width - RIGHT,
            bottom: (strip_bottom - 2.0 * strips - 14.0).max(top + 40.0),
            x,
            y: self.range(),
        };
        self.paint_used(canvas, &panel, &xs);
        let mut strip = panel;
        for (n, verdicts) in self.verdicts.iter().enumerate() {
            strip = Panel {
                top: strip.bottom + 14.0,
                bottom: strip.bottom + 14.0 + ROW * ROWS.len() as f64,
                ..panel
            };
            paint_verdicts(canvas, &strip, &xs, verdicts, ["now", "other"].get(n).copied().unwrap_or(""));
        }
        strip.x_axis(canvas, Counts::Strokes, "Stroke");
        self.paint_reasons(canvas, strip.bottom + 92.0);
    }

    fn range(&self) -> Range {
        let values = self.used.iter().flatten().map(|used| 100.0 * used.min(MOST));
        Range::with_zero(values.chain([105.0]), 0.04)
    }

    fn paint_used(&self, canvas: &mut Canvas<'_>, panel: &Panel, xs: &[f64]) {
        panel.grid(canvas, Counts::Strokes);
        panel.y_title(canvas, "Greatest share of any limit used, per cent");
        let mut ends = Vec::new();
        for (n, used) in self.used.iter().enumerate() {
            let ys: Vec<f64> = used.iter().map(|used| 100.0 * used.min(MOST)).collect();
            series::paint(canvas, panel, xs, &ys, colour(n));
            let name = ["now", "other"].get(n).copied().unwrap_or("");
            ends.push(EndLabel::new(name, panel.py(series::end_level(&ys)), colour(n)).bold());
        }
        panel.limit(canvas, 100.0);
        ends.push(EndLabel::new("limit", panel.py(100.0), theme::LIMIT));
        paint_ends(canvas, panel, &ends);
    }

    /// Two bars a reason, side by side, with the numbers of strokes.
    fn paint_reasons(&self, canvas: &mut Canvas<'_>, top: f64) {
        if self.reasons.is_empty() {
            return;
        }
        let bold = Letter::new(theme::AXIS_PX, theme::INK).bold();
        canvas.text("Strokes by reason", (theme::MARGIN, top - 14.0), bold);
        let letter = Letter::new(theme::AXIS_PX, theme::INK);
        let small = Letter::new(theme::TICK_PX, theme::SOFT_INK);
        let left = 290.0;
        let room = canvas.width - RIGHT - left;
        let most = self.reasons.iter().flat_map(|(_, counts)| counts).copied().max().unwrap_or(1).max(1);
        for (n, (reason, counts)) in self.reasons.iter().enumerate() {
            let y = top + REASON * n as f64;
            let name = text::fit(reason, letter.px, false, left - theme::MARGIN - 12.0);
            canvas.text(&name, (theme::MARGIN, y + 15.0 + letter.drop()), letter);
            for (k, count) in counts.iter().enumerate() {
                let (from, high) = (y + 1.0 + 14.0 * k as f64, 12.0);
                let wide = room * *count as f64 / most as f64;
                canvas.rect((left, from), (left + wide, from + high), colour(k), 0.85);
                let count = ticks::grouped(*count as f64, 0);
                canvas.text(&count, (left + wide + 8.0, from + high / 2.0 + small.drop()), small);
            }
        }
    }
}

fn colour(card: usize) -> plotters::style::RGBColor {
    if card == 0 { theme::INK } else { theme::ORANGE }
}

fn paint_verdicts(canvas: &mut Canvas<'_>, strip: &Panel, xs: &[f64], verdicts: &[Verdict], name: &str) {
    let small = Letter::new(theme::TICK_PX, theme::SOFT_INK);
    for (i, verdict) in ROWS.into_iter().enumerate() {
        let y = strip.top + ROW * (i as f64 + 0.5);
        canvas.line((strip.left, y), (strip.right, y), Stroke::new(theme::GRID, theme::HAIR));
        let words = format!("{name}: {}", verdict.word());
        canvas.text(&words, (strip.left - 12.0, y + small.drop()), small.right());
        let (mut last, mut count) = (f64::NEG_INFINITY, 0_u64);
        for (&x, _) in xs.iter().zip(verdicts).filter(|(_, v)| **v == verdict) {
            count += 1;
            let at = strip.px(x);
            if at - last >= 9.0 {
                canvas.mark((at, y), 5.5, verdict);
                last = at;
            }
        }
        let print = format!("{} of {}", ticks::grouped(count as f64, 0), ticks::grouped(xs.len() as f64, 0));
        canvas.text(&print, (strip.right + 18.0, y + small.drop()), small);
    }
}

impl Figure for WhatIf {
    fn draw(&self, size: Size) -> Result<String, FigureError> {
        self.check()?;
        render(size, &self.title, |canvas| self.paint(canvas))
    }

    fn table(&self) -> Table {
        let names = ["now", "other"].map(table::key);
        let used = names.iter().map(|name| format!("{name}_used_percent"));
        let verdicts = names.iter().map(|name| format!("{name}_verdict"));
        let mut out = Table::new(std::iter::once("stroke".to_owned()).chain(used).chain(verdicts));
        for (n, stroke) in self.stroke.iter().enumerate() {
            let mut row = vec![Cell::Number(*stroke as f64)];
            row.extend(self.used.iter().map(|used| Cell::from(used.get(n).map(|used| 100.0 * used))));
            let word = |all: &Vec<Verdict>| all.get(n).map_or(Cell::Empty, |verdict| verdict.word().into());
            row.extend(self.verdicts.iter().map(word));
            out.rows.push(row);
        }
        out
    }
}
