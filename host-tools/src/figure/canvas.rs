//! A thin layer over the SVG writer: tenths of a pixel, text that remembers where it stands.
//!
//! The writer takes whole numbers; at one unit a pixel, curves come out stepped. So it is given
//! a canvas ten times as large, and the document's outer size is set back afterwards, leaving the
//! `viewBox` to scale.

use plotters::backend::SVGBackend;
use plotters::coord::Shift;
use plotters::drawing::{DrawingArea, IntoDrawingArea};
use plotters::element::{Drawable, PathElement, PointCollection, Polygon, Rectangle, Text};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontDesc, FontFamily, FontStyle, IntoTextStyle, RGBColor, ShapeStyle};

use super::{FigureError, Size, Verdict, text, theme};

/// Units of the writer a pixel.
const FINE: f64 = 10.0;
/// The SVG writer divides a font's size by this before it prints it.
const WRITER_FONT_SCALE: f64 = 1.24;

/// A point in px, x to the right, y down.
pub(super) type Point = (f64, f64);

/// How a line is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stroke {
    pub(super) colour: RGBColor,
    pub(super) width: f64,
    pub(super) alpha: f64,
}

impl Stroke {
    pub(super) fn new(colour: RGBColor, width: f64) -> Self {
        Self { colour, width, alpha: 1.0 }
    }

    pub(super) fn faint(self, alpha: f64) -> Self {
        Self { alpha, ..self }
    }
}

/// Which point of a text is placed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Left,
    Middle,
    Right,
}

/// How a text is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Letter {
    pub(super) px: f64,
    pub(super) bold: bool,
    pub(super) colour: RGBColor,
    pub(super) anchor: Anchor,
}

impl Letter {
    pub(super) fn new(px: f64, colour: RGBColor) -> Self {
        Self { px, bold: false, colour, anchor: Anchor::Left }
    }

    pub(super) fn bold(self) -> Self {
        Self { bold: true, ..self }
    }

    pub(super) fn middle(self) -> Self {
        Self { anchor: Anchor::Middle, ..self }
    }

    pub(super) fn right(self) -> Self {
        Self { anchor: Anchor::Right, ..self }
    }

    pub(super) fn width(self, text: &str) -> f64 {
        text::width(text, self.px, self.bold)
    }

    /// From the middle of a line of text down to its baseline, px.
    pub(super) fn drop(self) -> f64 {
        self.px * text::CAP_HEIGHT / 2.0
    }
}

/// An upright rectangle in px.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
}

impl Place {
    fn meets(&self, other: &Place) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    fn grown(&self, by: f64) -> Place {
        Place { left: self.left - by, top: self.top - by, right: self.right + by, bottom: self.bottom + by }
    }
}

/// The picture while it is being drawn. The first fault of the writer is kept and returned at the
/// end, so that drawing code reads as drawing.
pub(super) struct Canvas<'a> {
    area: DrawingArea<SVGBackend<'a>, Shift>,
    pub(super) width: f64,
    pub(super) height: f64,
    taken: Vec<Place>,
    /// Plot areas with their axes' ranges, for whoever reads values off the picture.
    areas: Vec<String>,
    fault: Option<FigureError>,
}

