//! The lines above a picture: what it shows, the verdict, the reasons in words.

use super::canvas::{Canvas, Letter};
use super::{Verdict, text, theme};

/// What stands above a picture.
pub(super) struct Header<'a> {
    pub(super) title: &'a str,
    pub(super) verdict: Option<Verdict>,
    /// Written after the verdict word.
    pub(super) reasons: &'a [String],
    pub(super) subtitle: &'a str,
}

impl Header<'_> {
    /// Draws the lines and returns the y below them, px.
    pub(super) fn draw(&self, canvas: &mut Canvas<'_>) -> f64 {
        let left = theme::MARGIN;
        let room = canvas.width - 2.0 * left;
        let mut baseline = theme::MARGIN + theme::TITLE_PX * 0.8;
        let title = Letter::new(theme::TITLE_PX, theme::INK).bold();
        let Some(verdict) = self.verdict else {
            canvas.text(&text::fit(self.title, title.px, true, room), (left, baseline), title);
            return self.draw_subtitle(canvas, baseline);
        };
        // The title may take half the line: the verdict must be seen.
        let name = text::fit(self.title, title.px, true, room / 2.0);
        canvas.text(&name, (left, baseline), title);
        let mut x = left + title.width(&name) + 26.0;
        canvas.mark((x, baseline - title.drop()), 9.0, verdict);
        x += 18.0;
        canvas.text(verdict.word(), (x, baseline), title);
        x += title.width(verdict.word()) + 14.0;
        let words = self.reasons.join("; ");
        let plain = Letter::new(16.0, theme::INK);
        if plain.width(&text::clean(&words)) <= canvas.width - theme::MARGIN - x {
            canvas.text(&words, (x, baseline), plain);
        } else {
            for line in text::wrap(&words, plain.px, false, room, 2) {
                baseline += plain.px * 1.45;
                canvas.text(&line, (left, baseline), plain);
            }
        }
        self.draw_subtitle(canvas, baseline)
    }

    fn draw_subtitle(&self, canvas: &mut Canvas<'_>, above: f64) -> f64 {
        let letter = Letter::new(theme::SUBTITLE_PX, theme::SOFT_INK);
        let line = text::fit(self.subtitle, letter.px, false, canvas.width - 2.0 * theme::MARGIN);
        if line.is_empty() {
            return above + 16.0;
        }
        let baseline = above + letter.px * 1.6;
        canvas.text(&line, (theme::MARGIN, baseline), letter);
        baseline + 14.0
    }
}
