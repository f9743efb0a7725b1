//! Amplitude over frequency of each column's free vibration, with its ringing named.

use super::canvas::{Canvas, Letter, Stroke, render};
use super::header::Header;
use super::panel::{Counts, Panel, Range};
use super::{Cell, Figure, FigureError, LoadUnit, Size, Table, check, table, text, theme, thin, ticks};

/// A peak of a spectrum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpectrumPeak {
    /// Frequency, Hz.
    pub hz: f64,
    /// Damping ratio (1 is critical), where it was measured.
    pub damping: Option<f64>,
}

/// The spectrum of one column.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SpectrumColumn {
    /// The column's name.
    pub name: String,
    /// Amplitude, kN, one for each frequency.
    pub amplitude_kn: Vec<f64>,
    /// Its peaks, the greatest first.
    pub peaks: Vec<SpectrumPeak>,
}

/// Spectra of the columns, one panel each.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Spectrum {
    /// What is shown.
    pub title: String,
    /// Press, die, strokes.
    pub subtitle: String,
    /// Unit printed.
    pub unit: LoadUnit,
    /// Frequencies, Hz, rising.
    pub hz: Vec<f64>,
    /// One to eight columns.
    pub columns: Vec<SpectrumColumn>,
}

const RIGHT: f64 = 190.0;

impl Spectrum {
    fn check(&self) -> Result<(), FigureError> {
        check::some("hz", self.hz.len(), 2)?;
        check::sane("hz", self.hz.iter().copied())?;
        check::some("columns", self.columns.len(), 1)?;
        let value = |what: &str, why| FigureError::Value { what: what.to_owned(), why };
        if self.columns.len() > 8 {
            return Err(value("columns", "more than eight panels cannot be read"));
        }
        if !self.hz.is_sorted_by(|a, b| a < b) {
            return Err(value("hz", "frequencies must rise"));
        }
        for c in &self.columns {
            let what = format!("amplitude of {}", c.name);
            check::row(&what, &c.amplitude_kn, self.hz.len(), "hz")?;
            let peaks = c.peaks.iter().flat_map(|p| [Some(p.hz), p.damping]).flatten();
            check::sane(&format!("peaks of {}", c.name), peaks)?;
        }
        Ok(())
    }

    fn paint(&self, canvas: &mut Canvas<'_>) {
        let header = Header { title: &self.title, verdict: None, reasons: &[], subtitle: &self.subtitle };
        let top = header.draw(canvas) + 28.0;
        let gap = 14.0;
        let count = self.columns.len();
        let room = canvas.height - 58.0 - top - gap * (count as f64 - 1.0);
        let height = room / count as f64;
        let all = self.columns.iter().flat_map(|c| &c.amplitude_kn);
        let y = Range::with_zero(all.map(|&v| self.unit.of_kn(v)), 0.12);
        let x = Range::of(self.hz.iter().copied(), 0.0);
        let mut panel = Panel { left: 72.0, top, right: canvas.width - RIGHT, bottom: top + height, x, y };
        panel.y_title(canvas, &format!("Amplitude, {}", self.unit.symbol()));
        for (i, column) in self.columns.iter().enumerate() {
            panel.grid(canvas, Counts::Numbers);
            let colour = theme::column(i, count);
            let ys = self.unit.all_of_kn(&column.amplitude_kn);
            let curve = &thin(&self.hz, &ys, panel.columns());
            panel.curve(canvas, curve, Stroke::new(colour, 1.6));
            self.paint_peaks(canvas, &panel, column, &ys, colour);
            if i + 1 == count {
                panel.x_axis(canvas, Counts::Numbers, "Frequency, Hz");
            }
            panel.top += height + gap;
            panel.bottom += height + gap;
        }
    }

    fn paint_peaks(
        &self,
        canvas: &mut Canvas<'_>,
        panel: &Panel,
        column: &SpectrumColumn,
        ys: &[f64],
        colour: plotters::style::RGBColor,
    ) {
        let name = Letter::new(theme::LABEL_PX, theme::readable(colour)).bold();
        let small = Letter::new(theme::TICK_PX, theme::SOFT_INK);
        let x = panel.right + 16.0;
        let room = canvas.width - theme::MARGIN - x;
        let mut lines = vec![(text::fit(&column.name, name.px, true, room), name)];
        for peak in column.peaks.iter().filter(|p| panel.x.has(p.hz)) {
            let nearest = self.hz.partition_point(|&f| f < peak.hz).min(ys.len().saturating_sub(1));
            let neighbours = nearest.saturating_sub(1)..(nearest + 2).min(ys.len());
            let level = ys.get(neighbours).unwrap_or_default().iter().copied().fold(0.0, f64::max);
            let at = panel.at((peak.hz, level));
            canvas.line((at.0, at.1 - 4.0), (at.0, at.1 - 12.0), Stroke::new(theme::INK, 1.0));
            let tip = [(at.0 - 3.5, at.1 - 8.0), (at.0 + 3.5, at.1 - 8.0), (at.0, at.1 - 2.0)];
            canvas.polygon(&tip, theme::INK, 1.0);
            let damping =
                peak.damping.map_or(String::new(), |d| format!(", damping {} %", ticks::readable(100.0 * d)));
            let words = format!("{} Hz{damping}", ticks::readable(peak.hz));
            lines.push((text::fit(&words, small.px, false, room), small));
        }
        let pitch = 17.0;
        lines.truncate(((panel.height() + 6.0) / pitch).floor().max(1.0) as usize);
        let middle = (panel.top + panel.bottom) / 2.0;
        let start = middle - (lines.len() as f64 - 1.0) / 2.0 * pitch;
        for (i, (line, letter)) in lines.iter().enumerate() {
            canvas.text(line, (x, start + i as f64 * pitch + letter.drop()), *letter);
        }
    }
}

impl Figure for Spectrum {
    fn draw(&self, size: Size) -> Result<String, FigureError> {
        self.check()?;
        render(size, &self.title, |canvas| self.paint(canvas))
    }

    fn table(&self) -> Table {
        let unit = self.unit.suffix();
        let mut out = Table::new(["hz".to_owned()]);
        let names = self.columns.iter().map(|c| format!("{}_{unit}", table::key(&c.name)));
        out.header.extend(names);
        for (i, &hz) in self.hz.iter().enumerate() {
            let value = |c: &SpectrumColumn| Cell::from(c.amplitude_kn.get(i).map(|&v| self.unit.of_kn(v)));
            let mut row = vec![Cell::Number(hz)];
            row.extend(self.columns.iter().map(value));
            out.rows.push(row);
        }
        out
    }
}