/// Draws a picture of `size`; `name` becomes the document's title for screen readers.
pub(super) fn render(
    size: Size,
    name: &str,
    draw: impl FnOnce(&mut Canvas<'_>),
) -> Result<String, FigureError> {
    size.check()?;
    let (wide, high) = (fine(f64::from(size.width)), fine(f64::from(size.height)));
    let mut svg = String::new();
    let (fault, areas) = {
        let area =
            SVGBackend::with_string(&mut svg, (wide.unsigned_abs(), high.unsigned_abs())).into_drawing_area();
        let mut canvas = Canvas {
            area,
            width: f64::from(size.width),
            height: f64::from(size.height),
            taken: Vec::new(),
            areas: Vec::new(),
            fault: None,
        };
        let paper = (canvas.width, canvas.height);
        canvas.rect((0.0, 0.0), paper, theme::PAPER, 1.0);
        draw(&mut canvas);
        let presented = canvas.area.present();
        let fault = canvas.fault.or_else(|| presented.err().map(|e| FigureError::Drawing(e.to_string())));
        (fault, canvas.areas.join(" "))
    };
    if let Some(fault) = fault {
        return Err(fault);
    }
    let inner = format!("<svg width=\"{wide}\" height=\"{high}\"");
    let mut outer = format!("<svg width=\"{}\" height=\"{}\"", size.width, size.height);
    if !areas.is_empty() {
        outer += &format!(" data-areas=\"{areas}\"");
    }
    let Some(rest) = svg.strip_prefix(&inner) else {
        return Err(FigureError::Drawing("the SVG does not begin as expected".to_owned()));
    };
    let (head, body) = rest.split_once('\n').unwrap_or((rest, ""));
    Ok(format!("{outer}{head}\n<title>{}</title>\n{body}", escape(&text::clean(name))))
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

fn fine(px: f64) -> i32 {
    // `as` saturates: a point far outside stays far outside.
    (px * FINE).round() as i32
}

fn fine_point((x, y): Point) -> (i32, i32) {
    (fine(x), fine(y))
}

fn solid(colour: RGBColor, alpha: f64) -> ShapeStyle {
    colour.mix(alpha).filled()
}

fn line_style(stroke: Stroke) -> ShapeStyle {
    stroke.colour.mix(stroke.alpha).stroke_width(fine(stroke.width).unsigned_abs())
}

impl<'a> Canvas<'a> {
    fn draw<E>(&mut self, element: &E)
    where
        for<'b> &'b E: PointCollection<'b, (i32, i32)>,
        E: Drawable<SVGBackend<'a>>,
    {
        if let Err(e) = self.area.draw(element) {
            self.fault.get_or_insert(FigureError::Drawing(e.to_string()));
        }
    }

    pub(super) fn rect(&mut self, from: Point, to: Point, colour: RGBColor, alpha: f64) {
        self.draw(&Rectangle::new([fine_point(from), fine_point(to)], solid(colour, alpha)));
    }

    pub(super) fn frame(&mut self, from: Point, to: Point, stroke: Stroke) {
        let (a, b) = (from, to);
        self.path(&[a, (b.0, a.1), b, (a.0, b.1), a], stroke);
    }

    pub(super) fn line(&mut self, from: Point, to: Point, stroke: Stroke) {
        self.path(&[from, to], stroke);
    }

    pub(super) fn path(&mut self, points: &[Point], stroke: Stroke) {
        let points: Vec<(i32, i32)> = points.iter().copied().map(fine_point).collect();
        if points.len() > 1 {
            self.draw(&PathElement::new(points, line_style(stroke)));
        }
    }

    /// A straight line in dashes of 6 px with gaps of 4 px.
    pub(super) fn dashed(&mut self, from: Point, to: Point, stroke: Stroke) {
        self.broken(from, to, stroke, 6.0, 4.0);
    }

    /// A polyline in dashes of 7 px with gaps of 4 px that run on round its corners.
    pub(super) fn dashed_path(&mut self, points: &[Point], stroke: Stroke) {
        let (on, period) = (7.0, 11.0);
        let mut phase = 0.0;
        for pair in points.windows(2) {
            let [a, b] = pair else { continue };
            let (dx, dy) = (b.0 - a.0, b.1 - a.1);
            let length = dx.hypot(dy).min(20_000.0);
            let mut at = 0.0;
            while at < length {
                let left = if phase < on { on - phase } else { period - phase };
                let end = (at + left).min(length);
                if phase < on {
                    let point = |d: f64| (a.0 + dx * d / length, a.1 + dy * d / length);
                    self.line(point(at), point(end), stroke);
                }
                phase = (phase + end - at + 1e-9) % period;
                at = end + 1e-9;
            }
        }
    }

    /// A straight line in dashes of `on` px with gaps of `off` px.
    pub(super) fn broken(&mut self, from: Point, to: Point, stroke: Stroke, on: f64, off: f64) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = dx.hypot(dy).min(20_000.0);
        let mut at = 0.0;
        while at < length {
            let end = (at + on).min(length);
            let point = |d: f64| (from.0 + dx * d / length, from.1 + dy * d / length);
            self.line(point(at), point(end), stroke);
            at += on + off;
        }
    }

    pub(super) fn polygon(&mut self, points: &[Point], colour: RGBColor, alpha: f64) {
        let points: Vec<(i32, i32)> = points.iter().copied().map(fine_point).collect();
        if points.len() > 2 {
            self.draw(&Polygon::new(points, solid(colour, alpha)));
        }
    }

    pub(super) fn dot(&mut self, at: Point, radius: f64, colour: RGBColor, alpha: f64) {
        let style = solid(colour, alpha);
        let circle = plotters::element::Circle::new(fine_point(at), fine(radius), style);
        self.draw(&circle);
    }

    pub(super) fn ring(&mut self, at: Point, radius: f64, stroke: Stroke) {
        let circle = plotters::element::Circle::new(fine_point(at), fine(radius), line_style(stroke));
        self.draw(&circle);
    }

    /// The mark of a verdict: its shape in its colour with a thin dark edge.
    pub(super) fn mark(&mut self, at: Point, radius: f64, verdict: Verdict) {
        let place = |(x, y): Point| (at.0 + radius * x, at.1 + radius * y);
        let outline: Vec<Point> = verdict.outline().into_iter().map(place).collect();
        self.polygon(&outline, verdict.colour(), 1.0);
        let closed: Vec<Point> = outline.iter().chain(outline.first()).copied().collect();
        self.path(&closed, Stroke::new(theme::INK, 0.7));
    }

    /// Where a text would stand with its baseline at `at`.
    pub(super) fn place_of(text: &str, at: Point, letter: Letter) -> Place {
        let width = letter.width(text);
        let left = match letter.anchor {
            Anchor::Left => at.0,
            Anchor::Middle => at.0 - width / 2.0,
            Anchor::Right => at.0 - width,
        };
        Place { left, top: at.1 - 0.78 * letter.px, right: left + width, bottom: at.1 + 0.24 * letter.px }
    }

    /// Whether `place` is on the picture and clear of every text so far.
    pub(super) fn is_free(&self, place: &Place) -> bool {
        let near = place.grown(2.0);
        place.left >= 2.0
            && place.top >= 2.0
            && place.right <= self.width - 2.0
            && place.bottom <= self.height - 2.0
            && !self.taken.iter().any(|t| t.meets(&near))
    }

    /// Writes a plot area into the document: left, top, right and bottom in px, then what its axes begin and end
    /// with (left, right, bottom, top).
    pub(super) fn note_area(&mut self, place: Place, x: (f64, f64), y: (f64, f64)) {
        let Place { left, top, right, bottom } = place;
        let ranges = format!("{},{},{},{}", x.0, x.1, y.0, y.1);
        self.areas.push(format!("{left:.1},{top:.1},{right:.1},{bottom:.1},{ranges}"));
    }

    /// Keeps texts out of `place` from now on.
    pub(super) fn reserve(&mut self, place: Place) {
        self.taken.push(place);
    }

    /// One line of text with its baseline at `at`.
    pub(super) fn text(&mut self, text: &str, at: Point, letter: Letter) {
        let text = text::clean(text);
        if text.is_empty() {
            return;
        }
        self.taken.push(Self::place_of(&text, at, letter));
        let h = match letter.anchor {
            Anchor::Left => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::Right => HPos::Right,
        };
        let style = if letter.bold { FontStyle::Bold } else { FontStyle::Normal };
        let family = FontFamily::Name(theme::FONT_FAMILY);
        let font = FontDesc::new(family, letter.px * FINE * WRITER_FONT_SCALE, style);
        let style = font.into_text_style(&self.area).color(&letter.colour).pos(Pos::new(h, VPos::Top));
        // The writer hangs a text at the top by 0.76 em: start that much above the baseline.
        let top = (at.0, at.1 - 0.76 * letter.px);
        self.draw(&Text::new(text, fine_point(top), style));
    }

    /// The text at the first of `places` where it is clear of all others; false, and nothing
    /// drawn, where there is none.
    pub(super) fn text_if_free(&mut self, text: &str, places: &[Point], letter: Letter) -> bool {
        let text = text::clean(text);
        let free = places.iter().copied().find(|&at| self.is_free(&Self::place_of(&text, at, letter)));
        if let Some(at) = free {
            self.text(&text, at, letter);
        }
        free.is_some()
    }
}
