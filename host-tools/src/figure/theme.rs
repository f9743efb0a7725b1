//! One place for every colour, size and weight.
//!
//! Columns take colours of the Okabe–Ito palette (safe for colour-blind people), the total is
//! black; verdict lamps follow the meanings of IEC 60073.

use plotters::style::RGBColor;

/// The font family the pictures name; the program carries it for the PNG.
pub const FONT_FAMILY: &str = "Noto Sans, sans-serif";

pub(super) const PAPER: RGBColor = RGBColor(255, 255, 255);
pub(super) const INK: RGBColor = RGBColor(0, 0, 0);
/// Axis numbers and small print.
pub(super) const SOFT_INK: RGBColor = RGBColor(70, 70, 70);
pub(super) const GRID: RGBColor = RGBColor(228, 228, 228);
pub(super) const AXIS: RGBColor = RGBColor(120, 120, 120);
pub(super) const LIMIT: RGBColor = RGBColor(70, 70, 70);
/// A learnt mean, an expected value: present, but behind the data.
pub(super) const MEAN: RGBColor = RGBColor(125, 125, 125);
/// Ground of the places a verdict points at.
pub(super) const OFFENCE: RGBColor = RGBColor(213, 94, 0);

pub(super) const LAMP_GREEN: RGBColor = RGBColor(0, 140, 80);
pub(super) const LAMP_YELLOW: RGBColor = RGBColor(240, 200, 0);
pub(super) const LAMP_BLUE: RGBColor = RGBColor(0, 90, 190);
pub(super) const LAMP_RED: RGBColor = RGBColor(205, 25, 35);

/// Okabe–Ito hues in the order columns take them: blue, vermilion, bluish green, reddish purple.
const COLUMNS: [RGBColor; 4] =
    [RGBColor(0, 114, 178), RGBColor(213, 94, 0), RGBColor(0, 158, 115), RGBColor(204, 121, 167)];

/// Filling without a meaning of its own.
pub(super) const SKY: RGBColor = RGBColor(86, 180, 233);
pub(super) const ORANGE: RGBColor = RGBColor(230, 159, 0);

pub(super) const TITLE_PX: f64 = 20.0;
pub(super) const SUBTITLE_PX: f64 = 14.0;
pub(super) const LABEL_PX: f64 = 14.0;
pub(super) const AXIS_PX: f64 = 13.0;
pub(super) const TICK_PX: f64 = 12.0;

pub(super) const HAIR: f64 = 0.8;
pub(super) const THIN: f64 = 1.2;
pub(super) const STRONG: f64 = 2.0;

/// Space round the picture, px.
pub(super) const MARGIN: f64 = 18.0;

/// The colour of column `index` of `count` columns; a press with one column shows its total in
/// black.
pub(super) fn column(index: usize, count: usize) -> RGBColor {
    if count <= 1 {
        return INK;
    }
    COLUMNS.get(index % COLUMNS.len()).copied().unwrap_or(INK)
}

/// The colour of column `index` of `count` as red, green and blue, for whoever draws beside
/// these pictures.
#[must_use]
pub fn column_rgb(index: usize, count: usize) -> [u8; 3] {
    let RGBColor(r, g, b) = column(index, count);
    [r, g, b]
}

/// A hue dark enough to read as text on white: a third of black mixed in.
pub(super) fn readable(RGBColor(r, g, b): RGBColor) -> RGBColor {
    let darken = |v: u8| u8::try_from(u16::from(v) * 7 / 10).unwrap_or(v);
    RGBColor(darken(r), darken(g), darken(b))
}
