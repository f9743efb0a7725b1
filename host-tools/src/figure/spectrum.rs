//! How a frame rings: amplitude over frequency of each column's free vibration with its ringing named, the decay beside
//! it, and what moved over the strokes.

mod decay;

use super::canvas::{Canvas, Letter, Stroke, render};
use super::header::Header;
use super::panel::{Counts, Panel, Range};
use super::{Cell, Figure, FigureError, LoadUnit, Size, Table, check, table, text, theme, thin, ticks};

pub use decay::{Decay, Moved};

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
    /// Said where there are none; may be empty.
    pub note: String,
    /// The vibration over time, where it is shown.
    pub decay: Option<Decay>,
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
    /// What moved over the strokes: side by side under the columns; may be empty.
    pub moved: Vec<Moved>,
}

const RIGHT: f64 = 190.0;
/// Share of the width between the margins that the spectrum takes where a decay stands beside it.
const SPECTRUM_SHARE: f64 = 0.56;
const GAP: f64 = 14.0;
/// Height of the row of what moved, with its titles, px.
const MOVED: f64 = 210.0;

impl Spectrum {
    /// The size this many columns need.
    #[must_use]
    pub fn size(&self) -> Size {
        let moved = if self.moved.is_empty() { 0 } else { MOVED as u32 };
        let columns = 130 * self.columns.len() as u32 + 150;
        Size::new(Size::NORMAL.width, (columns + moved).clamp(Size::LEAST.height, Size::MOST))
    }

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
            if let Some(decay) = &c.decay {
                decay.check(&c.name)?;
            }
        }
        self.moved.iter().try_for_each(Moved::check)
    }

    fn paint(&self, canvas: &mut Canvas<'_>) {
        let header = Header { title: &self.title, verdict: None, reasons: &[], subtitle: &self.subtitle };
        let top = header.draw(canvas) + 28.0;
        let count = self.columns.len();
        let below = if self.moved.is_empty() { 0.0 } else { MOVED };
        let room = canvas.height - 58.0 - below - top - GAP * (count as f64 - 1.0);
        let height = room / count as f64;
        let all = self.columns.iter().flat_map(|c| &c.amplitude_kn);
        let y = Range::with_zero(all.map(|&v| self.unit.of_kn(v)), 0.12);
        let x = Range::of(self.hz.iter().copied(), 0.0);
        let right = canvas.width - RIGHT;
        let decays = || self.columns.iter().filter_map(|c| c.decay.as_ref());
        let middle = if decays().next().is_some() { 72.0 + SPECTRUM_SHARE * (right - 72.0) } else { right };
        let mut panel = Panel { left: 72.0, top, right: middle, bottom: top + height, x, y };
        let mut beside = Panel { left: middle + 62.0, right, ..panel };
        panel.y_title(canvas, &format!("Amplitude, {}", self.unit.symbol()));
        if decays().next().is_some() {
            let title = format!("Load about its level, {}", self.unit.symbol());
            let letter = Letter::new(theme::AXIS_PX, theme::INK);
            let title = text::fit(&title, letter.px, false, right - beside.left);
            canvas.text(&title, (beside.left - 40.0, top - 10.0), letter);
        }
        for (i, column) in self.columns.iter().enumerate() {
            panel.grid(canvas, Counts::Numbers);
            let colour = self.colour(i);
            let ys = self.unit.all_of_kn(&column.amplitude_kn);
            let curve = &thin(&self.hz, &ys, panel.columns());
            panel.curve(canvas, curve, Stroke::new(colour, 1.6));
            self.paint_peaks(canvas, &panel, column, &ys, colour);
            if i + 1 == count {
                panel.x_axis(canvas, Counts::Numbers, "Frequency, Hz");
            }
            let last_decay = self.columns.iter().skip(i + 1).all(|column| column.decay.is_none());
            if let Some(decay) = &column.decay {
                decay.paint(canvas, &beside, self.unit, colour, last_decay);
            }
            for panel in [&mut panel, &mut beside] {
                panel.top += height + GAP;
                panel.bottom += height + GAP;
            }
        }
        let names: Vec<&str> = self.columns.iter().map(|column| column.name.as_str()).collect();
        decay::paint_moved(canvas, &self.moved, &names, |column| self.colour(column));
    }

    /// A total beside columns is black, as everywhere.
    fn colour(&self, column: usize) -> plotters::style::RGBColor {
        let total = self.columns.get(column).is_some_and(|column| column.name == "total");
        if total { theme::INK } else { theme::column(column, self.columns.len()) }
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
        let x = canvas.width - RIGHT + 16.0;
        let room = canvas.width - theme::MARGIN - x;
        let mut lines = vec![(text::fit(&column.name, name.px, true, room), name)];
        if !column.note.is_empty() {
            lines.push((text::fit(&column.note, small.px, false, room), small));
        }
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
