//! What each limit of a die would have done to recorded strokes: how much of it they used, a row a limit.

use super::canvas::{Canvas, Letter, Point, Stroke, render};
use super::header::Header;
use super::panel::{Counts, Panel, Range};
use super::{Cell, Figure, FigureError, Size, Table, Verdict, check, text, theme, ticks};

/// One limit of the die.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ReviewLimit {
    /// Its code.
    pub name: String,
    /// What it limits, in words.
    pub says: String,
    /// Strokes within it, in even steps of the share used from none to all of it.
    pub within: Vec<u64>,
    /// Greatest share used by a stroke within it, if it can be told.
    pub closest: Option<f64>,
    /// Share used, 1 or more, by each stroke beyond it, and what the judge did with the stroke.
    pub beyond: Vec<(f64, Verdict)>,
    /// Strokes stopped for it.
    pub stopped: u64,
    /// Strokes beyond it that were let pass.
    pub let_pass: u64,
}

/// What the limits of a die would have done.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Review {
    /// What is shown.
    pub title: String,
    /// Press, die, recordings.
    pub subtitle: String,
    /// The limits.
    pub limits: Vec<ReviewLimit>,
}

const LEFT: f64 = 306.0;
const RIGHT: f64 = 210.0;
/// Height of a row, px.
const ROW: f64 = 44.0;
/// Share at the right end; what used more is drawn there.
const MOST: f64 = 2.0;

impl Review {
    /// The size these limits need.
    #[must_use]
    pub fn size(&self) -> Size {
        let high = 176.0 + ROW * self.limits.len() as f64;
        Size::new(Size::NORMAL.width, (high as u32).clamp(Size::LEAST.height, Size::MOST))
    }

    fn check(&self) -> Result<(), FigureError> {
        check::some("limits", self.limits.len(), 1)?;
        for limit in &self.limits {
            check::sane(&format!("closest of {}", limit.name), limit.closest)?;
            check::sane(&format!("beyond {}", limit.name), limit.beyond.iter().map(|b| b.0))?;
        }
        Ok(())
    }

    fn paint(&self, canvas: &mut Canvas<'_>) {
        let header = Header { title: &self.title, verdict: None, reasons: &[], subtitle: &self.subtitle };
        let top = header.draw(canvas) + 22.0;
        let bottom = canvas.height - 62.0;
        let row = ((bottom - top) / self.limits.len().max(1) as f64).min(2.0 * ROW);
        let whole = Panel {
            left: LEFT,
            top,
            right: canvas.width - RIGHT,
            bottom: top + row * self.limits.len() as f64,
            x: Range { from: 0.0, to: 100.0 * MOST },
            y: Range { from: 0.0, to: 1.0 },
        };
        let small = Letter::new(theme::TICK_PX, theme::SOFT_INK);
        for n in 0..=8 {
            let x = whole.px(25.0 * f64::from(n));
            canvas.line((x, whole.top), (x, whole.bottom), Stroke::new(theme::GRID, theme::HAIR));
        }
        let limit_x = whole.px(100.0);
        for (n, limit) in self.limits.iter().enumerate() {
            let panel = Panel {
                top: top + row * n as f64 + 5.0,
                bottom: top + row * (n as f64 + 1.0) - 5.0,
                ..whole
            };
            limit.paint(canvas, &panel);
        }
        canvas.dashed(
            (limit_x, whole.top - 4.0),
            (limit_x, whole.bottom),
            Stroke::new(theme::LIMIT, theme::STRONG),
        );
        canvas.text("the limit", (limit_x, whole.top - 9.0), small.middle());
        canvas.text("limit of the die", (theme::MARGIN, whole.top - 9.0), small);
        whole.x_axis(
            canvas,
            Counts::Numbers,
            "Share of the limit used, per cent. Bars: strokes within it. Marks: strokes beyond it, at the right end 200 or more",
        );
    }
}

impl ReviewLimit {
    fn paint(&self, canvas: &mut Canvas<'_>, panel: &Panel) {
        let hair = Stroke::new(theme::AXIS, theme::HAIR);
        canvas.line((panel.left, panel.bottom), (panel.right, panel.bottom), hair);
        // Roots, so that one stroke beside a thousand is still seen.
        let most = self.within.iter().copied().max().unwrap_or(0).max(1) as f64;
        let steps = self.within.len().max(1) as f64;
        for (n, count) in self.within.iter().enumerate().filter(|(_, count)| **count > 0) {
            let high = (*count as f64 / most).sqrt().max(0.08) * panel.height();
            let x = |n: f64| panel.px(100.0 * n / steps);
            let from = (x(n as f64) + 0.5, panel.bottom - high);
            canvas.rect(from, (x(n as f64 + 1.0) - 0.5, panel.bottom), theme::SKY, 0.9);
        }
        let middle = (panel.top + panel.bottom) / 2.0;
        let mut last = f64::NEG_INFINITY;
        let mut beyond: Vec<(f64, Verdict)> = self.beyond.clone();
        beyond.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (used, verdict) in beyond {
            // At the limit a mark would cover its line.
            let x = panel.px(100.0 * used.clamp(1.0, MOST)).max(panel.px(100.0) + 8.0);
            let x = x.min(panel.right);
            if x - last >= 7.0 {
                canvas.mark((x, middle), 5.5, verdict);
                last = x;
            }
        }
        let name = Letter::new(theme::AXIS_PX, theme::INK).bold();
        let small = Letter::new(theme::TICK_PX, theme::SOFT_INK);
        let room = panel.left - theme::MARGIN - 12.0;
        canvas.text(&text::fit(&self.name, name.px, true, room), (theme::MARGIN, middle - 2.0), name);
        canvas.text(&text::fit(&self.says, small.px, false, room), (theme::MARGIN, middle + 13.0), small);
        let count = |n: u64| ticks::grouped(n as f64, 0);
        let mut line = format!("{} stopped", count(self.stopped));
        if self.let_pass > 0 {
            line += &format!(", {} let pass", count(self.let_pass));
        }
        let at: Point = (panel.right + 16.0, middle - 2.0);
        canvas.text(&line, at, if self.stopped > 0 { name } else { Letter { bold: false, ..name } });
        let rest = match self.closest {
            Some(closest) => format!("rest at most {:.1} %", (1000.0 * closest).floor() / 10.0),
            None => "margin cannot be told".to_owned(),
        };
        let rest = text::fit(&rest, small.px, false, RIGHT - 16.0 - theme::MARGIN / 2.0);
        canvas.text(&rest, (at.0, middle + 13.0), small);
    }
}

impl Figure for Review {
    fn draw(&self, size: Size) -> Result<String, FigureError> {
        self.check()?;
        render(size, &self.title, |canvas| self.paint(canvas))
    }

    fn table(&self) -> Table {
        let header = ["limit", "stopped", "let_pass", "closest_percent", "beyond_percent"];
        let mut out = Table::new(header.map(str::to_owned));
        for limit in &self.limits {
            let counts = [limit.stopped as f64, limit.let_pass as f64].map(Cell::Number);
            let [stopped, let_pass] = counts;
            let closest = Cell::from(limit.closest.map(|used| 100.0 * used));
            let row = |beyond| {
                vec![limit.name.as_str().into(), stopped.clone(), let_pass.clone(), closest.clone(), beyond]
            };
            out.rows.push(row(Cell::Empty));
            out.rows.extend(limit.beyond.iter().map(|(used, _)| row(Cell::Number(100.0 * used))));
        }
        out
    }
}
