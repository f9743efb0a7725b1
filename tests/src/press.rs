//! Press cards of invented presses, made for a test.

use std::path::{Path, PathBuf};

/// What a test wants of a press.
#[derive(Debug, Clone, Copy)]
pub struct Card {
    /// 1, 2 or 4.
    pub columns: usize,
    /// Rated load, kN.
    pub rated_kn: f64,
    /// Height down to which the rating holds, mm.
    pub rated_height_mm: f64,
    /// Stroke, mm.
    pub stroke_mm: f64,
    /// Rod, mm.
    pub rod_mm: f64,
    /// Between gauge centres, mm.
    pub bolster_mm: [f64; 2],
}

impl Card {
    /// A press of 1000 kN with a stroke of 200 mm and a rod of 500 mm, rated at 6 mm.
    #[must_use]
    pub fn of(columns: usize) -> Self {
        Self {
            columns,
            rated_kn: 1000.0,
            rated_height_mm: 6.0,
            stroke_mm: 200.0,
            rod_mm: 500.0,
            bolster_mm: [1200.0, 800.0],
        }
    }

    /// The card's text.
    #[must_use]
    pub fn text(&self) -> String {
        let Self { columns, rated_kn, rated_height_mm, stroke_mm, rod_mm, bolster_mm: [a, b] } = self;
        format!(
            "# Invented.\n[press]\nname = \"T{columns}\"\ncolumns = {columns}\nrated_kn = {rated_kn:?}\n\
             rated_height_mm = {rated_height_mm:?}\nstroke_mm = {stroke_mm:?}\nrod_mm = {rod_mm:?}\n\
             speed_spm = [30.0, 60.0]\nbolster_mm = [{a:?}, {b:?}]\n[limits]\nreverse_percent = 10.0\n\
             column_percent = 110.0\nimbalance_percent = 30.0\n"
        )
    }

    /// Writes the card into a folder.
    ///
    /// # Panics
    /// If it cannot be written.
    #[must_use]
    pub fn write(&self, folder: &Path) -> PathBuf {
        let path = folder.join(format!("press-{}.toml", self.columns));
        std::fs::write(&path, self.text()).unwrap();
        path
    }

    /// Slide height above the bottom of the stroke, mm, at degrees from the top: the textbook's own form, which
    /// shares nothing with the product's.
    #[must_use]
    pub fn height_mm(&self, degrees: f64) -> f64 {
        let (r, l, angle) = (self.stroke_mm / 2.0, self.rod_mm, degrees.to_radians());
        r * (1.0 + angle.cos()) + l - (l * l - (r * angle.sin()).powi(2)).sqrt()
    }
}

/// Names of the gauge columns.
#[must_use]
pub fn gauges(columns: usize) -> &'static [&'static str] {
    match columns {
        1 => &["total"],
        2 => &["left", "right"],
        _ => &["lf", "rf", "lr", "rr"],
    }
}
